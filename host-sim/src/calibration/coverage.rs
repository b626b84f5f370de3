//! **Coverage**: combined uncertainties and how many degrees of freedom they have (JCGM 100:2008, the GUM).

use nalgebra::DMatrix;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Degrees of freedom beyond which Student's distribution is the normal one to 1e-4.
const MANY: f64 = 1e4;

/// A standard uncertainty with its degrees of freedom; infinite where it is known for sure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Standard uncertainty of the result by this part.
    pub uncertainty: f64,
    /// Degrees of freedom.
    pub degrees: f64,
}

/// Root of the sum of squares, and its effective degrees of freedom (Welch and Satterthwaite, GUM G.4.1).
#[must_use]
pub fn combined(parts: &[Part]) -> Part {
    let square: f64 = parts.iter().map(|p| p.uncertainty.powi(2)).sum();
    let fourths: f64 = parts.iter().map(|p| p.uncertainty.powi(4) / p.degrees).sum();
    let degrees = if fourths > 0.0 { square * square / fourths } else { f64::INFINITY };
    Part { uncertainty: square.sqrt(), degrees }
}

/// Standard uncertainties on both sides of an interval that holds the value with a probability. Degrees of freedom
/// are cut to whole ones, as the GUM does.
#[must_use]
pub fn factor(confidence: f64, degrees: f64) -> f64 {
    let degrees = degrees.floor().max(1.0);
    let tail = 0.5 + 0.5 * confidence;
    if degrees > MANY {
        return Normal::standard().inverse_cdf(tail);
    }
    StudentsT::new(0.0, 1.0, degrees).map_or(f64::NAN, |t| t.inverse_cdf(tail))
}

/// Variance of a result from its slopes along inputs and their covariance (GUM 5.2.2).
#[must_use]
pub fn variance(slopes: &[f64], covariance: &DMatrix<f64>) -> f64 {
    let row = |m: usize| -> f64 { (0..slopes.len()).map(|n| covariance[(m, n)] * slopes[n]).sum() };
    (0..slopes.len()).map(|m| slopes[m] * row(m)).sum()
}
