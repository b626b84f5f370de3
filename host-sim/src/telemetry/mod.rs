//! **Telemetry**: the host's end of the line to a board. [`source`] gives bytes as they come, [`board`] makes records of the
//! messages in them, with the [`clock`] of the board's time marks, and [`log`] keeps these on the disk as they grow;
//! [`outbox`] sends commands until they are answered.

pub mod board;
pub mod clock;
pub mod log;
pub mod outbox;
pub mod source;
