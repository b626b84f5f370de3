//! What the images share: digests, cases from the host, the instruction counter, the stack.
#![no_std]

pub mod case;
pub mod counter;
pub mod digest;
#[cfg(target_arch = "arm")]
pub mod footprint;
#[cfg(target_arch = "arm")]
pub mod line;
#[cfg(target_arch = "arm")]
pub mod log;
pub mod machine;
pub mod run;
#[cfg(target_arch = "arm")]
pub mod serial;
pub mod source;
pub mod stack;
pub mod station;
