//! **Ellipse** of the two signals of a beam and its correction (P. L. M. Heydemann, Appl. Opt. 20 (1981) 3382,
//! by its abstract): x = p + V cos phi, y = q + (V/r) sin(phi - alpha).
//!
//! Two fits. The algebraic one solves for the conic in one step; noise would make it too small, which the weights
//! of K. Kanatani and P. Rangarajan (Comput. Stat. Data Anal. 55 (2011) 2197, recalled) take off to the second
//! order. The geometric one starts there and makes the distances of all points to the curve least.

use crate::instrument::file::EllipseFile;
use nalgebra::{Matrix5, Matrix6, Vector5, Vector6};

/// An ellipse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre: p and q.
    pub centre: [f64; 2],
    /// V, the amplitude of x.
    pub contrast: f64,
    /// r, the amplitude of x over that of y.
    pub ratio: f64,
    /// alpha, what the two lack of a quarter turn.
    pub lack_rad: f64,
}

/// Fit of an ellipse.
#[derive(Debug, Clone, Copy)]
pub struct Fit {
    /// The ellipse.
    pub ellipse: Ellipse,
    /// Standard uncertainties of p, q, V, r, alpha.
    pub uncertainty: [f64; 5],
    /// Rms distance of a point from it.
    pub scatter: f64,
}

/// Rounds of the geometric fit; five are usual.
const ROUNDS: usize = 30;

impl Ellipse {
    /// Of the sensor file.
    #[must_use]
    pub fn of(file: &EllipseFile) -> Self {
        Self {
            centre: [file.offset_x, file.offset_y],
            contrast: file.contrast,
            ratio: file.ratio,
            lack_rad: file.quadrature_error_rad,
        }
    }

    /// The five numbers p, q, V, r, alpha.
    #[must_use]
    pub fn numbers(&self) -> [f64; 5] {
        [self.centre[0], self.centre[1], self.contrast, self.ratio, self.lack_rad]
    }

    /// Back from [`Self::numbers`].
    #[must_use]
    pub fn of_numbers([p, q, contrast, ratio, lack_rad]: [f64; 5]) -> Self {
        Self { centre: [p, q], contrast, ratio, lack_rad }
    }

    /// Cosine and sine of the phase, times the point's distance from the centre over the ellipse's there:
    /// (a (x - p), b (x - p) + c (y - q)) with this a, b, c.
    #[must_use]
    pub fn correction(&self) -> [f64; 3] {
        let (sine, cosine) = self.lack_rad.sin_cos();
        let v = self.contrast;
        [1.0 / v, sine / (v * cosine), self.ratio / (v * cosine)]
    }

    /// See [`Self::correction`].
    #[must_use]
    pub fn corrected(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [a, b, c] = self.correction();
        let (x, y) = (x - self.centre[0], y - self.centre[1]);
        [a * x, b * x + c * y]
    }

    /// The point at a phase.
    #[must_use]
    pub fn at(&self, phase: f64) -> [f64; 2] {
        let [p, q] = self.centre;
        let y = self.contrast / self.ratio * (phase - self.lack_rad).sin();
        [p + self.contrast * phase.cos(), q + y]
    }

    /// Largest error of a phase that is taken without correction, about the errors' mean, rad, of 720 phases.
    #[must_use]
    pub fn uncorrected_error(&self) -> f64 {
        let error = |n: i32| {
            let phase = std::f64::consts::TAU * f64::from(n) / 720.0;
            let [x, y] = self.at(phase);
            let (s, c) = phase.sin_cos();
            (y * c - x * s).atan2(x * c + y * s)
        };
        let mean = (0..720).map(error).sum::<f64>() / 720.0;
        (0..720).map(|n| (error(n) - mean).abs()).fold(0.0, f64::max)
    }

    /// Whether it is one, and its signals tell a direction.
    fn is_sound(&self) -> bool {
        let [p, q, v, r, a] = self.numbers();
        [p, q].iter().all(|x| x.is_finite()) && v > 0.0 && r > 0.0 && r.is_finite() && a.abs() < 1.4
    }
}

/// The algebraic fit. `None` where the points are fewer than six or lie on no ellipse.
#[must_use]
pub fn algebraic(points: &[[f64; 2]]) -> Option<Ellipse> {
    if points.len() < 6 {
        return None;
    }
    // About their middle and over their size, so that all terms are of one size.
    let count = points.len() as f64;
    let mean: [f64; 2] = std::array::from_fn(|k| points.iter().map(|p| p[k]).sum::<f64>() / count);
    let square = |p: &[f64; 2]| (p[0] - mean[0]).powi(2) + (p[1] - mean[1]).powi(2);
    let size = (points.iter().map(square).sum::<f64>() / count).sqrt();
    let sound = size > 0.0;
    if !sound {
        return None;
    }
    let (mut m, mut sums) = (Matrix6::zeros(), Vector6::zeros());
    for point in points {
        let (x, y) = ((point[0] - mean[0]) / size, (point[1] - mean[1]) / size);
        let terms = Vector6::new(x * x, 2.0 * x * y, y * y, 2.0 * x, 2.0 * y, 1.0);
        m += terms * terms.transpose();
        sums += terms;
    }
    m /= count;
    sums /= count;
    let conic = solve(&m, &weights(&sums))?;
    of_conic(conic, mean, size)
}

/// What noise of one size in x and y adds to the mean of the terms' products, to the second order, over its
/// variance: with 2 S[mean e'] beside the first derivatives' part.
fn weights(mean: &Vector6<f64>) -> Matrix6<f64> {
    let [xx, xy2, yy, x2, y2, _] = std::array::from_fn(|k| mean[k]);
    let (xy, x, y) = (xy2 / 2.0, x2 / 2.0, y2 / 2.0);
    #[rustfmt::skip]
    let first = Matrix6::new(
        xx, xy, 0.0, x, 0.0, 0.0,
        xy, xx + yy, xy, y, x, 0.0,
        0.0, xy, yy, 0.0, y, 0.0,
        x, y, 0.0, 1.0, 0.0, 0.0,
        0.0, x, y, 0.0, 1.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ) * 4.0;
    let e = Vector6::new(1.0, 0.0, 1.0, 0.0, 0.0, 0.0);
    first + mean * e.transpose() + e * mean.transpose()
}

/// The u of M u = lambda N u with the smallest lambda in size.
fn solve(m: &Matrix6<f64>, n: &Matrix6<f64>) -> Option<Vector6<f64>> {
    let own = m.symmetric_eigen();
    let least = own.eigenvalues.imin();
    let sound = own.eigenvalues[least] > 1e-15 * own.eigenvalues.max();
    if !sound {
        // Without noise there is nothing to take off.
        return Some(own.eigenvectors.column(least).into_owned());
    }
    let half = Matrix6::from_fn(|r, c| own.eigenvectors[(r, c)] / own.eigenvalues[c].sqrt());
    let inner = half.transpose() * n * half;
    let inner = (inner + inner.transpose()) / 2.0;
    let eigen = inner.symmetric_eigen();
    Some(half * eigen.eigenvectors.column(eigen.eigenvalues.iamax()))
}

/// A conic's numbers as an ellipse's.
fn of_conic(u: Vector6<f64>, mean: [f64; 2], size: f64) -> Option<Ellipse> {
    let [a, b, c, d, e, f] = std::array::from_fn(|k| u[k]);
    let determinant = a * c - b * b;
    let (x, y) = ((b * e - c * d) / determinant, (b * d - a * e) / determinant);
    let level = -(f + d * x + e * y) / a;
    let ratio = (c / a).sqrt();
    let sine = b / (a * ratio);
    let ellipse = Ellipse {
        centre: [mean[0] + size * x, mean[1] + size * y],
        contrast: size * (level / (1.0 - sine * sine)).sqrt(),
        ratio,
        lack_rad: sine.asin(),
    };
    (determinant > 0.0 && ellipse.is_sound()).then_some(ellipse)
}

/// The geometric fit. `None` where the algebraic one finds none, or it does not settle.
#[must_use]
pub fn geometric(points: &[[f64; 2]]) -> Option<Fit> {
    let mut ellipse = algebraic(points)?;
    for _ in 0..ROUNDS {
        let (normal, right, _) = equations(points, &ellipse);
        let step = normal.cholesky()?.solve(&right);
        let numbers: [f64; 5] = std::array::from_fn(|k| ellipse.numbers()[k] + step[k]);
        ellipse = Ellipse::of_numbers(numbers);
        if !ellipse.is_sound() {
            return None;
        }
        if step.amax() < 1e-14 {
            break;
        }
    }
    let (normal, _, squares) = equations(points, &ellipse);
    let variance = squares / (points.len() as f64 - 5.0).max(1.0);
    let inverse = normal.try_inverse()?;
    let uncertainty = std::array::from_fn(|k| (inverse[(k, k)] * variance).sqrt());
    Some(Fit { ellipse, uncertainty, scatter: variance.sqrt() })
}

/// Normal equations of the distances, and the sum of their squares.
fn equations(points: &[[f64; 2]], ellipse: &Ellipse) -> (Matrix5<f64>, Vector5<f64>, f64) {
    let (mut normal, mut right, mut squares) = (Matrix5::zeros(), Vector5::zeros(), 0.0);
    let Ellipse { contrast: v, ratio: r, lack_rad, .. } = *ellipse;
    for point in points {
        let phase = nearest(ellipse, *point);
        let ((s, c), (sl, cl)) = (phase.sin_cos(), (phase - lack_rad).sin_cos());
        // Outwards at right angles to the curve.
        let (tx, ty) = (-v * s, v / r * cl);
        let length = tx.hypot(ty);
        let (nx, ny) = (ty / length, -tx / length);
        let at = ellipse.at(phase);
        let distance = (point[0] - at[0]) * nx + (point[1] - at[1]) * ny;
        let row =
            Vector5::new(nx, ny, nx * c + ny * sl / r, -ny * v * sl / (r * r), -ny * v * cl / r);
        normal += row * row.transpose();
        right += row * distance;
        squares += distance * distance;
    }
    (normal, right, squares)
}

/// Phase of the curve's point nearest to another: Newton's steps from the corrected phase, three of which
/// leave nothing where the point is within a tenth of the curve.
fn nearest(ellipse: &Ellipse, point: [f64; 2]) -> f64 {
    let [c, s] = ellipse.corrected(point);
    let mut phase = s.atan2(c);
    let (v, w) = (ellipse.contrast, ellipse.contrast / ellipse.ratio);
    for _ in 0..3 {
        let at = ellipse.at(phase);
        let (dx, dy) = (at[0] - point[0], at[1] - point[1]);
        let ((s, c), (sl, cl)) = (phase.sin_cos(), (phase - ellipse.lack_rad).sin_cos());
        let (tx, ty) = (-v * s, w * cl);
        let bend = tx * tx + ty * ty - dx * v * c - dy * w * sl;
        let sound = bend > 0.0;
        if !sound {
            break;
        }
        phase -= (dx * tx + dy * ty) / bend;
    }
    phase
}
