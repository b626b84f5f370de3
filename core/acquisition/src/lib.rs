#![doc = include_str!("../README.md")]
#![no_std]

// In the order that codes come: read from top to bottom.

// What is wrong with what comes.
pub mod faults;
// Bytes of a converter's frame, as codes.
pub mod layout;
// Frames over SPI at the data-ready line: blocking, async.
pub mod converter;
// Blocks that a DMA filled, from an interrupt to a task.
pub mod blocks;
// Numbers of samples, by counter and by time.
pub mod timeline;
// Channels that stand still, are silent, shorted or swapped.
pub mod watch;
// Blocks into the chain, gaps and all.
pub mod intake;
// Beside the signal: codes for the injection converter.
pub mod injection;

pub use faults::Faults;
pub use intake::{Intake, Settings};
pub use layout::Layout;
