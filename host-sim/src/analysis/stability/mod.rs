//! **Stability**: Allan, modified, Hadamard, time and total deviations over averaging time, with
//! confidence from the kind of noise found at each.
//!
//! Formulas: W. J. Riley, D. A. Howe, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008);
//! degrees of freedom: C. A. Greenhall, W. J. Riley, 35th PTTI (2003) 267.

pub mod degrees;
pub mod deviations;
mod differences;
pub mod kind;

use crate::analysis::density::chi2_factors;
use crate::analysis::series::Series;
pub use deviations::Deviation;

/// A deviation at one averaging time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Averaging time.
    pub tau_s: f64,
    /// Values of an average.
    pub values: usize,
    /// The deviation, in the unit of the values (times a second for the time deviation).
    pub deviation: f64,
    /// Differences that went into it.
    pub differences: usize,
    /// Exponent of the noise's density found at this averaging time, S ~ f^exponent; none where too few
    /// averages are left to tell.
    pub exponent: Option<i32>,
    /// Equivalent degrees of freedom, for the least sure kind that is not excluded.
    pub degrees: Option<f64>,
    /// Interval of the deviation.
    pub interval: Option<[f64; 2]>,
}

/// A deviation over averaging times.
///
/// The series is what is averaged (a rate, in the trade's words a fractional frequency); `integrated`
/// takes it as the integral of that (a phase).
#[must_use]
pub fn over_times(
    series: &Series<'_>,
    integrated: bool,
    deviation: Deviation,
    times: &[usize],
    confidence: f64,
) -> Vec<Point> {
    let phases = deviations::Phases::new(series, integrated);
    let mut found: Vec<Point> = Vec::new();
    let mut last = None;
    let values = match deviation {
        Deviation::Allan => phases.allan(times),
        other => times.iter().map(|m| phases.deviation(other, *m)).collect(),
    };
    for (&m, value) in times.iter().zip(values) {
        let Some((value, differences)) = value else { continue };
        // Where too few averages are left, the noise is taken to be that of the last time that told.
        last = kind::of(&phases, deviation, m).or(last);
        let degrees = last
            .and_then(|kind| degrees::of(deviation, kind.cautious, m, &phases.lengths()))
            .filter(|degrees| *degrees >= 0.5);
        found.push(Point {
            tau_s: m as f64 / series.rate_hz,
            values: m,
            deviation: value,
            differences,
            exponent: last.map(|kind| kind.exponent),
            degrees,
            interval: degrees
                .map(|nu| chi2_factors(nu, confidence).map(|factor| value * factor.sqrt())),
        });
    }
    found
}

/// Averaging times, in values: `per_decade` of them to the longest that the deviation can have.
#[must_use]
pub fn times(series: &Series<'_>, deviation: Deviation, per_decade: f64) -> Vec<usize> {
    let longest = series.longest() / deviation.averages();
    let mut times = Vec::new();
    for n in 0.. {
        let m = 10f64.powf(f64::from(n) / per_decade).round() as usize;
        if m > longest {
            return times;
        }
        if times.last() != Some(&m) {
            times.push(m);
        }
    }
    times
}
