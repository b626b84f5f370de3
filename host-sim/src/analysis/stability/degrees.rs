//! **Degrees of freedom** of a deviation, from the covariance of its differences for a power-law noise
//! (C. A. Greenhall, W. J. Riley, "Uncertainty of stability variances based on finite differences", 35th
//! PTTI (2003) 267, equations 6 to 13). The sum is worked out as it is; the paper's tables approximate it.

use super::Deviation;

/// Longest sum: for longer averages the sum of that many, as only their ratio to the record counts.
const LONGEST: usize = 512;

/// Equivalent degrees of freedom for averages of `m` values, noise of the averaged quantity ~ f^`alpha`,
/// runs of `sums` running sums. `None` where the deviation does not converge for such noise.
#[must_use]
pub fn of(deviation: Deviation, alpha: i32, m: usize, sums: &[usize]) -> Option<f64> {
    if deviation == Deviation::Total {
        return total(alpha, m, sums);
    }
    let d = deviation.order();
    if alpha > 2 || alpha + 2 * (d as i32) <= 1 {
        return None;
    }
    let modified = matches!(deviation, Deviation::Modified | Deviation::Time);
    let apart = matches!(deviation, Deviation::AllanApart | Deviation::HadamardApart);
    // Runs add like independent estimates, each with its own weight.
    let (mut weight, mut variance) = (0.0, 0.0);
    for &n in sums {
        // Values that a difference takes: d averages, and one more when modified.
        let reach = if modified { m * d + m } else { m * d + 1 };
        if n < reach {
            continue;
        }
        let terms = if apart { (n - reach) / m + 1 } else { n - reach + 1 };
        let one = variance_of_mean(alpha, d, m, terms, modified, apart);
        let share = terms as f64;
        weight += share;
        variance += share * share * one;
    }
    (weight > 0.0).then(|| weight * weight / variance)
}

/// 1/edf of one run: sum over lags of the squared correlation of its differences.
fn variance_of_mean(
    alpha: i32,
    d: usize,
    m: usize,
    terms: usize,
    modified: bool,
    apart: bool,
) -> f64 {
    // A shorter average of a record as much shorter has the same freedom, but for noise that the width of
    // a value bounds: what is averaged stays as wide as it is.
    let stride = if apart { 1 } else { m.min(LONGEST) };
    let shrunk = stride as f64 / if apart { 1.0 } else { m as f64 };
    let terms = (terms as f64 * shrunk).max(1.0);
    let filter = if modified { 1.0 } else { m as f64 };
    let lags = ((d as f64 + 1.0) * stride as f64).min(terms).floor() as usize;
    let at_zero = covariance(0.0, filter, alpha, d);
    let at =
        |lag: usize| (covariance(lag as f64 / stride as f64, filter, alpha, d) / at_zero).powi(2);
    let sum: f64 = (1..lags).map(|lag| 2.0 * (1.0 - lag as f64 / terms) * at(lag)).sum();
    (1.0 + sum + (1.0 - lags as f64 / terms).max(0.0) * at(lags)) / terms
}

/// Covariance of d-th differences at a lag of t averaging times (its equation 9): binomial weights of order
/// 2d over that of phase averages.
fn covariance(t: f64, filter: f64, alpha: i32, d: usize) -> f64 {
    let weights: &[f64] = if d == 2 { &[6.0, -4.0, 1.0] } else { &[20.0, -15.0, 6.0, -1.0] };
    let far = weights.iter().enumerate().skip(1);
    let sides: f64 = far
        .map(|(k, w)| {
            w * (averaged(t - k as f64, filter, alpha) + averaged(t + k as f64, filter, alpha))
        })
        .sum();
    weights[0] * averaged(t, filter, alpha) + sides
}

/// Second difference over a value's width of the generalised covariance (its equation 8), or its limit for
/// values much shorter than the average.
fn averaged(t: f64, filter: f64, alpha: i32) -> f64 {
    if filter > 1e3 && alpha <= 0 {
        return generalised(t, alpha + 2);
    }
    let step = 1.0 / filter;
    let sum = generalised(t - step, alpha) + generalised(t + step, alpha);
    filter * filter * (2.0 * generalised(t, alpha) - sum)
}

/// Generalised autocovariance of power-law noise, but for a factor (its equation 7).
fn generalised(t: f64, alpha: i32) -> f64 {
    let t = t.abs();
    let log = if t > 0.0 { t.ln() } else { 0.0 };
    match alpha {
        2 => -t,
        1 => t * t * log,
        0 => t.powi(3),
        -1 => -t.powi(4) * log,
        -2 => -t.powi(5),
        -3 => t.powi(6) * log,
        _ => t.powi(7),
    }
}

/// NIST SP 1065 table 7: b T/tau - c.
fn total(alpha: i32, m: usize, sums: &[usize]) -> Option<f64> {
    let (b, c) = match alpha {
        0 => (1.50, 0.0),
        -1 => (1.17, 0.22),
        -2 => (0.93, 0.36),
        // Noise that is not in the table: as the overlapping Allan deviation.
        _ => return of(Deviation::Allan, alpha, m, sums),
    };
    let [n] = sums else { return None };
    Some(b * (n - 1) as f64 / m as f64 - c)
}
