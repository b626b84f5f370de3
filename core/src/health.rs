//! **Health.** What can be wrong with a reading, carried with it and counted.

use crate::guard::Voted;

/// A set of faults.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Health(u16);

impl Health {
    /// No fault.
    pub const OK: Self = Self(0);
    /// A sample within the filters' span stood at an end of the converter's range.
    pub const OVER_RANGE: Self = Self(1);
    /// The carrier is gone: monitor below its floor, or electrodes sum to nothing.
    pub const CARRIER_LOST: Self = Self(1 << 1);
    /// The monitor is below its warning level.
    pub const CARRIER_WEAK: Self = Self(1 << 2);
    /// A bridge's quadrature is above its limit, of full scale or of its signal.
    pub const QUADRATURE: Self = Self(1 << 3);
    /// A bridge is outside its trusted range.
    pub const BRIDGE_RANGE: Self = Self(1 << 4);
    /// The bridges disagree with the solved axes.
    pub const AXES_RESIDUAL: Self = Self(1 << 5);
    /// The filters still hold the time before the start or a gap.
    pub const SETTLING: Self = Self(1 << 6);
    /// A word in the chain had to saturate.
    pub const SATURATED: Self = Self(1 << 7);

    /// A constant of the readout has changed in memory, or a stage was out of step:
    /// [`crate::Readout::load`] the plan again and [`crate::Readout::seek`] to the next frame.
    pub const MEMORY: Self = Self(1 << 8);

    /// The carrier's phase at the monitor is not the calibrated one: readings are turned back by it.
    pub const CARRIER_PHASE: Self = Self(1 << 9);
    /// Bridges, axes and housing did not agree within [`crate::position::ROUNDS`], or the mass is
    /// tilted or close beyond the formulas.
    pub const UNSETTLED: Self = Self(1 << 10);
    /// A channel gave nothing at all, not even noise: a converter that stands still.
    pub const SILENT: Self = Self(1 << 11);
    /// What feeds the chain found a fault and told it by [`crate::Readout::flag`]: samples that are missing or
    /// came twice, a clock that is off, a channel that stands still or is not the one it should be.
    pub const ACQUISITION: Self = Self(1 << 12);

    /// All faults with their names, in bit order.
    pub const NAMES: [(Self, &'static str); 13] = [
        (Self::OVER_RANGE, "over_range"),
        (Self::CARRIER_LOST, "carrier_lost"),
        (Self::CARRIER_WEAK, "carrier_weak"),
        (Self::QUADRATURE, "quadrature"),
        (Self::BRIDGE_RANGE, "bridge_range"),
        (Self::AXES_RESIDUAL, "axes_residual"),
        (Self::SETTLING, "settling"),
        (Self::SATURATED, "saturated"),
        (Self::MEMORY, "memory"),
        (Self::CARRIER_PHASE, "carrier_phase"),
        (Self::UNSETTLED, "unsettled"),
        (Self::SILENT, "silent"),
        (Self::ACQUISITION, "acquisition"),
    ];

    /// The set as bits, bit n being the n-th of [`Self::NAMES`].
    #[must_use]
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// The set of some bits, as [`Self::bits`] gave them; what has no name here is kept.
    #[must_use]
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits)
    }

    /// Whether no fault is set.
    #[must_use]
    pub const fn is_ok(self) -> bool {
        self.0 == 0
    }

    /// Whether all of `faults` are set.
    #[must_use]
    pub const fn has(self, faults: Self) -> bool {
        self.0 & faults.0 == faults.0
    }

    /// `fault` if it holds, else none.
    #[must_use]
    pub const fn when(fault: Self, holds: bool) -> Self {
        if holds { fault } else { Self::OK }
    }
}

impl core::ops::BitOr for Health {
    type Output = Self;
    fn bitor(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl core::ops::BitOrAssign for Health {
    fn bitor_assign(&mut self, other: Self) {
        self.0 |= other.0;
    }
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
