//! Plan arithmetic of the folded front end: how long sums stay within their words, and how sums
//! of rows become sums of samples.

use crate::word::divide;

/// Longest section, rows.
const MAX_ROWS: u32 = 1 << 12;

/// Most rows of b-bit codes whose running sums fit an `i32`; zero if not even one (or one pair).
///
/// A_1 is at most 2^(b-1) r. A_2 counts from the middle row: (r/2) A_1 is taken off, with r/2
/// rounded up, which leaves weights whose magnitudes sum to r^2/4 rounded down; it is exact then,
/// whatever it wrapped on the way. A_j beyond is at most 2^(b-1) C(r+j-1, j). A bound of exactly
/// 2^31 fits, as it would take +2^(b-1), which no code is, in every row to reach it above zero.
#[inline(never)]
pub(super) const fn most_rows(order: u32, code_bits: u32, alternate: bool) -> u32 {
    const fn fits(order: u32, code_bits: u32, rows: u32) -> bool {
        let (limit, code, r) = (1 << 31, 1u128 << (code_bits - 1), rows as u128);
        let mut fits = code * r <= limit && (order < 2 || code * (r * r / 4) <= limit);
        let mut level = 3;
        while fits && level <= order {
            fits = sum_bound(level, code_bits, rows) <= limit as i128;
            level += 1;
        }
        fits
    }
    // Rows alternate in pairs.
    let step = if alternate { 2 } else { 1 };
    let mut rows = 0;
    while rows + step <= MAX_ROWS && fits(order, code_bits, rows + step) {
        rows += step;
    }
    rows
}

/// Largest order-N section sum of `samples` b-bit codes: 2^(b-1) C(samples+N-1, N).
///
/// The running product is at most (2^17)^6 = 2^102 before the shift: exact in `i128` for
/// b <= 25; wider codes are only asked about shorter sections.
#[inline(never)]
pub(crate) const fn sum_bound(order: u32, code_bits: u32, samples: u32) -> i128 {
    let mut value: u128 = 1;
    let mut d = 1;
    while d <= order as u64 {
        value = divide(value * (samples as u128 + d as u128 - 1), d).0;
        if value > 1 << 90 {
            return i128::MAX;
        }
        d += 1;
    }
    (value as i128) << (code_bits - 1)
}

/// G\[j\]\[i\]: C(K t + j, j) in the basis C(t + i, i), i <= j (indices from zero).
///
/// Coefficient i is the i-th backward difference at t = -1 (the basis is zero there but for
/// i = 0, and a backward difference lowers i by one).
pub(super) const fn row_basis<const ORDER: usize>(phases: u32) -> [[i64; ORDER]; ORDER] {
    let mut basis = [[0; ORDER]; ORDER];
    let mut j = 0;
    while j < ORDER {
        // Values at t = -1, -2, ..., differenced in place.
        let mut values = [0i128; ORDER];
        let mut t = 0;
        while t < ORDER {
            values[t] = binomial(-(t as i128 + 1) * phases as i128 + j as i128, j as i128);
            t += 1;
        }
        let mut i = 0;
        while i <= j {
            basis[j][i] = values[0] as i64;
            let mut k = 0;
            while k + 1 + i < ORDER {
                values[k] -= values[k + 1];
                k += 1;
            }
            i += 1;
        }
        j += 1;
    }
    basis
}

/// C(n, k) for any integer n: n (n-1) ... (n-k+1) / k!.
const fn binomial(n: i128, k: i128) -> i128 {
    let mut value = 1i128;
    let mut d = 0;
    while d < k {
        let next = value * (n - d);
        let magnitude = divide(next.unsigned_abs(), d.unsigned_abs() as u64 + 1).0 as i128;
        value = if next < 0 { -magnitude } else { magnitude };
        d += 1;
    }
    value
}
