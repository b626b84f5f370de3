//! Capacitance of plate electrodes: exact for parallel plates, closed form for tilted ones.
//!
//! Edge fields and guard rings are not modelled; see `docs/sensor-model.md`.

use crate::instrument::design::{EPS0, row};
use crate::instrument::file::ElectrodeFile;

/// An electrode with what its capacitance needs.
#[derive(Debug, Clone)]
pub struct Electrode {
    c0_f: f64,
    gap_m: f64,
    /// Approach of the mass per axis.
    row: [f64; 6],
    /// Slope of the gap along width and height per rotation, times half the side.
    half_tilt: [[f64; 3]; 2],
}

impl Electrode {
    /// From the sensor file.
    #[must_use]
    pub fn new(file: &ElectrodeFile) -> Self {
        let n = file.normal;
        let w = file.width_axis;
        let h = cross(n, w);
        let sides = [file.width_m, file.area_m2 / file.width_m];
        // A point at s along a side moves towards the electrode by (s e x n) . rotation.
        let tilt = |e: [f64; 3], side: f64| cross(e, n).map(|x| x * side / 2.0);
        Self {
            c0_f: EPS0 * file.area_m2 / file.gap_m,
            gap_m: file.gap_m,
            row: row(file),
            half_tilt: [tilt(w, sides[0]), tilt(h, sides[1])],
        }
    }

    /// Capacitance at a position of the mass; `tilted` off takes the plates as parallel.
    ///
    /// Stops at a gap of 1e-6 of the nominal one: the mass has touched.
    #[must_use]
    pub fn capacitance(&self, q: &[f64; 6], tilted: bool) -> f64 {
        let approach: f64 = self.row.iter().zip(q).map(|(r, q)| r * q).sum();
        let gap = (self.gap_m - approach).max(1e-6 * self.gap_m);
        let flat = self.c0_f * self.gap_m / gap;
        if !tilted {
            return flat;
        }
        let [a, b] =
            self.half_tilt.map(|t| t.iter().zip(&q[3..]).map(|(t, r)| t * r).sum::<f64>() / gap);
        flat * tilt_factor(a, b)
    }
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// Mean of 1/(1 - a s - b t) over s, t from -1 to 1: what tilt does to a capacitance, a and b
/// being the gap's change from centre to edge over the gap.
///
/// One tilt: atanh(a)/a, the logarithm of the wedge. Two: the closed form in z ln z, or its
/// series where the closed form would cancel; both to 1e-13.
#[must_use]
pub fn tilt_factor(a: f64, b: f64) -> f64 {
    let (a, b) = (a.abs().max(b.abs()), a.abs().min(b.abs()));
    if a + b > 0.999_999 {
        return tilt_factor(a * 0.999_998 / (a + b), b * 0.999_998 / (a + b));
    }
    if b < 0.02 && a < 0.02 {
        // sum over even n of E[(a s + b t)^n], E s^2k = 1/(2k+1): to n = 8, next term below 1e-14.
        let (x, y) = (a * a, b * b);
        return 1.0
            + (x + y) / 3.0
            + (x * x + y * y) / 5.0
            + 2.0 * x * y / 3.0
            + (x * x * x + y * y * y) / 7.0
            + x * y * (x + y)
            + (x.powi(4) + y.powi(4)) / 9.0
            + x * y * (4.0 / 3.0 * (x * x + y * y) + 70.0 / 25.0 * x * y);
    }
    if b < 1e-4 {
        // Second order in b: mean of b^2 t^2/(1 - a s)^3 = b^2/3 x 1/(1 - a^2)^2; the next is b^4.
        let y = b * b;
        let fourth = y * y / 5.0 * (1.0 + a * a) / (1.0 - a * a).powi(4);
        return a.atanh() / a + y / (3.0 * (1.0 - a * a).powi(2)) + fourth;
    }
    let f = |z: f64| z * z.ln();
    (f(1.0 + a + b) - f(1.0 + a - b) - f(1.0 - a + b) + f(1.0 - a - b)) / (4.0 * a * b)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean by Gauss-Legendre, 20 points a side (nodes by Newton's method).
    fn quadrature(a: f64, b: f64) -> f64 {
        let n = 20;
        let nodes: Vec<(f64, f64)> = (0..n)
            .map(|k| {
                let mut x = (std::f64::consts::PI * (k as f64 + 0.75) / (n as f64 + 0.5)).cos();
                let mut slope = 0.0;
                for _ in 0..100 {
                    let (mut p0, mut p1) = (1.0, x);
                    for j in 2..=n {
                        let j = j as f64;
                        (p0, p1) = (p1, ((2.0 * j - 1.0) * x * p1 - (j - 1.0) * p0) / j);
                    }
                    slope = n as f64 * (x * p1 - p0) / (x * x - 1.0);
                    x -= p1 / slope;
                }
                (x, 2.0 / ((1.0 - x * x) * slope * slope))
            })
            .collect();
        let mut sum = 0.0;
        for (s, ws) in &nodes {
            for (t, wt) in &nodes {
                sum += ws * wt / (1.0 - a * s - b * t) / 4.0;
            }
        }
        sum
    }

    #[test]
    fn closed_forms_meet_quadrature() {
        for a in [0.0, 1e-6, 1e-3, 0.0199, 0.0201, 0.1, 0.3] {
            for b in [0.0, 1e-7, 0.99e-4, 1.01e-4, 1e-3, 0.019, 0.03, 0.25] {
                let (got, want) = (tilt_factor(a, b), quadrature(a, b));
                // The z ln z form cancels to about 1e-16/(4 a b) where it is used, b >= 1e-4, a >= 0.02.
                let limit = if a.max(b) >= 0.02 && a.min(b) > 1e-4 { 1e-10 } else { 2e-13 };
                assert!((got - want).abs() < limit, "{a} {b}: {got} {want}");
            }
        }
    }
}
