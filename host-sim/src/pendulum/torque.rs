//! **Torque in time** from angles: T = I a + b v + kappa x, the derivatives by differences of five values.
//!
//! The differences, and their relative errors with h the interval (Abramowitz and Stegun 25.3, leading terms
//! from memory):
//!
//! ```text
//! v = (x[-2] - 8 x[-1] + 8 x[1] - x[2])/(12 h)                 (omega h)^4/30
//! a = (-x[-2] + 16 x[-1] - 30 x[0] + 16 x[1] - x[2])/(12 h^2)  (omega h)^4/90
//! ```
//!
//! A value's time is the middle of its filter's response already; the droop of the plan is its passband's
//! ripple, and beyond the passband torque is not told.

use crate::analysis::series::Series;
use std::ops::Range;

/// Values that the differences take to each side.
pub const REACH: usize = 2;

/// Coefficients of the equation of motion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficients {
    /// Inertia, kg m^2.
    pub inertia: f64,
    /// Damping, N m s/rad.
    pub damping: f64,
    /// Stiffness, N m/rad.
    pub stiffness: f64,
}

/// Torques at the rows of the series; runs are shorter by [`REACH`] at both ends.
#[must_use]
pub fn torques(series: &Series<'_>, c: Coefficients) -> (Vec<f64>, Vec<Range<usize>>) {
    let mut out = vec![f64::NAN; series.values.len()];
    let mut runs = Vec::new();
    let mean = series.mean();
    let rate = series.rate_hz;
    for run in &series.runs {
        if run.len() <= 2 * REACH {
            continue;
        }
        let inner = run.start + REACH..run.end - REACH;
        for k in inner.clone() {
            let x = |n: isize| series.values[k.wrapping_add_signed(n)] - mean;
            let velocity = (x(-2) - x(2) + 8.0 * (x(1) - x(-1))) * rate / 12.0;
            let acceleration =
                (16.0 * (x(-1) + x(1)) - x(-2) - x(2) - 30.0 * x(0)) * rate * rate / 12.0;
            out[k] = c.inertia * acceleration + c.damping * velocity + c.stiffness * x(0);
        }
        runs.push(inner);
    }
    (out, runs)
}

/// Relative error of the acceleration at a frequency, (omega h)^4/90.
#[must_use]
pub fn acceleration_error(frequency_hz: f64, rate_hz: f64) -> f64 {
    (std::f64::consts::TAU * frequency_hz / rate_hz).powi(4) / 90.0
}
