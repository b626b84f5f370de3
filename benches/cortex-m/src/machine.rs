//! **The machine that an image runs on**: its end, told to the emulator through the debugger's channel.

use core::fmt::Display;
use semihosting::{eprintln, process};

/// All is well.
pub fn done() -> ! {
    process::exit(0)
}

/// Says what is wrong, and ends.
pub fn fail(what: impl Display) -> ! {
    eprintln!("{}", what);
    process::exit(1)
}
