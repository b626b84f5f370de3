//! **Faults** of what comes from the converter.

/// A set of faults.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Faults(u16);

impl Faults {
    /// None.
    pub const NONE: Self = Self(0);
    /// Samples are missing.
    pub const MISSED: Self = Self(1);
    /// Samples came twice.
    pub const REPEATED: Self = Self(1 << 1);
    /// Blocks were lost as nobody took the ones before.
    pub const LATE: Self = Self(1 << 2);
    /// The converter's clock does not keep to the board's.
    pub const CLOCK: Self = Self(1 << 3);
    /// A frame's check was another one, or its status not good.
    pub const FRAME: Self = Self(1 << 4);
    /// A channel's code stands still.
    pub const STUCK: Self = Self(1 << 5);
    /// A channel moves less than its own noise.
    pub const SILENT: Self = Self(1 << 6);
    /// Two channels carry one signal.
    pub const SHORTED: Self = Self(1 << 7);
    /// Channels have changed places.
    pub const SWAPPED: Self = Self(1 << 8);
    /// The carrier in a channel is not what it was.
    pub const JUMPED: Self = Self(1 << 9);

    /// All faults with their names, in bit order.
    pub const NAMES: [(Self, &'static str); 10] = [
        (Self::MISSED, "missed"),
        (Self::REPEATED, "repeated"),
        (Self::LATE, "late"),
        (Self::CLOCK, "clock"),
        (Self::FRAME, "frame"),
        (Self::STUCK, "stuck"),
        (Self::SILENT, "silent"),
        (Self::SHORTED, "shorted"),
        (Self::SWAPPED, "swapped"),
        (Self::JUMPED, "jumped"),
    ];

    /// Names of those in the set, in bit order.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Self::NAMES.into_iter().filter(move |(fault, _)| self.has(*fault)).map(|(_, name)| name)
    }

    /// The set as bits, bit n being the n-th of [`Self::NAMES`].
    #[must_use]
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// The set of some bits, as [`Self::bits`] gave them.
    #[must_use]
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits)
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_none(self) -> bool {
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
        if holds { fault } else { Self::NONE }
    }
}

impl core::ops::BitOr for Faults {
    type Output = Self;
    fn bitor(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl core::ops::BitOrAssign for Faults {
    fn bitor_assign(&mut self, other: Self) {
        self.0 |= other.0;
    }
}
