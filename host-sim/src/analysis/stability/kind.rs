//! **Kind of noise** at an averaging time, from the correlation of neighbouring averages
//! (W. J. Riley, C. A. Greenhall, "Power law noise identification using the lag 1 autocorrelation", 18th
//! European Frequency and Time Forum (2004)).

use super::deviations::{Deviation, Phases};

/// Fewest averages that tell.
const FEWEST: usize = 30;

/// What was found of a noise, S ~ f^alpha.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// The nearest exponent, 2 to -2 (-4 for third differences).
    pub exponent: i32,
    /// The lowest that so few averages do not exclude: its deviation is the least sure.
    pub cautious: i32,
}

/// Exponent of the averaged quantity's density at averages of `m` values.
#[must_use]
pub fn of(phases: &Phases, deviation: Deviation, m: usize) -> Option<Kind> {
    let most = deviation.order();
    // Sums m apart; averages are their differences. A quadratic of the sums is an offset and a drift.
    let runs: Vec<Vec<f64>> = phases
        .runs()
        .iter()
        .map(|run| without_parabola(run.iter().step_by(m).copied().collect()))
        .collect();
    let mut series: Vec<Vec<f64>> =
        runs.into_iter().filter(|run| run.len() >= FEWEST / 2).collect();
    if series.iter().map(Vec::len).sum::<usize>() < FEWEST {
        return None;
    }
    for differences in 0..=most {
        // What a parabola took from n values leaves white ones correlated by -1/n for each of its terms that
        // the differences have not taken already.
        let count: usize = series.iter().map(Vec::len).sum();
        let terms = 3usize.saturating_sub(differences).max(1) * series.len();
        let correlation = lag_one(&series)? + terms as f64 / count as f64;
        // rho = -alpha/2 of a fractionally integrated noise, for what is differenced often enough.
        let rho = correlation / (1.0 + correlation);
        if rho < 0.25 || differences == most {
            let alpha = -2.0 * rho - 2.0 * differences as f64 + 2.0;
            // A correlation of n values is known to 1/sqrt(n), and alpha to twice that.
            let unsure = 2.0 / (count as f64).sqrt();
            let whole = |alpha: f64| (alpha.round() as i32).clamp(2 - 2 * most as i32, 2);
            return Some(Kind { exponent: whole(alpha), cautious: whole(alpha - unsure) });
        }
        for run in &mut series {
            *run = run.windows(2).map(|x| x[1] - x[0]).collect();
        }
    }
    None
}

/// Correlation of neighbours, about the mean of all.
fn lag_one(runs: &[Vec<f64>]) -> Option<f64> {
    let count: usize = runs.iter().map(Vec::len).sum();
    let mean = runs.iter().flatten().sum::<f64>() / count as f64;
    let square: f64 = runs.iter().flatten().map(|x| (x - mean).powi(2)).sum();
    let product: f64 =
        runs.iter().flat_map(|run| run.windows(2)).map(|x| (x[0] - mean) * (x[1] - mean)).sum();
    (square > 0.0).then(|| product / square)
}

/// Values without their least-squares parabola, by polynomials that are orthogonal over the points.
fn without_parabola(mut x: Vec<f64>) -> Vec<f64> {
    let n = x.len() as f64;
    let centre = (n - 1.0) / 2.0;
    let second = (n * n - 1.0) / 12.0;
    for order in 0..3 {
        let at = |k: usize| {
            let t = k as f64 - centre;
            [1.0, t, t * t - second][order]
        };
        let norm: f64 = (0..x.len()).map(|k| at(k).powi(2)).sum();
        let part: f64 = x.iter().enumerate().map(|(k, x)| x * at(k)).sum();
        if norm > 0.0 {
            x.iter_mut().enumerate().for_each(|(k, x)| *x -= part / norm * at(k));
        }
    }
    x
}
