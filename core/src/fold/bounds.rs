//! Plan arithmetic of the folded front end: how long sums stay within their words, and how sums
//! of rows become sums of samples.

/// Most rows, even, whose order-N running sum of b-bit codes fits an `i32`; zero if not even two.
pub(super) fn flush_rows(order: u32, code_bits: u32) -> u32 {
    let limit = 1i128 << 31;
    let mut rows = 0;
    while sum_bound(order, code_bits, rows + 2) < limit && rows < 1 << 16 {
        rows += 2;
    }
    rows
}

/// Largest order-N section sum of `samples` b-bit codes: 2^(b-1) C(samples+N-1, N).
///
/// The running product is at most (2^17)^6 = 2^102 before the shift: exact in `i128` for
/// b <= 25; wider codes are only asked about shorter sections.
pub(crate) fn sum_bound(order: u32, code_bits: u32, samples: u32) -> i128 {
    let mut value: i128 = 1;
    for d in 1..=i128::from(order) {
        value = (value * (i128::from(samples) + d - 1)).checked_div(d).unwrap_or(value);
        if value > 1 << 90 {
            return i128::MAX;
        }
    }
    value << (code_bits - 1)
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
        value = (value * (n - d)).checked_div(d + 1).unwrap_or(value);
    }
    value
}
