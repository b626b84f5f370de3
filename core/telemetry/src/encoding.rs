//! **Encoding** of messages, postcard's (its version 1), and decoding of commands, written out for a board: a few hundred bytes of
//! flash each, and nothing that can panic at any level of optimisation. The host's end decodes all messages by postcard itself, and
//! tests hold the two against each other.
//!
//! Whole numbers of more than a byte are varints, seven bits a byte, lowest first; signed ones in zigzag; lists and texts stand
//! behind their length; a variant is its number.

use crate::frame::LONGEST;
use crate::message::{Command, Message, Piece};
use heapless::Vec;

/// A message's bytes.
pub type Bytes = Vec<u8, LONGEST>;

/// Number of [`Message::Command`] among the variants.
pub const COMMAND: u8 = 5;

/// Writes; remembers that something found no room.
struct Writer<'a> {
    bytes: &'a mut Bytes,
    full: bool,
}

impl Writer<'_> {
    #[inline(never)]
    fn byte(&mut self, byte: u8) {
        self.full |= self.bytes.push(byte).is_err();
    }

    #[inline(never)]
    fn number(&mut self, mut number: u64) {
        while number >= 0x80 {
            self.byte(number as u8 | 0x80);
            number >>= 7;
        }
        self.byte(number as u8);
    }

    fn signed(&mut self, number: i64) {
        self.number(((number << 1) ^ (number >> 63)).cast_unsigned());
    }

    #[inline(never)]
    fn signed_list(&mut self, list: &[i64]) {
        self.number(list.len() as u64);
        list.iter().for_each(|number| self.signed(*number));
    }

    #[inline(never)]
    fn bytes(&mut self, list: &[u8]) {
        self.number(list.len() as u64);
        list.iter().for_each(|byte| self.byte(*byte));
    }
}

/// Puts a message behind what is in `bytes`; `None` where it finds no room.
#[inline(never)]
pub fn encode(message: &Message, bytes: &mut Bytes) -> Option<()> {
    let mut to = Writer { bytes, full: false };
    match message {
        Message::Settings(s) => {
            to.byte(0);
            to.bytes(s.name.as_bytes());
            to.number(s.rate_millihertz);
            to.number(s.interval);
            to.bytes(&s.axes);
            to.byte(s.bridges);
            to.number(s.checksum.into());
            to.number(s.starts.into());
        }
        Message::Reading(r) => {
            to.byte(1);
            to.signed(r.half_samples);
            to.signed_list(&r.axes);
            to.signed_list(&r.quadratures);
            to.signed(r.residual_am);
            to.signed(r.monitor_ratio);
            to.number(r.over_range_channels.into());
            to.number(r.health.into());
        }
        Message::Counts(c) => {
            to.byte(2);
            to.number(c.readings);
            to.number(c.faults.len() as u64);
            c.faults.iter().for_each(|count| to.number(*count));
            to.number(c.lost_blocks);
            to.number(c.refused_commands.into());
        }
        Message::Gap(gap) => {
            to.byte(3);
            to.number(gap.from_sample);
            to.number(gap.to_sample);
        }
        Message::TimeMark(mark) => {
            to.byte(4);
            to.number(mark.edge.into());
            to.number(mark.sample);
            to.number(mark.fraction.into());
        }
        Message::Command(command) => {
            to.byte(COMMAND);
            match command {
                Command::Start => to.byte(0),
                Command::Stop => to.byte(1),
                Command::Mark(label) => {
                    to.byte(2);
                    to.number((*label).into());
                }
                Command::Injection(millionths) => {
                    to.byte(3);
                    to.number((*millionths).into());
                }
                Command::Calibration(piece) => {
                    to.byte(4);
                    to.byte(piece.index);
                    to.byte(piece.count);
                    to.bytes(&piece.bytes);
                }
            }
        }
        Message::Answer(answer) => {
            to.byte(6);
            to.number(answer.command.into());
            to.number(answer.sample);
            to.byte(answer.outcome as u8);
        }
        Message::Acquisition(told) => {
            to.byte(7);
            to.number(told.sample);
            to.number(told.faults.into());
            to.number(told.channels.into());
        }
    }
    (!to.full).then_some(())
}

/// A command from a message's bytes; `None` for one of another kind, one that is cut, or has more behind it.
#[inline(never)]
pub fn decode_command(bytes: &[u8]) -> Option<Command> {
    let [COMMAND, kind, rest @ ..] = bytes else { return None };
    match (kind, rest) {
        (0, []) => Some(Command::Start),
        (1, []) => Some(Command::Stop),
        (2, number) => Some(Command::Mark(whole(number)?)),
        (3, number) => Some(Command::Injection(whole(number)?)),
        (4, [index, count, length, rest @ ..]) => {
            // A length of more than 127 takes two bytes.
            let (length, bytes) = match (length, rest) {
                (0..=127, rest) => (usize::from(*length), rest),
                (_, [1, rest @ ..]) => (usize::from(*length), rest),
                _ => return None,
            };
            let bytes = Vec::from_slice(bytes).ok()?;
            (bytes.len() == length).then_some(Command::Calibration(Piece {
                index: *index,
                count: *count,
                bytes,
            }))
        }
        _ => None,
    }
}

/// A varint of all `bytes` that fits 32 bits.
fn whole(bytes: &[u8]) -> Option<u32> {
    let (last, before) = bytes.split_last()?;
    if before.len() > 4 || *last >= 0x80 || before.iter().any(|byte| *byte < 0x80) {
        return None;
    }
    let number = bytes.iter().rev().fold(0u64, |n, byte| n << 7 | u64::from(byte & 0x7F));
    u32::try_from(number).ok()
}
