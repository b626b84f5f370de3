//! **Least-squares** taps: the integral over all bands of the weighted squared error is least.

use super::Need;
use super::quadrature::panels;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

/// Taps for `need`; errors weigh as the square of what the need allows.
#[must_use]
pub fn taps(length: usize, need: &Need<'_>) -> Option<Vec<f64>> {
    let mut points = Vec::new();
    let per_band = |width: f64| (width * length as f64 / 2.0).ceil() as usize + 2;
    for (f, w) in panels(0.0, need.pass, per_band(need.pass)) {
        points.push((f, w / need.ripple.powi(2), (need.desired)(f)));
    }
    for (low, high) in &need.stops {
        for (f, w) in panels(*low, *high, per_band(high - low)) {
            points.push((f, w / (need.leak)(f).powi(2), 0.0));
        }
    }
    solve(length, &points)
}

/// Symmetric taps whose response fits `points` (cycles a sample, weight, desired) best; none where fewer points than half
/// the taps leave them open.
#[must_use]
pub fn solve(length: usize, points: &[(f64, f64, f64)]) -> Option<Vec<f64>> {
    // H(f) = sum a_n cos(2 pi f (n + s)), s = 0 for an odd length, 1/2 for an even one.
    let (half, shift) = (length.div_ceil(2), if length % 2 == 1 { 0.0 } else { 0.5 });
    if points.len() < half {
        return None;
    }
    // Square roots of the weights keep the condition that normal equations would square.
    let matrix = DMatrix::from_fn(points.len(), half, |row, n| {
        let (f, w, _) = points[row];
        w.sqrt() * (TAU * f * (n as f64 + shift)).cos()
    });
    let mut turned =
        DVector::from_iterator(points.len(), points.iter().map(|(_, w, d)| w.sqrt() * d));
    let factors = matrix.qr();
    // By the reflections themselves: the matrix that they make up takes as long again.
    factors.q_tr_mul(&mut turned);
    let a = factors.r().solve_upper_triangular(&turned.rows(0, half))?;
    let part = |n: usize| if length % 2 == 1 && n == 0 { a[0] } else { a[n] / 2.0 };
    let taps = (0..length).map(|n| {
        let from = (2 * n as i64 - (length as i64 - 1)).unsigned_abs() as usize;
        part(if length % 2 == 1 { from / 2 } else { (from - 1) / 2 })
    });
    let taps: Vec<f64> = taps.collect();
    taps.iter().all(|t| t.is_finite()).then_some(taps)
}
