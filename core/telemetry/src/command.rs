//! **Commands** are carried out once, however often they arrive: a host that has no answer sends the same frame again, with the same
//! number, and a frame that is recorded and sent later has a number that has passed.

use crate::message::Outcome;

/// The board's side.
#[derive(Clone, Copy, Debug, Default)]
pub struct Inbox {
    last: Option<(u32, Outcome)>,
}

impl Inbox {
    /// Before the first command.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: None }
    }

    /// Meets a command's number; `carry_out` is called for one that is new. Returns the outcome to answer with.
    pub fn meet(&mut self, number: u32, carry_out: impl FnOnce() -> Outcome) -> Outcome {
        match self.last {
            Some((last, Outcome::Refused)) if number == last => Outcome::Refused,
            Some((last, _)) if number == last => Outcome::Before,
            // Half of all numbers lie ahead.
            Some((last, _)) if number.wrapping_sub(last) >= 1 << 31 => Outcome::Old,
            _ => {
                let outcome = carry_out();
                self.last = Some((number, outcome));
                outcome
            }
        }
    }
}
