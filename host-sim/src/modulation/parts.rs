//! **Parts**: a line fitted anew in every few cycles: how well it repeats, and how it changes.

use super::lines::{Line, Rows, fit, shortest};
use crate::calibration::regression::regress;
use crate::pendulum::swing::Measured;
use nalgebra::DMatrix;
use realfft::num_complex::Complex64;

/// Lines of one part.
#[derive(Debug, Clone)]
pub struct Part {
    /// Its middle.
    pub time_s: f64,
    /// In the order of the frequencies.
    pub lines: Vec<Line>,
}

/// Most parts.
const MOST: usize = 40;

/// Parts of whole cycles of the first frequency, as many as tell its lines apart and no more than some tens.
#[must_use]
pub fn parts(rows: &Rows<'_>, frequencies: &[f64]) -> Vec<Part> {
    let Some(first) = frequencies.first() else { return Vec::new() };
    let cycle = rows.rate_hz / first;
    let whole: usize = rows.runs.iter().map(std::ops::Range::len).sum();
    let least = (shortest(frequencies, rows.rate_hz) as f64 / cycle).ceil();
    let cycles = least.max((whole as f64 / cycle / MOST as f64).floor());
    let length = cycles * cycle;
    let mut out = Vec::new();
    for run in rows.runs {
        let count = (run.len() as f64 / length).floor() as usize;
        for n in 0..count {
            let place = |n: usize| run.start + (n as f64 * length).round() as usize;
            let range = place(n)..place(n + 1).min(run.end);
            let one = Rows { runs: std::slice::from_ref(&range), ..*rows };
            // Rounding to rows may leave one too short by a row.
            let Some(lines) = fit(&one, frequencies) else { continue };
            let time_s = f64::midpoint(rows.times_s[range.start], rows.times_s[range.end - 1]);
            out.push(Part { time_s, lines });
        }
    }
    out
}

/// What parts say of one line's response.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeated {
    /// Mean of all parts.
    pub mean: Complex64,
    /// Standard uncertainty of both parts of the mean, by their scatter.
    pub uncertainty: [f64; 2],
    /// Change of its real part a second.
    pub rate: Option<Measured>,
    /// Parts.
    pub count: usize,
    /// How far the first part is from the others' mean, in standard deviations.
    pub first_off: f64,
}

/// Fewest parts that a scatter is told from.
const LEAST: usize = 4;

/// Mean, scatter and change of a value of all parts.
#[must_use]
pub fn repeated(parts: &[Part], value: impl Fn(&Part) -> Complex64) -> Option<Repeated> {
    if parts.len() < LEAST {
        return None;
    }
    let values: Vec<Complex64> = parts.iter().map(value).collect();
    let n = values.len() as f64;
    let mean = values.iter().sum::<Complex64>() / n;
    let spread = |part: fn(&Complex64) -> f64| {
        let squares: f64 = values.iter().map(|z| part(&(z - mean)).powi(2)).sum();
        (squares / (n - 1.0) / n).sqrt()
    };
    let middle = parts.iter().map(|p| p.time_s).sum::<f64>() / n;
    let columns =
        DMatrix::from_fn(
            values.len(),
            2,
            |r, c| if c == 0 { 1.0 } else { parts[r].time_s - middle },
        );
    let real: Vec<f64> = values.iter().map(|z| z.re).collect();
    let rate = regress(&columns, &real, None)
        .ok()
        .map(|fit| Measured { value: fit.values[1], uncertainty: fit.uncertainty(1) });
    // Of a first part that is like the others.
    let others = &values[1..];
    let m = others.len() as f64;
    let about = others.iter().sum::<Complex64>() / m;
    let squares: f64 = others.iter().map(|z| (z - about).norm_sqr()).sum();
    let sigma = (squares / (2.0 * (m - 1.0)) * (1.0 + 1.0 / m)).sqrt();
    Some(Repeated {
        mean,
        uncertainty: [spread(|z| z.re), spread(|z| z.im)],
        rate,
        count: values.len(),
        first_off: (values[0] - about).norm() / sigma,
    })
}
