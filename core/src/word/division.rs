//! Division and square root of wide integers.

/// Divides, rounding half to even. `None` when `denominator` is not 1 to 2^64 - 1.
///
/// In: numerator any `i128` but `i128::MIN`. Out the nearest integer to n / d.
#[inline(never)]
#[must_use]
pub const fn divide_round(numerator: i128, denominator: i128) -> Option<i128> {
    if denominator <= 0 || denominator >> 64 != 0 {
        return None;
    }
    let d = denominator as u64;
    let (quotient, rest) = divide(numerator.unsigned_abs(), d);
    let up = rest > d - rest || (rest == d - rest && quotient & 1 == 1);
    let magnitude = (quotient + up as u128) as i128;
    Some(if numerator < 0 { -magnitude } else { magnitude })
}

/// Quotient and rest, sixteen bits at a time: a small core has no wider division than 32 bits, and a
/// compiler's general one of 128 knows nothing of it. A divisor of zero is taken as 1.
///
/// With d shifted up until its top bit is set, a digit of base 2^16 is estimated from the upper 32 bits
/// of the rest and the upper 16 of d, mended by the upper 32 of d, and by all of it: at most two steps
/// and one (Knuth, The Art of Computer Programming, volume 2, 4.3.1, theorem B). rest < d throughout.
#[inline(never)]
pub(crate) const fn divide(n: u128, d: u64) -> (u128, u64) {
    let d = if d > 0 { d } else { 1 };
    let shift = d.leading_zeros();
    let length = 128 - n.leading_zeros();
    // So many leading bits are less than d.
    let less = 63 - shift;
    if length <= less {
        return (0, n as u64);
    }
    let digits = (length - less).div_ceil(16);
    // n 2^shift without the digits to come is below d 2^shift; these, 80 bits at most, stand at the top of
    // `bits`, and leave it as the quotient's enter below.
    let (mut rest, mut bits) = if 16 * digits > shift {
        let later = 16 * digits - shift;
        ((n >> later) as u64, n << (128 - later))
    } else {
        ((n as u64) << (shift - 16 * digits), 0)
    };
    let d = d << shift;
    let (upper, lower) = (d >> 32, d as u32 as u64);
    let mut digit = 0;
    while digit < digits {
        let next = (bits >> 112) as u64;
        let (top, bottom) = (rest >> 16, (rest as u16 as u64) << 16 | next);
        // The bit is set already: a compiler that sees it leaves out the case of zero.
        let mut quotient = (rest >> 32) as u32 / ((d >> 48) as u32 | 1 << 15);
        quotient = if quotient > 0xffff { 0xffff } else { quotient };
        // Below 2^16 x 2^32; below zero while the digit is too large by the upper half.
        let mut left = top as i64 - quotient as i64 * upper as i64;
        while left < 0 {
            quotient -= 1;
            left += upper as i64;
        }
        let (have, need) = ((left as u64) << 32 | bottom, quotient as u64 * lower);
        rest = have.wrapping_sub(need);
        if left >> 32 == 0 && have < need {
            quotient -= 1;
            rest = rest.wrapping_add(d);
        }
        bits = bits << 16 | quotient as u128;
        digit += 1;
    }
    (bits, rest >> shift)
}

/// [`divide`] of a long word.
#[inline(never)]
pub(crate) const fn divide_long(n: u64, d: u64) -> (u64, u64) {
    let (quotient, rest) = divide(n as u128, d);
    (quotient as u64, rest)
}

/// Largest integer whose square is not above `x`.
///
/// A quarter of the digits in base 2, as many and twice as many by a division each (Zimmermann, Karatsuba
/// Square Root, INRIA report 3805, 1999), of x shifted up by an even number of bits.
#[inline(never)]
#[must_use]
pub const fn square_root(x: u128) -> u64 {
    if x == 0 {
        return 0;
    }
    let half = x.leading_zeros() / 2;
    let x = x << (2 * half);
    // Digit by digit: of the upper 32 bits, at least 2^30.
    let (mut rest, mut root, mut bit) = ((x >> 96) as u32, 0u32, 1u32 << 30);
    while bit != 0 {
        if rest >= root + bit {
            rest -= root + bit;
            root = (root >> 1) + bit;
        } else {
            root >>= 1;
        }
        bit >>= 2;
    }
    // The next sixteen digits: root < 2^16, rest <= 2 root.
    let next = (rest as u64) << 16 | (x >> 80) as u16 as u64;
    let (quotient, over) = divide_long(next, 2 * root as u64);
    let mut root = ((root as u64) << 16) + quotient;
    let have = over << 16 | (x >> 64) as u16 as u64;
    let square = quotient * quotient;
    let mut rest = have.wrapping_sub(square);
    if have < square {
        root -= 1;
        rest = rest.wrapping_add(2 * root + 1);
    }
    // root < 2^32, rest <= 2 root.
    let (quotient, over) = divide((rest as u128) << 32 | (x as u64 >> 32) as u128, 2 * root);
    let estimate = (root as u128) << 32;
    let estimate = estimate + quotient;
    let rest = (over as u128) << 32 | (x as u32) as u128;
    let root = if rest < quotient * quotient { estimate - 1 } else { estimate };
    (root >> half) as u64
}
