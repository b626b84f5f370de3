#![doc = include_str!("../README.md")]
#![no_std]

// In the order that bytes are made: read from top to bottom.

// What can be said.
pub mod message;
// How it is written; how a board reads what is asked of it.
pub mod encoding;
// CRC-32, in bytes that are never zero.
pub mod check;
// A message with its number, as bytes of a line.
pub mod frame;
// Bytes of a line, as messages again.
pub mod stream;
// Commands: each carried out once.
pub mod command;

pub use frame::{Frame, Wire};
pub use message::Message;
pub use stream::Decoder;
