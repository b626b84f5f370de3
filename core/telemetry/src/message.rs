//! **Messages.** The order of variants and fields is the format (`docs/telemetry.md`): new ones go behind the last, with a new
//! [`crate::frame::VERSION`].

use heapless::{String, Vec};
use quietgap_core::config::{MAX_AXES, MAX_BRIDGES};
use quietgap_core::{Health, HealthCounts};
use serde::{Deserialize, Serialize};

/// Longest name of an instrument, bytes.
pub const NAME: usize = 32;
/// Longest piece of a calibration, bytes.
pub const PIECE: usize = 192;

/// Anything that is said, by either side.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Message {
    /// Board: what it is and what it works with; at the start, after every change, and once a minute.
    Settings(Settings),
    /// Board: one reading.
    Reading(Reading),
    /// Board: faults so far.
    Counts(Counts),
    /// Board: samples that never reached the chain.
    Gap(Gap),
    /// Board: where an edge of the pulse per second fell.
    TimeMark(TimeMark),
    /// Host: to be carried out once.
    Command(Command),
    /// Board: what became of a command.
    Answer(Answer),
    /// Board, from version 2 on: what was wrong with the samples of a reading, just before it.
    Acquisition(Acquisition),
}

/// As many as there is room for: a list's own way of collecting panics where there are more.
fn list<T, const N: usize>(items: impl Iterator<Item = T>) -> Vec<T, N> {
    let mut list = Vec::new();
    for item in items.take(N) {
        let _ = list.push(item);
    }
    list
}

/// What the board works with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// The instrument's name.
    pub name: String<NAME>,
    /// Samples a second, in thousandths.
    pub rate_millihertz: u64,
    /// Samples a reading.
    pub interval: u64,
    /// What each axis of a reading is: 0 x, 1 y, 2 z, 3 theta, 4 eta, 5 phi.
    pub axes: Vec<u8, MAX_AXES>,
    /// Bridges of a reading.
    pub bridges: u8,
    /// Sum over all constants of the chain, of the board's own type.
    pub checksum: u32,
    /// Times that the board has started.
    pub starts: u32,
}

/// One reading: the core's, without what can be told from it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Instant, in half sample periods since sample 0.
    pub half_samples: i64,
    /// Translations in attometres, rotations in attoradians.
    pub axes: Vec<i64, MAX_AXES>,
    /// Quadrature of each bridge, Q2.62.
    pub quadratures: Vec<i64, MAX_BRIDGES>,
    /// Largest disagreement of a bridge with the axes, attometres.
    pub residual_am: i64,
    /// Monitor at calibration over monitor now, Q6.58.
    pub monitor_ratio: i64,
    /// Bit c: channel c was over range.
    pub over_range_channels: u32,
    /// Faults, bit n being the n-th of [`Health::NAMES`].
    pub health: u16,
}

impl From<&quietgap_core::Reading> for Reading {
    fn from(r: &quietgap_core::Reading) -> Self {
        Self {
            half_samples: r.half_samples,
            axes: r.axes.clone(),
            quadratures: list(r.bridges.iter().map(|b| b.quadrature.to_bits())),
            residual_am: r.residual_am,
            monitor_ratio: r.monitor_ratio,
            over_range_channels: r.over_range_channels,
            health: r.health.bits(),
        }
    }
}

/// Readings and faults since the board started.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Readings.
    pub readings: u64,
    /// Of each fault of [`Health::NAMES`].
    pub faults: Vec<u64, { Health::NAMES.len() }>,
    /// Blocks of samples that were lost.
    pub lost_blocks: u64,
    /// Commands that were refused.
    pub refused_commands: u32,
}

impl From<&HealthCounts> for Counts {
    /// Of the chain; what was lost before it is not told there.
    #[inline(never)]
    fn from(counts: &HealthCounts) -> Self {
        Self {
            readings: counts.readings(),
            faults: list(counts.faults().map(|(_, count)| count)),
            ..Self::default()
        }
    }
}

/// Samples that the chain was not given: it settles anew behind them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// First sample that is missing.
    pub from_sample: u64,
    /// First sample behind the gap.
    pub to_sample: u64,
}

/// Faults of samples on their way to the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acquisition {
    /// Number of the first sample behind the reading that they flag.
    pub sample: u64,
    /// Faults, bit n being the n-th of `quietgap_acquisition::Faults::NAMES`.
    pub faults: u16,
    /// Bit c: channel c had one of them.
    pub channels: u32,
}

/// An edge of the pulse per second.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeMark {
    /// Edges since the board started.
    pub edge: u32,
    /// Sample before the edge.
    pub sample: u64,
    /// How far behind it the edge was, in parts of 65536 of a sample period.
    pub fraction: u16,
}

/// What a host asks for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[expect(
    clippy::large_enum_variant,
    reason = "no allocator to put the large ones behind a pointer"
)]
pub enum Command {
    /// Readings are sent.
    Start,
    /// No readings are sent.
    Stop,
    /// The label comes back among the answers, with the sample at which it was met.
    Mark(u32),
    /// Amplitude of the injection tone, in millionths of the converter's full scale.
    Injection(u32),
    /// A piece of a calibration file; the last one puts it to use.
    Calibration(Piece),
}

/// A piece of a calibration.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    /// Which, from 0.
    pub index: u8,
    /// Of how many.
    pub count: u8,
    /// Its bytes.
    pub bytes: Vec<u8, PIECE>,
}

/// What became of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// Number of the command's frame.
    pub command: u32,
    /// Sample at which it was met.
    pub sample: u64,
    /// How it went.
    pub outcome: Outcome,
}

/// How a command went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outcome {
    /// Carried out.
    Done,
    /// Carried out before: this is its answer again.
    Before,
    /// Its number is older than the last one's: not carried out.
    Old,
    /// Not what this board can do.
    Refused,
}
