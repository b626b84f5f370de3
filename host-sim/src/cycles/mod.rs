//! **Cycles**: what a plan costs on a microcontroller, before there is a board.
//!
//! Instructions are a sum of counts that follow from the plan (intervals, sections, columns, open
//! outputs) times coefficients; the coefficients were fitted to instruction counts of the real
//! cross-compiled images in the emulator (`tests/cycles.rs` makes and checks them). Cycles follow
//! by a stated number of cycles for an instruction of each core.

mod coefficients;
mod cpu;
mod shape;

pub use cpu::{CPUS, Coefficients, Cpu, cpu};
pub use shape::{Instructions, Shape, USUAL_ROUNDS};
