//! **Sine tapers**: several windows at right angles to each other, so that every frequency has several independent
//! coefficients, none of which leaks far (K. S. Riedel, A. Sidorenko, IEEE Trans. Signal Process. 43 (1995) 188,
//! recalled).
//!
//! Taper k of N values is sqrt(2/(N + 1)) sin(pi (k + 1)(n + 1)/(N + 1)). With X the transform of the values at 2 (N + 1)
//! frequencies, its coefficient at number m is sqrt(2/(N + 1)) (X[m - k - 1] - X[m + k + 1])/2i: one transform
//! serves all tapers. Coefficients of K tapers, at numbers 2 (K + 1) apart, have no part of that transform in common:
//! of noise whose density changes little over K + 1 bins they are independent.

use super::transform;
use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::ops::Range;

/// Tapers in use.
pub const TAPERS: usize = 5;
/// Distance of frequencies from each other, in halves of 1/(N + 1) of the rate.
const SPACING: usize = 2 * (TAPERS + 1);
/// Fewest rows of a run that is looked at: three frequencies.
const LEAST_ROWS: usize = 3 * SPACING;

/// Coefficients of all tapers at one frequency of one run.
pub type Cell = [Complex64; TAPERS];

/// Frequencies of a series' cells, rising, and whose they are.
#[derive(Debug, Clone)]
pub struct Places {
    runs: Vec<Range<usize>>,
    /// Frequency, and its place among the cells run by run.
    order: Vec<(f64, usize)>,
    to_hz: f64,
    rate_hz: f64,
}

impl Places {
    /// Of all runs that are long enough, up to a frequency.
    #[must_use]
    pub fn new(runs: &[Range<usize>], rate_hz: f64, to_hz: f64) -> Self {
        let runs: Vec<_> = runs.iter().filter(|run| run.len() >= LEAST_ROWS).cloned().collect();
        let mut order: Vec<(f64, usize)> = runs
            .iter()
            .flat_map(|run| numbers(run.len(), rate_hz, to_hz).map(|m| (m as f64, run.len())))
            .map(|(m, rows)| m * rate_hz / (2 * (rows + 1)) as f64)
            .enumerate()
            .map(|(n, f)| (f, n))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { runs, order, to_hz, rate_hz }
    }

    /// Frequencies of the cells.
    pub fn frequencies(&self) -> impl ExactSizeIterator<Item = f64> {
        self.order.iter().map(|(f, _)| *f)
    }

    /// Coefficients of a series at these places, whose runs hold theirs. Of each run its straight line is taken off before.
    ///
    /// Scaled so that the mean of |cell|^2 is a one-sided power density.
    #[must_use]
    pub fn cells(&self, values: &[f64]) -> Vec<Cell> {
        let mut cells = Vec::with_capacity(self.order.len());
        for run in &self.runs {
            let rows = run.len();
            let fft = transform::forward(2 * (rows + 1));
            let mut padded = fft.make_input_vec();
            padded[1..=rows].copy_from_slice(&without_line(&values[run.clone()]));
            let mut x = fft.make_output_vec();
            fft.process(&mut padded, &mut x).expect("lengths come from the planner");
            let scale = (2.0 / (rows + 1) as f64).sqrt() * (2.0 / self.rate_hz).sqrt();
            let half = Complex64::new(0.0, -0.5 * scale);
            cells.extend(
                numbers(rows, self.rate_hz, self.to_hz)
                    .map(|m| std::array::from_fn(|k| (x[m - k - 1] - x[m + k + 1]) * half)),
            );
        }
        // Of one run they rise as they are.
        if self.runs.len() == 1 {
            return cells;
        }
        self.order.iter().map(|(_, n)| cells[*n]).collect()
    }

    /// Rows looked at.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.runs.iter().map(Range::len).sum()
    }
}

/// Numbers of the frequencies of a run.
fn numbers(rows: usize, rate_hz: f64, to_hz: f64) -> impl Iterator<Item = usize> {
    let last = (to_hz / rate_hz * (2 * (rows + 1)) as f64) as usize;
    // The outermost taper reaches TAPERS to both sides, and not beyond half the rate.
    (SPACING / 2..=last.min(rows - TAPERS)).step_by(SPACING)
}

/// Values without their straight line, by least squares.
#[must_use]
pub fn without_line(values: &[f64]) -> Vec<f64> {
    let n = values.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mean = values.iter().sum::<f64>() / n;
    let moment: f64 =
        values.iter().enumerate().map(|(k, x)| (k as f64 - middle) * (x - mean)).sum();
    let slope = moment / (n * (n * n - 1.0) / 12.0);
    values.iter().enumerate().map(|(k, x)| x - mean - slope * (k as f64 - middle)).collect()
}

/// One coefficient of every taper at any frequency of one run, scaled as [`Places::cells`].
#[must_use]
pub fn at(values: &[f64], rate_hz: f64, frequency_hz: f64) -> Cell {
    let rows = values.len();
    let mut sums = [Complex64::default(); TAPERS];
    let [turn, step] = [-TAU * frequency_hz / rate_hz, PI / (rows + 1) as f64];
    let unit = |phase: f64| Complex64::new(phase.cos(), phase.sin());
    let [by, on] = [turn, step].map(unit);
    for (n, values) in values.chunks(RENEWED).enumerate() {
        let first = (n * RENEWED) as f64;
        // Turned on from row to row, and anew before rounding adds up.
        let [mut carrier, mut phase] = [turn * first, step * (first + 1.0)].map(unit);
        for x in values {
            let value = carrier * x;
            // sin((k + 1) a) from k to k + 1 by 2 cos(a).
            let (mut before, mut taper) = (0.0, phase.im);
            for sum in &mut sums {
                *sum += value * taper;
                (before, taper) = (taper, 2.0 * phase.re * taper - before);
            }
            carrier *= by;
            phase *= on;
        }
    }
    let scale = (2.0 / (rows + 1) as f64).sqrt() * (2.0 / rate_hz).sqrt();
    sums.map(|sum| sum * scale)
}

/// What a constant of 1 gives at frequency 0.
#[must_use]
pub fn of_constant(rows: usize, rate_hz: f64) -> Cell {
    at(&vec![1.0; rows], rate_hz, 0.0)
}

/// Rows from one sine and cosine to the next.
const RENEWED: usize = 256;

/// Smoothed power densities of cells: straight in logarithms of power and frequency over the cells near each, so that a
/// power law stays one.
#[must_use]
pub fn smoothed(frequencies: &[f64], cells: &[Cell]) -> Vec<f64> {
    // Logarithms of means of TAPERS exponential variates are low by ln K - digamma(K).
    let low = (TAPERS as f64).ln() - digamma(TAPERS);
    let points: Vec<[f64; 2]> = frequencies
        .iter()
        .zip(cells)
        .map(|(f, cell)| {
            let power = cell.iter().map(|z| z.norm_sqr()).sum::<f64>() / TAPERS as f64;
            [f.ln(), power.max(f64::MIN_POSITIVE).ln() + low]
        })
        .collect();
    // Sums up to each point make those of any window.
    let mut sums = vec![[0.0; 4]];
    let origin = points.first().map_or(0.0, |p| p[0]);
    for [x, y] in &points {
        let (x, last) = (x - origin, sums[sums.len() - 1]);
        let add = [x, *y, x * x, x * y];
        sums.push(std::array::from_fn(|k| last[k] + add[k]));
    }
    let count = points.len();
    (0..count)
        .map(|n| {
            let x = points[n][0] - origin;
            let mut from = points[..n].partition_point(|p| p[0] - origin < x - NEAR);
            let mut to = n + points[n..].partition_point(|p| p[0] - origin <= x + NEAR);
            let short = LEAST_CELLS.saturating_sub(to - from);
            from = from.saturating_sub(short.div_ceil(2));
            to = (from + (to - from).max(LEAST_CELLS)).min(count);
            from = from.min(to.saturating_sub(LEAST_CELLS));
            let [sx, sy, sxx, sxy] = std::array::from_fn(|k| sums[to][k] - sums[from][k]);
            let m = (to - from) as f64;
            let spread = sxx - sx * sx / m;
            let slope = if spread > 1e-9 { (sxy - sx * sy / m) / spread } else { 0.0 };
            (sy / m + slope * (x - sx / m)).exp()
        })
        .collect()
}

/// Reach of smoothing to both sides, in the logarithm of frequency.
const NEAR: f64 = 0.15;
/// Fewest cells that a density is smoothed over.
pub const LEAST_CELLS: usize = 9;

/// Digamma function of a whole number.
fn digamma(n: usize) -> f64 {
    (1..n).map(|k| 1.0 / k as f64).sum::<f64>() - 0.577_215_664_901_532_9
}
