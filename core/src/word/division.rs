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

/// Quotient and rest, bit by bit: a small core has no wider division than 32
/// bits, and a compiler's general one of 128 takes it five times as long.
///
/// As a bit of n leaves at the top, one of the quotient enters at the bottom. Twice the rest may
/// take 65 bits: then it is above d, and the difference, below d, is right modulo 2^64.
#[inline(never)]
pub(crate) const fn divide(n: u128, d: u64) -> (u128, u64) {
    let d = if d > 0 { d } else { 1 };
    let length = 128 - n.leading_zeros();
    // So many leading bits are less than d.
    let less = 63 - d.leading_zeros();
    if length <= less {
        return (0, n as u64);
    }
    let steps = length - less;
    let mut rest = (n >> steps) as u64;
    let mut bits = n << (128 - steps);
    let mut step = 0;
    while step < steps {
        let above = rest >> 63 != 0;
        rest = rest << 1 | (bits >> 127) as u64;
        bits <<= 1;
        if above || rest >= d {
            rest = rest.wrapping_sub(d);
            bits |= 1;
        }
        step += 1;
    }
    (bits, rest)
}

/// [`divide`] of a long word.
#[inline(never)]
pub(crate) const fn divide_long(n: u64, d: u64) -> (u64, u64) {
    let (quotient, rest) = divide(n as u128, d);
    (quotient as u64, rest)
}

/// Largest integer whose square is not above `x`.
///
/// Upper half of the digits in base 2, lower half by one division (Zimmermann, Karatsuba Square
/// Root, INRIA report 3805, 1999), of x shifted up by an even number of bits.
#[inline(never)]
#[must_use]
pub const fn square_root(x: u128) -> u64 {
    if x == 0 {
        return 0;
    }
    let half = x.leading_zeros() / 2;
    let x = x << (2 * half);
    // Digit by digit: of the upper 64 bits, at least 2^62.
    let (mut rest, mut root, mut bit) = ((x >> 64) as u64, 0u64, 1u64 << 62);
    while bit != 0 {
        if rest >= root + bit {
            rest -= root + bit;
            root = (root >> 1) + bit;
        } else {
            root >>= 1;
        }
        bit >>= 2;
    }
    // root < 2^32, rest <= 2 root.
    let (quotient, over) = divide((rest as u128) << 32 | (x as u64 >> 32) as u128, 2 * root);
    let estimate = (root as u128) << 32;
    let estimate = estimate + quotient;
    let rest = (over as u128) << 32 | (x as u32) as u128;
    let root = if rest < quotient * quotient { estimate - 1 } else { estimate };
    (root >> half) as u64
}
