//! Response of one stage, from its taps.

use crate::analysis::tables;
use crate::instrument::file::FirFile;
use std::f64::consts::{PI, TAU};

/// Taps of a FIR stage as seen from their centre.
#[derive(Debug, Clone)]
pub struct Taps {
    /// Sums of the taps n/2 samples to both sides of the centre, for even n where the number of taps
    /// is odd and odd n where it is even; from the outermost to the centre.
    even: Vec<f64>,
    /// Differences of the same; empty where taps are symmetric.
    odd: Vec<f64>,
    /// Number of taps less one: twice the centre.
    span: i64,
}

impl Taps {
    /// Of real taps.
    #[must_use]
    pub fn new(taps: &[f64]) -> Self {
        let half = taps.len().div_ceil(2);
        let pairs = taps.iter().zip(taps.iter().rev()).take(half);
        let middle = |n: usize| 2 * n + 1 == taps.len();
        let even: Vec<f64> = pairs
            .clone()
            .enumerate()
            .map(|(n, (a, b))| if middle(n) { *a } else { a + b })
            .collect();
        let odd: Vec<f64> = pairs.map(|(a, b)| a - b).collect();
        let symmetric = odd.iter().all(|x| *x == 0.0);
        let odd = if symmetric { Vec::new() } else { odd };
        Self { even, odd, span: taps.len() as i64 - 1 }
    }

    /// Of a plan's integers.
    #[must_use]
    pub fn of(fir: &FirFile) -> Self {
        let unit = 2f64.powi(-i32::from(fir.scale_bits));
        Self::new(&fir.taps.iter().map(|t| f64::from(*t) * unit).collect::<Vec<_>>())
    }

    /// Gain at `turns`/`of` + `rest` cycles a sample: about the centre where taps are symmetric, else
    /// the magnitude. `rest` is small, below a turn over the whole length.
    #[must_use]
    pub fn gain(&self, turns: i64, of: i64, rest: f64) -> f64 {
        // n half samples from the centre: turns n/(2 of), whole turns off.
        let (round, step) = (2 * of, (2 * turns).rem_euclid(2 * of));
        let sum = |weights: &[f64], part: fn(f64) -> f64| -> f64 {
            let (mut n, mut at) = (self.span, (turns * self.span).rem_euclid(round));
            let mut next = |weight: &f64| {
                let angle = PI * (at as f64 / of as f64 + n as f64 * rest);
                n -= 2;
                at -= if at < step { step - round } else { step };
                weight * part(angle)
            };
            weights.iter().map(&mut next).sum()
        };
        let even = sum(&self.even, f64::cos);
        if self.odd.is_empty() { even } else { even.hypot(sum(&self.odd, f64::sin)) }
    }

    /// Magnitudes of [`Self::gain`] at many `turns`, for a first look: see [`Self::coarse_gains_at`].
    #[must_use]
    pub fn coarse_gains(&self, turns: &[i64], of: i64, rest: f64) -> Vec<f64> {
        if !self.odd.is_empty() {
            return turns.iter().map(|turns| self.gain(*turns, of, rest)).collect();
        }
        let at = |turns: &i64| turns.rem_euclid(of) as f64 / of as f64 + rest;
        let mut gains = self.coarse_gains_at(&turns.iter().map(at).collect::<Vec<_>>());
        gains.iter_mut().for_each(|gain| *gain = gain.abs());
        gains
    }

    /// [`Self::gain_at`] many frequencies, each by one cosine and Clenshaw's recurrence (1955, recalled), some side by
    /// side: for a first look, as it loses the square of the number of taps in roundings, 1e-12 of a thousand.
    #[must_use]
    pub fn coarse_gains_at(&self, frequencies: &[f64]) -> Vec<f64> {
        if !self.odd.is_empty() {
            return frequencies.iter().map(|f| self.gain_at(*f)).collect();
        }
        let mut gains: Vec<f64> = frequencies.iter().map(|f| (TAU * f).cos()).collect();
        tables::chebyshev(&mut gains, &self.terms());
        if self.span % 2 != 0 {
            gains.iter_mut().zip(frequencies).for_each(|(gain, f)| *gain *= (PI * f).cos());
        }
        gains
    }

    /// Factors of the cosines of 0, 1, 2, ... times an angle whose sum is the gain of symmetric taps; where their number is
    /// even, the gain over the cosine of half the angle, as
    /// cos((k + 1/2) a) = (-1)^k cos(a/2) (1 - 2 cos a + 2 cos 2 a - ... +- 2 cos k a).
    fn terms(&self) -> Vec<f64> {
        if self.span % 2 == 0 {
            return self.even.iter().rev().copied().collect();
        }
        // From the outermost to the centre: term j has all w_k from j on, signs in turns.
        let last = self.even.len() - 1;
        let sign = |n: usize| if n.is_multiple_of(2) { 1.0 } else { -1.0 };
        let mut sum = 0.0;
        let outer = self.even.iter().enumerate().map(|(n, weight)| {
            let k = last - n;
            sum += sign(k) * weight;
            if k == 0 { sum } else { 2.0 * sign(k) * sum }
        });
        let mut terms: Vec<f64> = outer.collect();
        terms.reverse();
        terms
    }

    /// What [`Self::coarse_gains_at`] may be off by: 4 roundings of each of n steps, each step's carried through at most n
    /// more times.
    #[must_use]
    pub fn coarseness(&self) -> f64 {
        let taps = self.even.len() as f64;
        let sizes: f64 = self.terms().iter().map(|w| w.abs()).sum();
        4.0 * f64::EPSILON * taps * taps * sizes
    }

    /// Group delay at a frequency in cycles a sample, in samples from the first tap.
    ///
    /// With the response about the centre E + i O, minus the derivative of its angle by 2 pi f.
    #[must_use]
    pub fn delay_at(&self, f: f64) -> f64 {
        let centre = self.span as f64 / 2.0;
        let sums = |weights: &[f64]| {
            let terms = weights.iter().zip((0..).map(|n| (self.span - 2 * n) as f64));
            terms.fold([0.0; 4], |[c, s, nc, ns], (w, n)| {
                let (sine, cosine) = (PI * n * f).sin_cos();
                let half = n / 2.0;
                [c + w * cosine, s + w * sine, nc + w * half * cosine, ns + w * half * sine]
            })
        };
        let ([e, _, _, slope], [_, o, rise, _]) = (sums(&self.even), sums(&self.odd));
        centre - (e * rise + o * slope) / (e * e + o * o)
    }

    /// Gain at a frequency in cycles a sample.
    #[must_use]
    pub fn gain_at(&self, f: f64) -> f64 {
        self.gain(0, 1, f)
    }
}
