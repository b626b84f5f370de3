//! **Outbox**: commands to a board, one after the other, each sent until it is answered.
//!
//! A board carries a number out once (`quietgap_telemetry::command`), so that a command whose answer was lost may be sent again. Numbers
//! rise from one program's run to the next as they begin with the time of day.

use crate::error::{Error, Result};
use quietgap_telemetry::Wire;
use quietgap_telemetry::frame::wire;
use quietgap_telemetry::message::{Answer, Command, Message, Outcome, PIECE, Piece};
use std::collections::VecDeque;
use std::path::Path;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Longest wait for an answer.
pub const WAITS: Duration = Duration::from_millis(500);
/// Times that a command is sent.
pub const TRIES: u32 = 6;
/// Numbers of a second of the day: as many commands may be sent in one.
const NUMBERS: u64 = 64;

/// A command as it was asked for.
#[derive(Debug, Clone)]
struct Asked {
    text: String,
    command: Command,
}

/// What became of a command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fate {
    /// As it was asked for.
    pub text: String,
    /// Number of its frame.
    pub number: u32,
    /// Times that it was sent.
    pub tries: u32,
    /// The board's answer; `None` where none came.
    pub outcome: Option<Outcome>,
}

impl Fate {
    /// Whether the board carried it out, now or when it was sent before.
    #[must_use]
    pub fn is_done(&self) -> bool {
        matches!(self.outcome, Some(Outcome::Done | Outcome::Before))
    }
}

/// Commands that wait, and the one that is on its way.
#[derive(Debug)]
pub struct Outbox {
    waiting: VecDeque<Asked>,
    next: u32,
    /// When the first one was last sent, and how often.
    sent: Option<(Instant, u32)>,
}

impl Outbox {
    /// Commands from their texts: `start`, `stop`, `mark:LABEL`, `injection:PART` of full scale, `calibration:FILE`.
    ///
    /// # Errors
    /// What is no command: as given, and what is allowed.
    pub fn new(texts: &[String]) -> Result<Self> {
        let mut waiting = VecDeque::new();
        for text in texts {
            let commands = parse(text)?;
            let asked = |command| Asked { text: text.clone(), command };
            waiting.extend(commands.into_iter().map(asked));
        }
        let day = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default().as_secs();
        // Cut to 32 bits: half of all numbers lie ahead, which is a year.
        Ok(Self { waiting, next: (day * NUMBERS) as u32, sent: None })
    }

    /// Messages that wait for an answer: a command, or one for each piece of a calibration.
    #[must_use]
    pub fn len(&self) -> usize {
        self.waiting.len()
    }

    /// Whether nothing waits for an answer.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }

    /// What is to be sent now; or what became of a command that nobody answered.
    pub fn due(&mut self, now: Instant) -> Option<std::result::Result<Wire, Fate>> {
        let first = self.waiting.front()?;
        let tries = match self.sent {
            None => 0,
            Some((at, _)) if now.duration_since(at) < WAITS => return None,
            Some((_, tries)) if tries >= TRIES => return self.end(None).map(Err),
            Some((_, tries)) => tries,
        };
        self.sent = Some((now, tries + 1));
        // A command fits: its piece is no longer than a piece.
        wire(self.next, &Message::Command(first.command.clone())).map(Ok)
    }

    /// Takes an answer; what became of the command, if it is that one's.
    pub fn answered(&mut self, answer: &Answer) -> Option<Fate> {
        let own = self.sent.is_some() && answer.command == self.next;
        if own { self.end(Some(answer.outcome)) } else { None }
    }

    fn end(&mut self, outcome: Option<Outcome>) -> Option<Fate> {
        let Asked { text, .. } = self.waiting.pop_front()?;
        let number = self.next;
        self.next = number.wrapping_add(1);
        let tries = self.sent.take().map_or(0, |(_, tries)| tries);
        Some(Fate { text, number, tries, outcome })
    }
}

/// A command's frames.
fn parse(text: &str) -> Result<Vec<Command>> {
    let wrong = |why: &str| Err(Error::new(format!("--send {text}: {why}")));
    let (name, value) = text.split_once(':').map_or((text, None), |(n, v)| (n, Some(v)));
    match (name, value) {
        ("start", None) => Ok(vec![Command::Start]),
        ("stop", None) => Ok(vec![Command::Stop]),
        ("mark", Some(label)) => match label.parse() {
            Ok(label) => Ok(vec![Command::Mark(label)]),
            Err(_) => wrong("label, allowed a whole number from 0 to 4294967295"),
        },
        ("injection", Some(part)) => match part.parse::<f64>() {
            Ok(part) if (0.0..=1.0).contains(&part) => {
                Ok(vec![Command::Injection((part * 1e6).round() as u32)])
            }
            _ => wrong("part of full scale, allowed 0 to 1"),
        },
        ("calibration", Some(path)) => {
            let path = Path::new(path);
            let bytes = std::fs::read(path).map_err(|e| {
                Error::in_file(path, None, format!("calibration: cannot be read: {e}"))
            })?;
            let count = bytes.len().div_ceil(PIECE);
            let Ok(count @ 1..) = u8::try_from(count) else {
                let most = usize::from(u8::MAX) * PIECE;
                let message = format!("calibration: {} bytes, allowed 1 to {most}", bytes.len());
                return Err(Error::in_file(path, None, message));
            };
            let pieces = bytes.chunks(PIECE).zip(0..).map(|(bytes, index)| {
                let bytes = bytes.iter().copied().collect();
                Command::Calibration(Piece { index, count, bytes })
            });
            Ok(pieces.collect())
        }
        _ => wrong("allowed start, stop, mark:LABEL, injection:PART, calibration:FILE"),
    }
}
