//! **Frames.** On the line, a frame is
//!
//! ```text
//! COBS of { version, length, number (4 bytes, least significant first), message by postcard }, check (5 bytes), 0
//! ```
//!
//! No byte but the last is zero. `length` is that of everything within the braces, 254 at most, so that COBS adds one byte. The check
//! is over the bytes of the line before it. What each of the parts refuses, [`crate::stream`] counts.

use crate::check;
use crate::encoding::{self, Bytes};
use crate::message::{Command, Message};

/// Version of the format that is written; those before it are read.
pub const VERSION: u8 = 2;
/// First version with [`Message::Acquisition`].
const WITH_ACQUISITION: u8 = 2;
/// Bytes before the message.
pub const HEAD: usize = 6;
/// Most bytes of version, length, number and message.
pub const LONGEST: usize = 254;
/// Most bytes on the line.
pub const LONGEST_WIRE: usize = LONGEST + 1 + check::BYTES + 1;
/// Fewest bytes on the line before the zero.
const SHORTEST: usize = HEAD + 1 + 1 + check::BYTES;

/// A message with its number, which rises by one from frame to frame of a sender.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Its number.
    pub number: u32,
    /// What it says.
    pub message: Message,
}

/// Bytes of a frame, with the zero behind them.
pub type Wire = heapless::Vec<u8, LONGEST_WIRE>;

/// A sender's numbers: each message as the next frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sender {
    /// Number of the next frame; frames so far, of a sender that began at 0.
    pub next: u32,
}

impl Sender {
    /// The next frame as bytes of a line; see [`wire`].
    #[must_use]
    pub fn wire(&mut self, message: &Message) -> Option<Wire> {
        let number = self.next;
        self.next = number.wrapping_add(1);
        wire(number, message)
    }
}

/// What bytes between two zeros are instead of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Fewer or more than a frame has, or other than it says of itself.
    Length,
    /// The check is another one.
    Check,
    /// Of a version that is not known here.
    Version,
    /// Sound, but no message of this version.
    Message,
}

impl Frame {
    /// As bytes of a line; see [`wire`].
    #[must_use]
    pub fn wire(&self) -> Option<Wire> {
        wire(self.number, &self.message)
    }

    /// From the bytes between two zeros.
    ///
    /// # Errors
    /// See [`Fault`].
    pub fn parse(bytes: &[u8]) -> Result<Self, Fault> {
        let (version, number, message) = open(bytes)?;
        match postcard::take_from_bytes(&message) {
            Ok((Message::Acquisition(_), [])) if version < WITH_ACQUISITION => Err(Fault::Message),
            Ok((message, [])) => Ok(Self { number, message }),
            _ => Err(Fault::Message),
        }
    }
}

/// A message as the frame of a number, as bytes of a line.
///
/// `None` for what no message of [`Message`]'s capacities is: one that does not fit.
#[must_use]
#[inline(never)]
pub fn wire(number: u32, message: &Message) -> Option<Wire> {
    let mut raw = Bytes::new();
    raw.extend_from_slice(&[VERSION, 0]).ok()?;
    raw.extend_from_slice(&number.to_le_bytes()).ok()?;
    encoding::encode(message, &mut raw)?;
    let length = u8::try_from(raw.len()).ok()?;
    *raw.get_mut(1)? = length;
    let mut wire = Wire::new();
    wire.resize_default(LONGEST_WIRE).ok()?;
    let coded = cobs::try_encode(&raw, &mut wire).ok()?;
    wire.truncate(coded);
    let check = check::digits(&wire);
    wire.extend_from_slice(&check).ok()?;
    wire.push(0).ok()?;
    Some(wire)
}

/// A command with its number from the bytes between two zeros: what a board listens for.
///
/// # Errors
/// See [`Fault`]; a sound frame that is no command is [`Fault::Message`].
pub fn parse_command(bytes: &[u8]) -> Result<(u32, Command), Fault> {
    let (_, number, message) = open(bytes)?;
    encoding::decode_command(&message).map(|command| (number, command)).ok_or(Fault::Message)
}

/// Version, number and message's bytes of what stands between two zeros.
#[inline(never)]
fn open(bytes: &[u8]) -> Result<(u8, u32, Bytes), Fault> {
    if !(SHORTEST..LONGEST_WIRE).contains(&bytes.len()) {
        return Err(Fault::Length);
    }
    let (coded, sum) = bytes.split_last_chunk::<{ check::BYTES }>().ok_or(Fault::Length)?;
    if check::digits(coded) != *sum {
        return Err(Fault::Check);
    }
    let mut raw = [0; LONGEST_WIRE];
    let length = cobs::decode(coded, &mut raw).map_err(|_| Fault::Length)?;
    let raw = raw.get(..length).ok_or(Fault::Length)?;
    let (head, message) = raw.split_first_chunk::<HEAD>().ok_or(Fault::Length)?;
    let [version, told, number @ ..] = *head;
    if !(1..=VERSION).contains(&version) {
        return Err(Fault::Version);
    }
    if usize::from(told) != length || coded.len() != length + 1 {
        return Err(Fault::Length);
    }
    let message = Bytes::from_slice(message).map_err(|_| Fault::Length)?;
    Ok((version, u32::from_le_bytes(number), message))
}
