//! Faults of samples: a bad one spoils every reading whose filters it is in, and the fault holds that long.

use crate::front_end::Interval;
use crate::health::Health;

/// Readings that faults still hold for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Holds {
    over_range: u32,
    saturated: u32,
    told: u32,
    /// What was told from outside since the last reading, and what holds of that.
    now: Health,
    held: Health,
}

impl Holds {
    /// Nothing holds.
    pub(super) const NONE: Self =
        Self { over_range: 0, saturated: 0, told: 0, now: Health::OK, held: Health::OK };

    /// Told from outside.
    pub(super) fn tell(&mut self, faults: Health) {
        self.now |= faults;
    }

    /// Faults of the next reading, from what was `gathered` since the last one, each to hold for so many `readings`.
    pub(super) fn next(&mut self, gathered: Interval, readings: u32) -> Health {
        let hold = |fault, now: bool, left: &mut u32| {
            if now {
                *left = readings;
            }
            let holds = *left > 0;
            // More than there can be only by a flipped bit.
            *left = left.saturating_sub(1).min(readings);
            Health::when(fault, holds)
        };
        let told = core::mem::take(&mut self.now);
        self.held = if self.told == 0 { told } else { self.held | told };
        hold(Health::OVER_RANGE, gathered.over_range != 0, &mut self.over_range)
            | hold(Health::SATURATED, gathered.saturated, &mut self.saturated)
            | hold(self.held, !told.is_ok(), &mut self.told)
    }
}
