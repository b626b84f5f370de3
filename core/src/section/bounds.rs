//! How long sums of codes stay within their words.

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

/// C(n, k) by Pascal's triangle, k up to 7: what formulas are held to.
#[cfg(test)]
pub(crate) fn pascal(n: usize, k: usize) -> i128 {
    let mut row = [0i128; 8];
    row[0] = 1;
    for _ in 0..n {
        for at in (1..=k).rev() {
            row[at] += row[at - 1];
        }
    }
    row[k]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_section_sum() {
        for order in 1..=6 {
            for samples in [1usize, 2, 9, 100] {
                let want = pascal(samples + order - 1, order) << 7;
                assert_eq!(sum_bound(order as u32, 8, samples as u32), want);
            }
        }
        assert_eq!(sum_bound(6, 8, 1 << 17), i128::MAX);
        // As many samples as there can be are still told.
        assert_eq!(sum_bound(1, 8, u32::MAX), i128::from(u32::MAX) << 7);
    }

    /// Codes of the lowest value in all rows: whatever else is summed is less.
    #[test]
    fn rows_that_fit() {
        for order in 1..=6usize {
            for bits in [8, 12, 16, 18, 20, 24, 26, 30, 32] {
                for alternate in [false, true] {
                    let fits = |rows: usize| {
                        let code = 1i128 << (bits - 1);
                        let first = code * rows as i128;
                        let middle = rows.div_ceil(2) as i128;
                        let weights = (1..=rows as i128).map(|t| t - middle);
                        let [low, high] = [-1, 1].map(|s| {
                            weights
                                .clone()
                                .filter(|w| w * s > 0)
                                .map(|w| code * w.abs())
                                .sum::<i128>()
                        });
                        let second = if order > 1 { low + high } else { 0 };
                        let later = (3..=order).map(|j| code * pascal(rows + j - 1, j));
                        later.chain([first, second]).all(|sum| sum <= 1 << 31)
                    };
                    let step = if alternate { 2 } else { 1 };
                    let most = most_rows(order as u32, bits, alternate) as usize;
                    let told = (order, bits, alternate, most);
                    assert!(most <= 4096 && most.is_multiple_of(step), "{told:?}");
                    assert!(most == 0 || fits(most), "{told:?}");
                    assert!(most + step > 4096 || !fits(most + step), "{told:?}");
                }
            }
        }
    }
}
