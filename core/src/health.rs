//! **Health.** What can be wrong with a reading, carried with it and counted.

use crate::guard::Voted;
use crate::named_set;

named_set! {
    /// A set of faults.
    Health,
    /// No fault.
    OK, is_ok;
    /// A sample within the filters' span stood at an end of the converter's range.
    0 OVER_RANGE "over_range";
    /// The carrier is gone: monitor below its floor, or electrodes sum to nothing.
    1 CARRIER_LOST "carrier_lost";
    /// The monitor is below its warning level.
    2 CARRIER_WEAK "carrier_weak";
    /// A bridge's quadrature is above its limit, of full scale or of its signal.
    3 QUADRATURE "quadrature";
    /// A bridge is outside its trusted range.
    4 BRIDGE_RANGE "bridge_range";
    /// The bridges disagree with the solved axes.
    5 AXES_RESIDUAL "axes_residual";
    /// The filters still hold the time before the start or a gap.
    6 SETTLING "settling";
    /// A word in the chain had to saturate.
    7 SATURATED "saturated";
    /// A constant of the readout has changed in memory, or a stage was out of step:
    /// [`crate::Readout::load`] the plan again and [`crate::Readout::seek`] to the next frame.
    8 MEMORY "memory";
    /// The carrier's phase at the monitor is not the calibrated one: readings are turned back by it.
    9 CARRIER_PHASE "carrier_phase";
    /// Bridges, axes and housing did not agree within [`crate::position::ROUNDS`], or the mass is
    /// tilted or close beyond the formulas.
    10 UNSETTLED "unsettled";
    /// A channel gave nothing at all, not even noise: a converter that stands still.
    11 SILENT "silent";
    /// What feeds the chain found a fault and told it by [`crate::Readout::flag`]: samples that are missing or
    /// came twice, a clock that is off, a channel that stands still or is not the one it should be.
    12 ACQUISITION "acquisition";
}

/// Readings so far, and how many carried each fault.
#[derive(Clone, Copy, Debug)]
pub struct HealthCounts {
    readings: Voted<u64>,
    faults: [Voted<u64>; Health::NAMES.len()],
}

impl HealthCounts {
    /// Nothing counted.
    pub const NONE: Self =
        Self { readings: Voted::new(0), faults: [Voted::new(0); Health::NAMES.len()] };

    /// Counts one reading.
    #[inline(never)]
    pub fn count(&mut self, health: Health) {
        self.readings.set(self.readings.get().wrapping_add(1));
        let mut bits = health.0;
        for count in &mut self.faults {
            count.set(count.get().wrapping_add(u64::from(bits & 1)));
            bits >>= 1;
        }
    }

    /// Readings counted.
    #[must_use]
    pub fn readings(&self) -> u64 {
        self.readings.get()
    }

    /// Each fault's name and count, in bit order.
    pub fn faults(&self) -> impl Iterator<Item = (&'static str, u64)> + '_ {
        Health::NAMES.iter().zip(self.faults).map(|((_, name), count)| (*name, count.get()))
    }
}
