//! Number formats of the chain and the only places where a word is rounded,
//! narrowed or saturated.
//!
//! | format | type | where | step |
//! |---|---|---|---|
//! | Q1.31 | [`Sine`] | carrier samples, injection output | 4.7e-10 |
//! | Q2.30 | `i32` bits | mixing constants, FIR taps (their scale is the plan's) | 9.3e-10 |
//! | Q12.52 | [`Word`] | phasors between stages; 1.0 is about converter full scale | 2.2e-16 |
//! | Q4.60 | `i64` bits | bridge ratio r and monitor ratio | 8.7e-19 |
//! | Q2.62 | [`Fraction`] | gap fraction u, rotation constants | 2.2e-19 |
//! | Q16.48 | [`Coefficient`] | axes matrices (1, m or 1/m) | 3.6e-15 |
//! | attometre, attoradian | `i64` | displacement, rotation | 1e-18 |
//!
//! Every word-length cut rounds half to even: its error has no mean, so a long
//! average of readings is not pulled to one side as it is by dropping bits.

mod division;
mod product;

pub(crate) use division::{divide, divide_long};
pub use division::{divide_round, ratio, square_root};
pub(crate) use product::halves;
pub use product::{dot, multiply_round, scale_by_fraction, times};

use crate::guard::Checksum;
use fixed::types::{I1F31, I2F62, I12F52, I16F48};

/// Carrier sample, Q1.31. Holds -1 exactly and +1 as 1 - 2^-31.
pub type Sine = I1F31;
/// Phasor component between stages, Q12.52. See [`crate::front_end`] for what 1.0 means.
pub type Word = I12F52;
/// Gap fraction or rotation constant, Q2.62: holds -2 to 2.
pub type Fraction = I2F62;
/// Matrix coefficient, Q16.48: holds ±32768.
pub type Coefficient = I16F48;

/// Largest magnitude a [`Word`] may take between stages, in steps: 8.0.
///
/// FIR stages split a word into 31 bits and sign above and 24 bits below
/// ([`crate::fir`]); this bound makes the upper part fit an `i32`.
pub const WORD_LIMIT: i64 = (1 << 55) - 1;

/// The smaller one: for the compiler, too, which has no traits yet.
pub(crate) const fn least(a: u32, b: u32) -> u32 {
    if a < b { a } else { b }
}

/// Divides by 2^`shift`, rounding half to even.
///
/// In any `i128`, out the nearest integer to x / 2^shift, the even one of two
/// equally near. `shift` 0 to 126; more is taken as 126. Exact otherwise: no
/// overflow, as the quotient is never larger than the input.
#[inline(never)]
#[must_use]
pub const fn shift_round(x: i128, shift: u32) -> i128 {
    if shift == 0 {
        return x;
    }
    let shift = least(shift, 126);
    let floor = x >> shift;
    let rest = x & ((1 << shift) - 1);
    let half = 1 << (shift - 1);
    if rest > half || (rest == half && floor & 1 == 1) { floor + 1 } else { floor }
}

/// A wrapping integer that holds a plan's CIC: `i64` on a board, [`Pruned`] there for a plan that
/// prunes, `i128` where a plan needs it.
///
/// Both give the same words for a plan that fits both: sums and products are taken modulo
/// 2^[`Self::BITS`], and the front end refuses a plan whose output needs more bits.
pub trait Register: Copy + PartialEq + core::fmt::Debug {
    /// Width, sign included.
    const BITS: u32;
    /// Nothing.
    const ZERO: Self;
    /// Whether it takes pruned plans. `i64` does not, and saves the code and the time for the others.
    const PRUNES: bool;
    /// The same number.
    fn of(x: i64) -> Self;
    /// Sum, modulo 2^BITS.
    #[must_use]
    fn plus(self, other: Self) -> Self;
    /// Difference, modulo 2^BITS.
    #[must_use]
    fn minus(self, other: Self) -> Self;
    /// Product, modulo 2^BITS.
    #[must_use]
    fn times(self, factor: i64) -> Self;
    /// Divided by 2^bits, 0 to 32, half to even.
    #[must_use]
    fn pruned(self, bits: u32) -> Self;
    /// Divided by 2^shift (multiplied where negative), half to even, to Q12.52, saturated at ±8;
    /// the flag tells that it had to saturate.
    fn to_word(self, shift: Shift) -> (Word, bool);
}

/// A shift by a plan's constant number of bits, to the right where positive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shift {
    bits: i32,
    /// 2^(32 - bits) where that is an `i32`, else zero: a small core multiplies 64 bits faster
    /// than it shifts them by a variable.
    scale: u32,
}

impl Shift {
    /// Of no plan.
    pub(crate) const NONE: Self = Self { bits: 0, scale: 0 };

    /// Sums up what never changes.
    pub(crate) fn check(self, sum: &mut Checksum) {
        sum.add(self.bits as u32);
        sum.add(self.scale);
    }

    /// Whether it is one that is rounded the long way, on a small core a hundred instructions.
    #[must_use]
    pub const fn is_long(self) -> bool {
        self.bits > 0 && self.scale == 0
    }

    /// A shift by `bits`, -63 to 126.
    #[must_use]
    pub const fn new(bits: i32) -> Self {
        Self { bits, scale: if 2 <= bits && bits <= 32 { 1 << (32 - bits) } else { 0 } }
    }
}

impl Register for i128 {
    const BITS: u32 = 128;
    const ZERO: Self = 0;
    const PRUNES: bool = true;
    #[inline(always)]
    fn of(x: i64) -> Self {
        Self::from(x)
    }
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        self.wrapping_add(other)
    }
    #[inline(always)]
    fn minus(self, other: Self) -> Self {
        self.wrapping_sub(other)
    }
    #[inline(always)]
    fn times(self, factor: i64) -> Self {
        self.wrapping_mul(Self::from(factor))
    }
    fn pruned(self, bits: u32) -> Self {
        shift_round(self, bits)
    }
    #[inline]
    fn to_word(self, shift: Shift) -> (Word, bool) {
        let x = if shift.bits >= 0 {
            shift_round(self, shift.bits.unsigned_abs())
        } else {
            self << shift.bits.unsigned_abs().min(63)
        };
        let (bits, saturated) = saturate(x, WORD_LIMIT);
        (Word::from_bits(bits), saturated)
    }
}

impl Register for i64 {
    const BITS: u32 = 64;
    const ZERO: Self = 0;
    const PRUNES: bool = false;
    #[inline(always)]
    fn of(x: i64) -> Self {
        x
    }
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        self.wrapping_add(other)
    }
    #[inline(always)]
    fn minus(self, other: Self) -> Self {
        self.wrapping_sub(other)
    }
    #[inline(always)]
    fn times(self, factor: i64) -> Self {
        self.wrapping_mul(factor)
    }
    fn pruned(self, bits: u32) -> Self {
        shift_round(self.into(), bits) as Self
    }
    #[inline]
    fn to_word(self, shift: Shift) -> (Word, bool) {
        let x = if shift.scale != 0 {
            let low = u64::from(self as u32) * u64::from(shift.scale);
            let floor = (self >> 32) * i64::from(shift.scale) + (low >> 32) as i64;
            // Up where the rest is above half, or half behind an odd floor.
            let odd = floor as u32 & 1;
            floor + i64::from((low as u32).overflowing_add((1 << 31) - 1 + odd).1)
        } else {
            shifted_far(self, shift)
        };
        saturate_word(x)
    }
}

/// [`Register::to_word`] before it saturates, for a shift that no product makes.
#[cold]
#[inline(never)]
fn shifted_far(x: i64, shift: Shift) -> i64 {
    if shift.bits >= 0 {
        shift_round(x.into(), shift.bits.unsigned_abs()) as i64
    } else {
        // A plan that fits leaves the word's size: the shift loses nothing.
        x << shift.bits.unsigned_abs().min(63)
    }
}

/// An `i64` that takes pruned plans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pruned(i64);

impl Register for Pruned {
    const BITS: u32 = 64;
    const ZERO: Self = Self(0);
    const PRUNES: bool = true;
    #[inline(always)]
    fn of(x: i64) -> Self {
        Self(x)
    }
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        Self(self.0.plus(other.0))
    }
    #[inline(always)]
    fn minus(self, other: Self) -> Self {
        Self(self.0.minus(other.0))
    }
    #[inline(always)]
    fn times(self, factor: i64) -> Self {
        Self(self.0.times(factor))
    }
    #[inline]
    fn pruned(self, bits: u32) -> Self {
        Self(self.0.pruned(bits))
    }
    #[inline]
    fn to_word(self, shift: Shift) -> (Word, bool) {
        self.0.to_word(shift)
    }
}

/// Narrows to `i64` within ±`limit`; the flag tells that it had to saturate.
#[inline]
#[must_use]
pub const fn saturate(x: i128, limit: i64) -> (i64, bool) {
    if x > limit as i128 {
        (limit, true)
    } else if x < -(limit as i128) {
        (-limit, true)
    } else {
        (x as i64, false)
    }
}

/// Narrows to ±8; the flag tells that it had to saturate.
#[inline(always)]
pub(crate) fn saturate_word(x: i64) -> (Word, bool) {
    // Within ±4, where words belong: a look at the upper half tells.
    if ((x >> 32) as i32).wrapping_add(1 << 22) as u32 >> 23 == 0 {
        return (Word::from_bits(x), false);
    }
    let bits = x.clamp(-WORD_LIMIT, WORD_LIMIT);
    (Word::from_bits(bits), bits != x)
}

#[cfg(test)]
mod tests;
