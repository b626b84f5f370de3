//! What the chain hands out.

use crate::bridge::BridgeReading;
use crate::config::{MAX_AXES, MAX_BRIDGES};
use crate::health::Health;
use heapless::Vec;

/// Displacement and rotation at one instant, with everything needed to trust it or not.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Instant it stands for, in half sample periods since sample 0: that of its last sample less the
    /// delay of a slow motion, exact where all taps are their own mirror (the centre of the impulse
    /// response), else to the nearest. Negative while the filters fill.
    pub half_samples: i64,
    /// Translations in attometres and rotations in attoradians, in the order configured.
    pub axes: Vec<i64, MAX_AXES>,
    /// The bridges, in the order configured.
    pub bridges: Vec<BridgeReading, MAX_BRIDGES>,
    /// Monitor at calibration over monitor now, Q6.58 (1 without a monitor).
    pub monitor_ratio: i64,
    /// Largest disagreement of a bridge with the axes, attometres.
    pub residual_am: i64,
    /// Rounds in which bridges, axes and housing came to agree; 1 without electrodes.
    pub rounds: u8,
    /// Bit c: channel c was over range within this reading's interval.
    pub over_range_channels: u32,
    /// All faults of this reading.
    pub health: Health,
}
