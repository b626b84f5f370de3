//! Products of two long words, and their rounding to one.

use super::{saturate, shift_round};

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

/// Product over 2^shift, 34 to 62, rounded half to even and saturated to ±(2^63 - 1); exact in `i128` before.
///
/// Most of what a reading costs is this: some fifty instructions on a small core, forty where one is Q2.62.
#[inline(always)]
#[must_use]
pub const fn times(x: i64, y: i64, shift: u32) -> i64 {
    if shift == 62 { times_fraction(x, y) } else { times_any(x, y, shift) }
}

#[inline(never)]
const fn times_fraction(x: i64, y: i64) -> i64 {
    narrow(product(x, y), 62)
}

#[inline(never)]
const fn times_any(x: i64, y: i64, shift: u32) -> i64 {
    narrow(product(x, y), shift)
}

/// Sum of products over 2^shift, 34 to 62, rounded half to even and saturated to ±(2^63 - 1); exact in `i128` before,
/// which it must fit. Factors of zero in `y` cost next to nothing.
#[inline(never)]
#[must_use]
pub fn dot(x: &[i64], y: &[i64], shift: u32) -> i64 {
    let mut sum = 0i128;
    for (x, y) in x.iter().zip(y) {
        if *y != 0 {
            sum = sum.wrapping_add(product(*x, *y));
        }
    }
    narrow(sum, shift)
}

/// Exact. Of 32-bit words: x = 2^32 upper + lower, lower an `i32`, so that all four products are signed ones. With both
/// uppers above -2^31 the two in the middle are below 2^62 each, and the one below adds less than 2^31.
#[inline(always)]
const fn product(x: i64, y: i64) -> i128 {
    if cfg!(target_pointer_width = "64") {
        return x as i128 * y as i128;
    }
    by_words(x, y)
}

#[inline(always)]
pub(super) const fn by_words(x: i64, y: i64) -> i128 {
    let ([x1, x0], [y1, y0]) = (halves(x), halves(y));
    if x1 == i32::MIN || y1 == i32::MIN {
        return product_of_any(x, y);
    }
    let (x1, x0, y1, y0) = (x1 as i64, x0 as i64, y1 as i64, y0 as i64);
    let low = x0 * y0;
    let middle = (x1 * y0 + x0 * y1).wrapping_add(low >> 32);
    let upper = (middle >> 32) + x1 * y1;
    (upper as i128) << 64 | join(middle as u32, low as u32) as i128
}

#[cold]
#[inline(never)]
const fn product_of_any(x: i64, y: i64) -> i128 {
    x as i128 * y as i128
}

/// x = 2^32 upper + lower, both signed; the upper one wraps to -2^31 where x is within 2^31 of 2^63.
#[inline(always)]
pub(crate) const fn halves(x: i64) -> [i32; 2] {
    let lower = x as i32;
    [((x >> 32) as i32).wrapping_add((lower as u32 >> 31) as i32), lower]
}

/// x over 2^shift, 34 to 62, rounded half to even and saturated to ±(2^63 - 1): [`shift_round`] and [`saturate`] in one, by
/// words of 32 bits where what comes out is within ±2^62, in a fifth of their instructions on a small core.
#[inline(always)]
pub(super) const fn narrow(x: i128, shift: u32) -> i64 {
    let (upper, lower) = ((x >> 64) as u64, x as u64);
    let (w3, w2) = ((upper >> 32) as u32, upper as u32);
    let (w1, w0) = ((lower >> 32) as u32, lower as u32);
    let left = 64u32.wrapping_sub(shift) & 31;
    // Then to round up does not lead beyond an `i64`, either.
    if w3 as i32 >> 31 != w3 as i32 >> (30u32.wrapping_sub(left) & 31) {
        return narrow_any(x, shift);
    }
    let upper = join(shifted(w3, w2, left), shifted(w2, w1, left));
    let (w1, w0) = (shifted(w1, w0, left), w0 << left);
    // The rest over 2^64: up where it is above half, or half behind an odd floor.
    let beyond = (w0 | (upper as u32 & 1)) != 0;
    (upper as i64).wrapping_add((w1 > (1 << 31) - beyond as u32) as i64)
}

/// Where that leads beyond.
#[inline(never)]
const fn narrow_any(x: i128, shift: u32) -> i64 {
    saturate(shift_round(x, shift), i64::MAX).0
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
