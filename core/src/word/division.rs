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

/// Quotient and rest. A divisor of zero is taken as 1.
#[inline(never)]
pub(crate) const fn divide(n: u128, d: u64) -> (u128, u64) {
    let (upper, rest) = divide_below(0, (n >> 64) as u64, d);
    let (lower, rest) = divide_below(rest, n as u64, d);
    ((upper as u128) << 64 | lower as u128, rest)
}

/// Quotient and rest of (2^64 upper + lower)/d, upper below d: what a reading needs many of. A divisor of zero is taken as
/// 1, an upper word that is not below it as zero.
///
/// A small core has no wider division than 32 bits, and a compiler's general one of 128 knows nothing of it. With d
/// shifted up until its top bit is set, a digit of base 2^32 is the upper word of the rest by d's inverse, mended by two
/// steps (Moeller and Granlund, Improved Division by Invariant Integers, IEEE Transactions on Computers 60, 2011: from
/// memory). rest < d throughout.
#[inline(never)]
pub(super) const fn divide_below(upper: u64, lower: u64, d: u64) -> (u64, u64) {
    let d = if d > 0 { d } else { 1 };
    let upper = if upper < d { upper } else { 0 };
    let up = d.leading_zeros() & 63;
    let d = d << up;
    let inverse = inverse(d);
    let (upper, lower) = (upper << up | lower >> 1 >> (63 - up), lower << up);
    let (high, rest) = digit(upper, (lower >> 32) as u32, d, inverse);
    let (low, rest) = digit(rest, lower as u32, d, inverse);
    ((high as u64) << 32 | low as u64, rest >> up)
}

/// Digit and rest of (2^32 rest + next)/d.
#[inline(always)]
const fn digit(rest: u64, next: u32, d: u64, inverse: u32) -> (u32, u64) {
    let (upper, lower) = ((d >> 32) as u32, d as u32);
    let estimate = ((rest >> 32) * inverse as u64).wrapping_add(rest);
    let digit = (estimate >> 32) as u32;
    let over = (rest as u32).wrapping_sub(digit.wrapping_mul(upper));
    let over = ((over as u64) << 32 | next as u64).wrapping_sub(lower as u64 * digit as u64);
    let (mut digit, mut over) = (digit.wrapping_add(1), over.wrapping_sub(d));
    if (over >> 32) as u32 >= estimate as u32 {
        (digit, over) = (digit.wrapping_sub(1), over.wrapping_add(d));
    }
    if over >= d {
        (digit, over) = (digit.wrapping_add(1), over.wrapping_sub(d));
    }
    (digit, over)
}

/// floor((2^96 - 1)/d) - 2^32, where d's top bit is set: that of its upper word, less what the lower one takes off.
#[inline(always)]
const fn inverse(d: u64) -> u32 {
    let (upper, lower) = ((d >> 32) as u32, d as u32);
    let mut inverse = inverse_word(upper);
    let mut over = upper.wrapping_mul(inverse).wrapping_add(lower);
    if over < lower {
        inverse -= 1;
        if over >= upper {
            (inverse, over) = (inverse - 1, over.wrapping_sub(upper));
        }
        over = over.wrapping_sub(upper);
    }
    let product = inverse as u64 * lower as u64;
    let carry = (product >> 32) as u32;
    over = over.wrapping_add(carry);
    if over < carry {
        inverse -= 1;
        if (over as u64) << 32 | product as u32 as u64 >= d {
            inverse -= 1;
        }
    }
    inverse
}

/// floor((2^64 - 1)/d) - 2^32, where d's top bit is set: two digits of 16 bits, each estimated by the upper half of d, at
/// most two too large (Knuth, The Art of Computer Programming, volume 2, 4.3.1, theorem B).
#[inline(never)]
pub(super) const fn inverse_word(d: u32) -> u32 {
    // The bit is set already: a compiler that sees it leaves out the case of zero.
    let d = d | 1 << 31;
    let (upper, lower) = (d >> 16, d & 0xffff);
    let (mut rest, mut inverse, mut digits) = (!d, 0, 2);
    while digits > 0 {
        let mut digit = rest / upper;
        let mut have = ((rest - digit * upper) << 16 | 0xffff) as u64;
        let need = (digit * lower) as u64;
        if have < need {
            (have, digit) = (have + d as u64, digit - 1);
        }
        if have < need {
            (have, digit) = (have + d as u64, digit - 1);
        }
        rest = (have - need) as u32;
        (inverse, digits) = (inverse << 16 | digit, digits - 1);
    }
    inverse
}

/// x 2^shift over y, rounded half to even and saturated to ±(2^63 - 1); the largest where y is not above zero. Shift below
/// 64.
#[inline(never)]
#[must_use]
pub const fn ratio(x: i64, shift: u32, y: i64) -> i64 {
    let (d, magnitude) = (y as u64, x.unsigned_abs());
    let (upper, lower) = (magnitude >> 1 >> (63 - shift), magnitude << shift);
    let nearest = if y > 0 && upper < d {
        let (quotient, rest) = divide_below(upper, lower, d);
        // Up where the rest is above half, or half behind an odd quotient.
        let up = 2 * rest + (quotient & 1) > d;
        quotient.saturating_add(up as u64)
    } else {
        u64::MAX
    };
    let nearest = if nearest >> 63 == 0 { nearest as i64 } else { i64::MAX };
    if x < 0 && y > 0 { -nearest } else { nearest }
}

/// [`divide`] of a long word.
#[inline(never)]
pub(crate) const fn divide_long(n: u64, d: u64) -> (u64, u64) {
    divide_below(0, n, d)
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
    let (quotient, over) = divide_below(rest >> 32, rest << 32 | x as u64 >> 32, 2 * root);
    let estimate = ((root as u128) << 32) + quotient as u128;
    let rest = (over as u128) << 32 | (x as u32) as u128;
    let square = quotient as u128 * quotient as u128;
    let root = if rest < square { estimate - 1 } else { estimate };
    (root >> half) as u64
}
