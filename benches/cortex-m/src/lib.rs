//! What the images share: digests, cases from the host, the instruction counter, the stack.
#![no_std]

pub mod case;
pub mod counter;
pub mod digest;
pub mod footprint;
pub mod line;
pub mod run;
pub mod serial;
pub mod source;
pub mod stack;
pub mod station;
