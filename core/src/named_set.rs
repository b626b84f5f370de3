//! **Named sets**: faults as bits of a word, each with its name.

/// A set of at most 16 faults: `Set, NONE, is_none;`, then of each its bit, constant and name. With feature `defmt` a
/// log shows the names.
#[doc(hidden)]
#[macro_export]
macro_rules! named_set {
    (
        $(#[$about:meta])*
        $Set:ident, $(#[$about_none:meta])* $NONE:ident, $is_none:ident;
        $($(#[$about_fault:meta])* $bit:literal $FAULT:ident $name:literal;)+
    ) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
        pub struct $Set(u16);

        impl $Set {
            $(#[$about_none])*
            pub const $NONE: Self = Self(0);
            $(
                $(#[$about_fault])*
                pub const $FAULT: Self = Self(1 << $bit);
            )+

            /// All faults with their names, in bit order.
            pub const NAMES: [(Self, &'static str); [$($bit),+].len()] =
                [$((Self::$FAULT, $name)),+];

            /// Names of those in the set, in bit order.
            pub fn names(self) -> impl Iterator<Item = &'static str> {
                let named = Self::NAMES.into_iter().filter(move |(fault, _)| self.has(*fault));
                named.map(|(_, name)| name)
            }

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
            pub const fn $is_none(self) -> bool {
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
                if holds { fault } else { Self::$NONE }
            }
        }

        impl core::ops::BitOr for $Set {
            type Output = Self;
            fn bitor(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }
        }

        impl core::ops::BitOrAssign for $Set {
            fn bitor_assign(&mut self, other: Self) {
                self.0 |= other.0;
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $Set {
            fn format(&self, to: defmt::Formatter<'_>) {
                if self.0 == 0 {
                    defmt::write!(to, "none");
                }
                for (n, name) in self.names().enumerate() {
                    if n > 0 {
                        defmt::write!(to, " ");
                    }
                    defmt::write!(to, "{=str}", name);
                }
            }
        }
    };
}
