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

pub(crate) use division::{divide, divide_long};
pub use division::{divide_round, square_root};

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

/// Product of two Q2.62 (or one Q2.62 and any other format), rounded half to even.
///
/// In: `x` any format F, `y` Q2.62. Product exact in `i128`; out in format F.
/// Cannot overflow for |y| <= 1; for larger y the caller states its bound.
#[inline(never)]
#[must_use]
pub const fn scale_by_fraction(x: i64, y: i64) -> i128 {
    multiply_round(x, y, 62)
}

/// Product over 2^shift, rounded half to even; the product is exact in `i128`.
#[inline(never)]
#[must_use]
pub const fn multiply_round(x: i64, y: i64, shift: u32) -> i128 {
    shift_round(x as i128 * y as i128, shift)
}

/// Product over 2^shift, rounded half to even and saturated to ±(2^63 - 1); exact in `i128` before.
#[inline(never)]
#[must_use]
pub const fn times(x: i64, y: i64, shift: u32) -> i64 {
    narrow(x as i128 * y as i128, shift)
}

/// Sum of products over 2^shift, 1 to 63, rounded half to even and saturated to ±(2^63 - 1). Exact in `i128` before, as
/// long as it is below 2^127; saturated there.
#[inline(never)]
#[must_use]
pub fn dot(x: &[i64], y: &[i64], shift: u32) -> i64 {
    let sum = x
        .iter()
        .zip(y)
        .fold(0i128, |sum, (x, y)| sum.saturating_add(i128::from(*x) * i128::from(*y)));
    narrow(sum, shift)
}

/// x over 2^shift, 1 to 63, rounded half to even and saturated to ±(2^63 - 1). Any other shift is taken as
/// the nearest of these.
///
/// [`shift_round`] and [`saturate`] in one, by words of 32 bits: a fifth of their instructions on a small
/// core, where this is most of what a reading costs.
#[inline(never)]
#[must_use]
pub const fn narrow(x: i128, shift: u32) -> i64 {
    let shift = if shift == 0 { 1 } else { shift };
    // To the left, so that the result is the upper 64 bits of 128, and the rest the lower ones.
    let mut left = 64 - least(shift, 63);
    let (upper, lower) = ((x >> 64) as u64, x as u64);
    let (mut w3, mut w2) = ((upper >> 32) as u32, upper as u32);
    let (mut w1, mut w0) = ((lower >> 32) as u32, lower as u32);
    let sign = w3 as i32 >> 31;
    // What leaves at the top must be copies of the sign.
    let mut lost = 0;
    if left >= 32 {
        lost = w3 as i32 ^ sign;
        (w3, w2, w1, w0) = (w2, w1, w0, 0);
        left -= 32;
    }
    if lost | ((w3 as i32 >> (31 - left)) ^ sign) != 0 {
        return if sign < 0 { -i64::MAX } else { i64::MAX };
    }
    let floor = join(shifted(w3, w2, left), shifted(w2, w1, left));
    let rest = join(shifted(w1, w0, left), w0 << left);
    // The rest over 2^64: up where it is above half, or half behind an odd floor.
    let up = rest.overflowing_add((1 << 63) - 1 + (floor & 1)).1;
    let nearest = (floor as i64).wrapping_add(up as i64);
    if nearest == i64::MIN {
        return if sign < 0 { -i64::MAX } else { i64::MAX };
    }
    nearest
}

/// The upper word of two, shifted by 0 to 31.
#[inline(always)]
const fn shifted(upper: u32, lower: u32, left: u32) -> u32 {
    upper << left | lower >> 1 >> (31 - left)
}

#[inline(always)]
const fn join(upper: u32, lower: u32) -> u64 {
    (upper as u64) << 32 | lower as u64
}

/// x 2^shift over y, rounded half to even and saturated to `i64`; the largest where y is not above zero.
///
/// |x| 2^shift below 2^126.
#[inline(never)]
#[must_use]
pub const fn ratio(x: i64, shift: u32, y: i64) -> i64 {
    match divide_round((x as i128) << shift, y as i128) {
        Some(ratio) => saturate(ratio, i64::MAX).0,
        None => i64::MAX,
    }
}

#[cfg(test)]
mod tests;
