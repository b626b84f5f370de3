//! **Spread zeros**: taps for narrow stop bands around all multiples of the output rate.
//!
//! Zeros on the unit circle stand in the bands alone, and nothing is spent on the rest: in each band
//! those of a Chebyshev polynomial, which make its largest gain least. How many a band gets is found by
//! giving one more to the worst, until none is above what it may leak; those that turn out to be
//! needless are taken back. An equal number in every band is a product of boxcars with turned zeros (Lo
//! Presti 2000, recalled); bands far from zero frequency do with fewer.

use std::f64::consts::{PI, TAU};

/// Most zeros of all bands together: beyond, one stop band over all takes fewer taps.
const MOST: usize = 300;

/// Frequencies at which a band is looked at, ends included.
const POINTS: usize = 17;

/// Stop bands of `half` cycles a sample to either side of k/`ratio`, k = 1 to `ratio`/2.
#[derive(Debug, Clone, Copy)]
pub struct Bands {
    /// Ratio of the stage.
    pub ratio: u64,
    /// Half the width, cycles a sample.
    pub half: f64,
}

impl Bands {
    fn count(self) -> usize {
        self.ratio as usize / 2
    }

    /// Taps that a zero of band `k`, from 0, takes: with its mirror two, but around half the rate, where
    /// the mirror of each is another one of them.
    fn taps_each(self, k: usize) -> usize {
        if 2 * (k as u64 + 1) == self.ratio { 1 } else { 2 }
    }

    fn centre(self, k: usize) -> f64 {
        (k + 1) as f64 / self.ratio as f64
    }

    /// Zeros of band `k`, where it has `count`: the Chebyshev polynomial's.
    fn zeros(self, k: usize, count: usize) -> impl Iterator<Item = f64> {
        let node = move |i| (PI * (2 * i + 1) as f64 / (2 * count) as f64).cos();
        (0..count).map(move |i| self.centre(k) + self.half * node(i))
    }

    /// Taps that `counts` zeros, a number for each band, take.
    fn taps(self, counts: &[usize]) -> usize {
        1 + counts.iter().enumerate().map(|(k, count)| self.taps_each(k) * count).sum::<usize>()
    }

    /// Logarithm of the gain at `f` that `count` zeros in band `k` leave.
    fn log_gain(self, k: usize, count: usize, f: f64) -> f64 {
        // Of a zero and its mirror; cos a - cos b by the product: exact where they are close.
        let pair = |zero: f64| (4.0 * (PI * (f - zero)).sin() * (PI * (f + zero)).sin()).abs().ln();
        let all: f64 = self.zeros(k, count).map(pair).sum();
        all * self.taps_each(k) as f64 / 2.0
    }
}

/// Taps with `counts` zeros, a number for each band from the lowest; their sum is 1.
///
/// From the gain at as many frequencies as there are taps, which the zeros give to a rounding each.
#[must_use]
pub fn taps(bands: Bands, counts: &[usize]) -> Vec<f64> {
    let length = bands.taps(counts);
    let log =
        |f: f64| -> f64 { counts.iter().enumerate().map(|(k, n)| bands.log_gain(k, *n, f)).sum() };
    let zero = log(0.0);
    // Amplitude: it turns its sign at every zero below f, which is at most a half.
    let zeros: Vec<f64> = (0..counts.len()).flat_map(|k| bands.zeros(k, counts[k])).collect();
    let amplitude = |j: usize| {
        let f = j as f64 / length as f64;
        let passed = zeros.iter().filter(|z| **z < f).count();
        let sign = if passed % 2 == 0 { 1.0 } else { -1.0 };
        sign * (log(f) - zero).exp()
    };
    let half: Vec<f64> = (0..=length / 2).map(amplitude).collect();
    let middle = (length - 1) as f64 / 2.0;
    let tap = |n: usize| {
        let others = half.iter().enumerate().skip(1).map(|(j, a)| {
            let turn = j as f64 * (n as f64 - middle) / length as f64;
            // At half the rate an even number of taps has no gain, and an odd one does not look.
            2.0 * a * (TAU * turn).cos()
        });
        (half[0] + others.sum::<f64>()) / length as f64
    };
    let first: Vec<f64> = (0..length.div_ceil(2)).map(tap).collect();
    (0..length).map(|n| first[n.min(length - 1 - n)]).collect()
}

/// The fewest zeros found, band by band, that leave no more than `leak` of the gain at `edge`. `None`
/// where they are more than can be of use.
#[must_use]
pub fn fewest(bands: Bands, edge: f64, leak: &dyn Fn(f64) -> f64) -> Option<Vec<usize>> {
    let offset = move |p: usize| bands.half * (PI * p as f64 / (POINTS - 1) as f64).cos();
    let looks: Vec<Vec<(f64, f64)>> = (0..bands.count())
        .map(|k| (0..POINTS).map(move |p| bands.centre(k) + offset(p)).filter(|f| *f <= 0.5))
        .map(|points| points.map(|f| (f, leak(f).ln())).collect())
        .collect();
    let mut counts = vec![0usize; bands.count()];
    // Of band `by`, at every point of every band; and at the edge.
    let part = |by: usize, count: usize| -> (Vec<Vec<f64>>, f64) {
        let at = |f: f64| bands.log_gain(by, count, f);
        (looks.iter().map(|l| l.iter().map(|(f, _)| at(*f)).collect()).collect(), at(edge))
    };
    let mut parts: Vec<_> = (0..bands.count()).map(|k| part(k, 0)).collect();
    /// What band k leaves above what it may.
    fn above(parts: &[(Vec<Vec<f64>>, f64)], looks: &[(f64, f64)], k: usize) -> f64 {
        let edge: f64 = parts.iter().map(|p| p.1).sum();
        let point = |p: usize| parts.iter().map(|part| part.0[k][p]).sum::<f64>() - looks[p].1;
        (0..looks.len()).map(point).fold(f64::NEG_INFINITY, f64::max) - edge
    }
    loop {
        let excess = (0..bands.count()).map(|k| above(&parts, &looks[k], k));
        let (worst, most) = excess.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
        if most <= 0.0 {
            break;
        }
        if counts.iter().sum::<usize>() >= MOST {
            return None;
        }
        counts[worst] += 1;
        parts[worst] = part(worst, counts[worst]);
    }
    for k in 0..bands.count() {
        while counts[k] > 0 {
            let before = std::mem::replace(&mut parts[k], part(k, counts[k] - 1));
            if (0..bands.count()).any(|k| above(&parts, &looks[k], k) > 0.0) {
                parts[k] = before;
                break;
            }
            counts[k] -= 1;
        }
    }
    Some(counts)
}
