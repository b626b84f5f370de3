//! What the chain hands out, and what it is made of.

use super::Readout;
use crate::bridge::{BridgeReading, Measured, Pair};
use crate::config::{MAX_AXES, MAX_BRIDGES};
use crate::front_end::Interval;
use crate::health::Health;
use crate::monitor;
use crate::phasor::Phasor;
use crate::position;
use crate::section::Way;
use crate::word::Register;
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

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R: Register,
    W: Way<ORDER>,
> Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>
{
    /// One reading from the phasors at the output rate, which are turned in place.
    #[inline(never)]
    pub(super) fn read(&mut self, phasors: &mut [Phasor], reading: &mut Reading) {
        let settings = &self.settings;
        // A live converter has noise: its phasor is never exactly nothing.
        let silent = phasors.iter().any(|phasor| *phasor == Phasor::default());
        Phasor::align(phasors, &settings.alignments);
        let (monitor_ratio, mut health) = monitor::monitor_ratio(settings.monitor.first(), phasors);
        let _ = reading.bridges.resize(settings.bridges.len(), BridgeReading::default());
        let mut measured = [Measured::default(); CHANNELS];
        let mut pairs = [Pair::default(); CHANNELS];
        for ((bridge, measured), pair) in settings.bridges.iter().zip(&mut measured).zip(&mut pairs)
        {
            *measured = bridge.measure(phasors, monitor_ratio);
            *pair = bridge.at_rest();
        }
        settings.coupling.take_off(&mut measured);
        let solved = position::solve(
            &settings.bridges,
            settings.housing.electrodes(),
            &settings.axes,
            &measured,
            &mut pairs,
            &mut reading.bridges,
            &mut reading.axes,
        );
        health |= Health::when(Health::SILENT, silent)
            | Health::when(Health::AXES_RESIDUAL, solved.disagree)
            | Health::when(Health::UNSETTLED, !solved.settled);
        health |= reading.bridges.iter().fold(Health::OK, |h, b| h | b.health);

        health |=
            Health::when(Health::MEMORY, self.out_of_step | (self.checksum() != self.constants));
        // Last sample of the interval, and how far back the response reaches.
        let next = self.next.get().wrapping_add(1);
        let end = next.wrapping_mul(self.settings.interval);
        reading.over_range_channels = self.gathered.over_range;
        health |= self.holds.next(self.gathered, self.settings.readings);
        let settled = self.first_sample.get().wrapping_add(self.settings.span);
        health |= Health::when(Health::SETTLING, end < settled);
        reading.half_samples =
            (end as i64).wrapping_mul(2).wrapping_sub(self.settings.delay as i64).wrapping_sub(2);
        self.gathered = Interval::default();
        self.out_of_step = false;
        self.next.set(next);
        self.counts.count(health);
        reading.monitor_ratio = monitor_ratio;
        reading.residual_am = solved.residual_am;
        reading.rounds = solved.rounds as u8;
        reading.health = health;
    }
}
