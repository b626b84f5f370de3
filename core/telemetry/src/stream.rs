//! **Streams.** Bytes as they come from a line, in pieces of any size, with what was lost counted.

use crate::frame::{Fault, Frame, LONGEST_WIRE, parse_command};
use crate::message::Command;

/// What a decoder has met.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Met {
    /// Frames that were sound.
    pub frames: u64,
    /// Numbers that are missing between sound frames.
    pub missing: u64,
    /// Frames that came again: a command whose answer was lost.
    pub repeats: u64,
    /// Times that numbers began anew: the sender started again.
    pub restarts: u64,
    /// Stretches between zeros with fewer or more bytes than a frame, or other than they say.
    pub length: u64,
    /// Stretches whose check is another.
    pub check: u64,
    /// Sound frames of an unknown version.
    pub version: u64,
    /// Sound frames that are no message.
    pub message: u64,
}

impl Met {
    /// Stretches that were no frame.
    #[must_use]
    pub const fn refused(&self) -> u64 {
        self.length + self.check + self.version + self.message
    }
}

/// Makes frames of bytes. Whatever comes, the first whole frame behind a zero is met again.
#[derive(Clone, Debug, Default)]
pub struct Decoder {
    /// The stretch at hand: one byte more than a frame has before its zero, so that a longer one is seen as such.
    held: heapless::Vec<u8, LONGEST_WIRE>,
    next: Option<u32>,
    met: Met,
}

impl Decoder {
    /// Before the first byte.
    #[must_use]
    pub const fn new() -> Self {
        let met = Met {
            frames: 0,
            missing: 0,
            repeats: 0,
            restarts: 0,
            length: 0,
            check: 0,
            version: 0,
            message: 0,
        };
        Self { held: heapless::Vec::new(), next: None, met }
    }

    /// Takes a byte; the frame that it ends, if it does.
    pub fn push(&mut self, byte: u8) -> Option<Frame> {
        self.take(byte, |bytes| Frame::parse(bytes).map(|frame| (frame.number, frame)))
    }

    /// Takes a byte; the command that it ends, with its number, if it does: all that a board listens for. Whatever else is sound
    /// counts as no message.
    pub fn push_command(&mut self, byte: u8) -> Option<(u32, Command)> {
        self.take(byte, |bytes| {
            parse_command(bytes).map(|(number, command)| (number, (number, command)))
        })
    }

    fn take<T>(
        &mut self,
        byte: u8,
        parse: impl FnOnce(&[u8]) -> Result<(u32, T), Fault>,
    ) -> Option<T> {
        if byte != 0 {
            // What finds no place is of a stretch that is too long already.
            let _ = self.held.push(byte);
            return None;
        }
        if self.held.is_empty() {
            // Zeros between frames say nothing.
            return None;
        }
        let found = parse(&self.held);
        self.held.clear();
        match found {
            Ok((number, found)) => {
                self.follow(number);
                return Some(found);
            }
            Err(Fault::Length) => self.met.length += 1,
            Err(Fault::Check) => self.met.check += 1,
            Err(Fault::Version) => self.met.version += 1,
            Err(Fault::Message) => self.met.message += 1,
        }
        None
    }

    /// Counts what is missing before a number.
    fn follow(&mut self, number: u32) {
        self.met.frames += 1;
        if let Some(next) = self.next {
            // Half of all numbers lie ahead: the others are behind, a sender that began anew.
            match number.wrapping_sub(next) {
                ahead if ahead < 1 << 31 => self.met.missing += u64::from(ahead),
                u32::MAX => self.met.repeats += 1,
                _ => self.met.restarts += 1,
            }
        }
        self.next = Some(number.wrapping_add(1));
    }

    /// What was met so far.
    #[must_use]
    pub const fn met(&self) -> &Met {
        &self.met
    }
}
