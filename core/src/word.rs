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
    let shift = if shift > 126 { 126 } else { shift };
    let floor = x >> shift;
    let rest = x & ((1 << shift) - 1);
    let half = 1 << (shift - 1);
    if rest > half || (rest == half && floor & 1 == 1) { floor + 1 } else { floor }
}

/// Divides, rounding half to even. `None` when `denominator` is zero or negative.
///
/// In: numerator any `i128` but `i128::MIN`'s neighbourhood (|n| < 2^126), denominator
/// 1 to 2^126. Out the nearest integer to n / d.
#[inline(never)]
#[must_use]
pub fn divide_round(numerator: i128, denominator: i128) -> Option<i128> {
    let d = core::num::NonZeroU128::new(u128::try_from(denominator).ok()?)?;
    let n = numerator.unsigned_abs();
    let quotient = n / d;
    let rest = n - quotient * d.get();
    let twice = rest << 1;
    let up = twice > d.get() || (twice == d.get() && quotient & 1 == 1);
    let magnitude = (quotient + u128::from(up)) as i128;
    Some(if numerator < 0 { -magnitude } else { magnitude })
}

/// A wrapping integer that holds a plan's CIC: `i64` on a board, `i128` where a plan needs it.
///
/// Both give the same words for a plan that fits both: sums and products are taken modulo
/// 2^[`Self::BITS`], and the front end refuses a plan whose output needs more bits.
pub trait Register: Copy + Default + PartialEq + core::fmt::Debug {
    /// Width, sign included.
    const BITS: u32;
    /// The same number.
    fn of(x: i64) -> Self;
    /// Sum, modulo 2^BITS.
    #[must_use]
    fn plus(self, other: Self) -> Self;
    /// Product, modulo 2^BITS.
    #[must_use]
    fn times(self, factor: i64) -> Self;
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
    /// A shift by `bits`, -63 to 126.
    #[must_use]
    pub const fn new(bits: i32) -> Self {
        Self { bits, scale: if 2 <= bits && bits <= 32 { 1 << (32 - bits) } else { 0 } }
    }
}

impl Register for i128 {
    const BITS: u32 = 128;
    #[inline(always)]
    fn of(x: i64) -> Self {
        Self::from(x)
    }
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        self.wrapping_add(other)
    }
    #[inline(always)]
    fn times(self, factor: i64) -> Self {
        self.wrapping_mul(Self::from(factor))
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
    #[inline(always)]
    fn of(x: i64) -> Self {
        x
    }
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        self.wrapping_add(other)
    }
    #[inline(always)]
    fn times(self, factor: i64) -> Self {
        self.wrapping_mul(factor)
    }
    #[inline]
    fn to_word(self, shift: Shift) -> (Word, bool) {
        let x = if shift.scale != 0 {
            let low = u64::from(self as u32) * u64::from(shift.scale);
            let floor = (self >> 32) * i64::from(shift.scale) + (low >> 32) as i64;
            // Up where the rest is above half, or half behind an odd floor.
            let odd = floor as u32 & 1;
            floor + i64::from((low as u32).overflowing_add((1 << 31) - 1 + odd).1)
        } else if shift.bits >= 0 {
            shift_round(self.into(), shift.bits.unsigned_abs()) as Self
        } else {
            // A plan that fits leaves the word's size: the shift loses nothing.
            self << shift.bits.unsigned_abs().min(63)
        };
        saturate_word(x)
    }
}

/// Largest integer whose square is not above `x`.
///
/// Digit by digit, base 2: 64 steps of shift, compare and subtract, no division.
#[inline(never)]
#[must_use]
pub const fn square_root(x: u128) -> u64 {
    let mut rest = x;
    let mut root: u128 = 0;
    let mut bit: u128 = 1 << 126;
    while bit != 0 {
        if rest >= root + bit {
            rest -= root + bit;
            root = (root >> 1) + bit;
        } else {
            root >>= 1;
        }
        bit >>= 2;
    }
    root as u64
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
    let saturated = !(-WORD_LIMIT..=WORD_LIMIT).contains(&x);
    let x = if saturated { x.clamp(-WORD_LIMIT, WORD_LIMIT) } else { x };
    (Word::from_bits(x), saturated)
}

/// Product of two Q2.62 (or one Q2.62 and any other format), rounded half to even.
///
/// In: `x` any format F, `y` Q2.62. Product exact in `i128`; out in format F.
/// Cannot overflow for |y| <= 1; for larger y the caller states its bound.
#[inline(never)]
#[must_use]
pub const fn scale_by_fraction(x: i64, y: i64) -> i128 {
    shift_round(x as i128 * y as i128, 62)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_goes_to_even() {
        let cases = [(5, 1, 2), (7, 1, 4), (-5, 1, -2), (-7, 1, -4), (6, 2, 2), (10, 2, 2)];
        for (x, shift, want) in cases {
            assert_eq!(shift_round(x, shift), want, "{x} >> {shift}");
            assert_eq!(divide_round(x, 1 << shift), Some(want), "{x} / 2^{shift}");
        }
        assert_eq!(divide_round(1, 0), None);
        assert_eq!(divide_round(1, -3), None);
    }

    #[test]
    fn square_root_brackets() {
        for x in [0u128, 1, 2, 3, 4, 8, 9, 1 << 62, (1 << 63) - 1, u128::MAX >> 1, u128::MAX] {
            let r = u128::from(square_root(x));
            assert!(r * r <= x);
            assert!((r + 1).checked_mul(r + 1).is_none_or(|next| next > x));
        }
    }
}
