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
pub(super) fn most_rows(order: u32, code_bits: u32, alternate: bool) -> u32 {
    let (limit, code) = (1i128 << 31, 1i128 << (code_bits - 1));
    let fits = |rows: u32| {
        let r = i128::from(rows);
        code * r <= limit
            && (order < 2 || code * (r * r / 4) <= limit)
            && (3..=order).all(|level| sum_bound(level, code_bits, rows) <= limit)
    };
    // Rows alternate in pairs.
    let step = if alternate { 2 } else { 1 };
    (step..=MAX_ROWS).step_by(step as usize).take_while(|rows| fits(*rows)).last().unwrap_or(0)
}

/// Largest order-N section sum of `samples` b-bit codes: 2^(b-1) C(samples+N-1, N).
///
/// The running product is at most (2^17)^6 = 2^102 before the shift: exact in `i128` for
/// b <= 25; wider codes are only asked about shorter sections.
#[inline(never)]
pub(crate) fn sum_bound(order: u32, code_bits: u32, samples: u32) -> i128 {
    let mut value: u128 = 1;
    for d in 1..=u64::from(order) {
        value = divide(value * u128::from(u64::from(samples) + d - 1), d).0;
        if value > 1 << 90 {
            return i128::MAX;
        }
    }
    (value as i128) << (code_bits - 1)
}

/// G\[j\]\[i\]: C(K t + j, j) in the basis C(t + i, i), i <= j (indices from zero).
///
/// Coefficient i is the i-th backward difference at t = -1 (the basis is zero there but for
/// i = 0, and a backward difference lowers i by one).
pub(super) fn row_basis<const ORDER: usize>(phases: u32) -> [[i64; ORDER]; ORDER] {
    let mut basis = [[0; ORDER]; ORDER];
    for (j, row) in basis.iter_mut().enumerate() {
        // Values at t = -1, -2, ..., differenced in place.
        let mut values = [0i128; ORDER];
        for (t, value) in (1i128..).zip(values.iter_mut()) {
            *value = binomial(-t * i128::from(phases) + j as i128, j as i128);
        }
        for (i, coefficient) in row.iter_mut().enumerate().take(j + 1) {
            *coefficient = values[0] as i64;
            for k in 0..ORDER - 1 - i {
                values[k] -= values[k + 1];
            }
        }
    }
    basis
}

/// C(n, k) for any integer n: n (n-1) ... (n-k+1) / k!.
fn binomial(n: i128, k: i128) -> i128 {
    let mut value = 1i128;
    for d in 0..k {
        let next = value * (n - d);
        let magnitude = divide(next.unsigned_abs(), d.unsigned_abs() as u64 + 1).0 as i128;
        value = if next < 0 { -magnitude } else { magnitude };
    }
    value
}
