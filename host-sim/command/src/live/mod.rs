//! **Live view** of a board: what its axes read now, how far they wandered, their densities running along, and a strip chart, in a
//! terminal. What is shown is worked out here, of readings kept for some minutes; [`draw`] puts it on the screen, [`screen`] is the
//! terminal itself.

pub mod draw;
pub mod screen;

use quietgap_acquisition::Faults;
use quietgap_core::Health;
use quietgap_sim::analysis::density::{Density, Detrend};
use quietgap_sim::analysis::welch::welch;
use quietgap_sim::analysis::window::Window;
use quietgap_sim::instrument::AXES;
use quietgap_sim::telemetry::board::Board;
use quietgap_telemetry::message::{Acquisition, Reading};
use std::collections::VecDeque;

/// Readings kept: at 10 a second, seven minutes.
pub const KEPT: usize = 4096;
/// Readings of a segment of the running densities.
pub const SEGMENT: usize = 512;

/// One axis.
#[derive(Debug, Clone)]
pub struct Axis {
    /// `x_m` and the like, and its unit.
    pub name: &'static str,
    /// See `name`.
    pub unit: &'static str,
    /// The last readings, oldest first; NaN where they were flagged.
    pub values: VecDeque<f64>,
}

impl Axis {
    /// The last reading; NaN where it was flagged.
    #[must_use]
    pub fn now(&self) -> Option<f64> {
        self.values.back().copied()
    }

    /// From the least to the largest of what is kept, flagged readings left out.
    #[must_use]
    pub fn range(&self) -> Option<[f64; 2]> {
        let numbers = self.values.iter().filter(|x| !x.is_nan());
        numbers.fold(None, |range, x| match range {
            None => Some([*x, *x]),
            Some([low, high]) => Some([f64::min(low, *x), f64::max(high, *x)]),
        })
    }

    /// The density of the readings since the last flagged one, segments of [`SEGMENT`]; `None` where these are too few.
    #[must_use]
    pub fn density(&self, rate_hz: f64) -> Option<Density> {
        let whole: Vec<f64> = self.values.iter().copied().collect();
        let since = whole.iter().rposition(|x| x.is_nan()).map_or(0, |n| n + 1);
        welch(&whole[since..], rate_hz, SEGMENT, Window::HANN, Detrend::Line)
    }
}

/// Channels of a set of bits, as people count them: from 1.
pub fn channels(bits: u32) -> impl Iterator<Item = u32> {
    (0..32).filter(move |c| bits >> c & 1 == 1).map(|c| c + 1)
}

/// What is known of a board.
#[derive(Debug, Clone)]
pub struct Live {
    /// Its name.
    pub name: String,
    /// Readings a second.
    pub rate_hz: f64,
    /// Its axes.
    pub axes: Vec<Axis>,
    /// Instant of the last reading.
    pub time_s: f64,
    /// Readings, and flagged ones among them.
    pub readings: u64,
    /// See `readings`.
    pub flagged: u64,
    /// Of the last reading.
    pub health: Health,
    /// Found before the chain at the last reading that had something.
    pub found: Option<(f64, Faults, u32)>,
    /// The axis of the strip chart.
    pub shown: usize,
}

impl Live {
    /// Of a board that has just said what it is.
    #[must_use]
    pub fn new(board: &Board) -> Self {
        let settings = board.settings();
        let axis = |n: &u8| {
            let (_, name, unit) = AXES[usize::from(*n)];
            Axis { name, unit, values: VecDeque::with_capacity(KEPT) }
        };
        Self {
            name: settings.name.to_string(),
            rate_hz: board.rate_hz() / settings.interval as f64,
            axes: settings.axes.iter().map(axis).collect(),
            time_s: 0.0,
            readings: 0,
            flagged: 0,
            health: Health::OK,
            found: None,
            shown: 0,
        }
    }

    /// Takes a reading of the board at `sample_rate_hz`.
    pub fn reading(&mut self, reading: &Reading, sample_rate_hz: f64) {
        self.readings += 1;
        self.health = Health::from_bits(reading.health);
        self.flagged += u64::from(!self.health.is_ok());
        self.time_s = reading.half_samples as f64 / (2.0 * sample_rate_hz);
        for (axis, value) in self.axes.iter_mut().zip(&reading.axes) {
            if axis.values.len() == KEPT {
                axis.values.pop_front();
            }
            let sound = self.health.is_ok();
            axis.values.push_back(if sound { *value as f64 * 1e-18 } else { f64::NAN });
        }
    }

    /// Takes what was found before the chain.
    pub fn acquisition(&mut self, told: &Acquisition, sample_rate_hz: f64) {
        let time_s = told.sample as f64 / sample_rate_hz;
        self.found = Some((time_s, Faults::from_bits(told.faults), told.channels));
    }

    /// The next axis is shown.
    pub fn next_axis(&mut self) {
        self.shown = (self.shown + 1) % self.axes.len().max(1);
    }
}
