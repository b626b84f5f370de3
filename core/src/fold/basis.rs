//! How sums of rows become sums of samples.

use crate::word::divide;

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::section::pascal;

    #[test]
    fn binomials() {
        for k in 0..7 {
            for n in 0..20 {
                assert_eq!(binomial(n as i128, k as i128), pascal(n, k));
                // C(-n, k) = (-1)^k C(n + k - 1, k).
                let mirrored = if n == 0 { i128::from(k == 0) } else { pascal(n + k - 1, k) };
                let sign = if k % 2 == 0 { 1 } else { -1 };
                assert_eq!(binomial(-(n as i128), k as i128), sign * mirrored, "C(-{n}, {k})");
            }
        }
    }

    #[test]
    fn rows_in_their_basis() {
        for phases in [1, 2, 3, 5, 10, 64] {
            let basis = row_basis::<6>(phases);
            for (j, row) in basis.iter().enumerate() {
                for t in 0..9 {
                    let sum = |i: usize| i128::from(row[i]) * pascal(t + i, i);
                    let want = pascal(phases as usize * t + j, j);
                    assert_eq!((0..=j).map(sum).sum::<i128>(), want, "K {phases}, j {j}, t {t}");
                }
            }
        }
    }
}
