//! The response that a guess of extremes makes, by barycentric interpolation.

use super::Point;
use pulp::{Arch, Simd, WithSimd};

/// The sum of cosines that leaves errors of one size and alternating sign at the extremes.
pub(super) struct Interpolation {
    x: Vec<f64>,
    weights: Vec<f64>,
    values: Vec<f64>,
    pub(super) ripple: f64,
}

impl Interpolation {
    pub(super) fn new(grid: &[Point], extremes: &[usize]) -> Option<Self> {
        let points: Vec<Point> = extremes.iter().map(|k| grid[*k]).collect();
        let x: Vec<f64> = points.iter().map(|p| p.x).collect();
        // Products of hundreds of differences: by logarithms, the largest scaled to 1. Two have one difference between them.
        let mut logs = vec![(0.0f64, 1.0f64); x.len()];
        for k in 0..x.len() {
            for i in k + 1..x.len() {
                let log = (x[k] - x[i]).abs().ln();
                for (at, d) in [(k, x[k] - x[i]), (i, x[i] - x[k])] {
                    logs[at].0 -= log;
                    logs[at].1 *= d.signum();
                }
            }
        }
        let most = logs.iter().map(|l| l.0).fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = logs.iter().map(|(log, sign)| sign * (log - most).exp()).collect();
        let sign = |k: usize| if k.is_multiple_of(2) { 1.0 } else { -1.0 };
        let above: f64 = weights.iter().zip(&points).map(|(w, p)| w * p.desired).sum();
        let below: f64 =
            weights.iter().zip(&points).enumerate().map(|(k, (w, p))| sign(k) * w / p.weight).sum();
        let ripple = above / below;
        let values = points
            .iter()
            .enumerate()
            .map(|(k, p)| p.desired - sign(k) * ripple / p.weight)
            .collect();
        ripple.is_finite().then_some(Self { x, weights, values, ripple })
    }

    /// Values at many points, in the vectors that the machine has: each point's sums are added in the same order
    /// on every machine.
    pub(super) fn at_each(&self, points: &[f64]) -> Vec<f64> {
        let mut values = Arch::new().dispatch(AtEach { fit: self, points });
        // A share without end: the point is one of the fit's own.
        for (value, x) in values.iter_mut().zip(points).filter(|(value, _)| !value.is_finite()) {
            *value = self.x.iter().position(|at| at == x).map_or(*value, |k| self.values[k]);
        }
        values
    }
}

struct AtEach<'a> {
    fit: &'a Interpolation,
    points: &'a [f64],
}

impl WithSimd for AtEach<'_> {
    type Output = Vec<f64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Vec<f64> {
        // Vectors that divide side by side.
        const AT_ONCE: usize = 4;
        let mut values = self.points.to_vec();
        let turn = AT_ONCE * size_of::<S::f64s>() / size_of::<f64>();
        values.resize(self.points.len().next_multiple_of(turn), 1.0);
        let Interpolation { x, weights, values: own, .. } = self.fit;
        for points in S::as_mut_simd_f64s(&mut values).0.as_chunks_mut::<AT_ONCE>().0 {
            let mut above = [simd.splat_f64s(0.0); AT_ONCE];
            let mut below = above;
            for ((at, weight), own) in x.iter().zip(weights).zip(own) {
                let [at, weight, own] = [*at, *weight, *own].map(|v| simd.splat_f64s(v));
                for n in 0..AT_ONCE {
                    let share = simd.div_f64s(weight, simd.sub_f64s(points[n], at));
                    above[n] = simd.add_f64s(above[n], simd.mul_f64s(share, own));
                    below[n] = simd.add_f64s(below[n], share);
                }
            }
            for n in 0..AT_ONCE {
                points[n] = simd.div_f64s(above[n], below[n]);
            }
        }
        values.truncate(self.points.len());
        values
    }
}
