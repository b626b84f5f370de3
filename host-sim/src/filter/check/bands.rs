//! **Bands**: the worst gains within the pass band and within every band that folds onto it.

use crate::filter::response::{Response, db};
use rayon::prelude::*;

/// A gain and where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worst {
    /// Gain, a factor.
    pub gain: f64,
    /// Multiple of the output rate ...
    pub multiple: i64,
    /// ... and the offset from it.
    pub offset_hz: f64,
}

impl Worst {
    /// Gain in decibels.
    #[must_use]
    pub fn db(&self) -> f64 {
        db(self.gain)
    }

    /// Frequency off the carrier.
    #[must_use]
    pub fn frequency_hz(&self, response: &Response) -> f64 {
        self.multiple as f64 * response.output_rate_hz() + self.offset_hz
    }
}

/// Points for each ripple: enough to meet every one near its top.
const FINE: f64 = 40.0;
/// Enough to tell which bands are worth a closer look.
const COARSE: f64 = 8.0;

/// Points from `-half` (or 0 for one side) to `half`, some in every ripple of a response as long as
/// `seconds`, at least a few.
fn grid(half_hz: f64, seconds: f64, density: f64, both: bool) -> Vec<f64> {
    // A response of T seconds ripples some T times a hertz, faster next to the edges of its bands.
    let steps = (half_hz * seconds * density).ceil().clamp(density, 20_000.0) as i64;
    let first = if both { -steps } else { 0 };
    (first..=steps).map(|k| half_hz * k as f64 / steps as f64).collect()
}

/// Local maxima this much below the largest of a grid may be the largest between its points: a ripple
/// is met near its top.
const NEAR: f64 = 0.92;

/// Largest of `size` over a grid and, around each point that may be next to it, between the points.
fn largest(grid: &[f64], size: impl Fn(f64) -> f64) -> (f64, f64) {
    let values: Vec<f64> = grid.iter().map(|x| size(*x)).collect();
    between(grid, &values, size)
}

/// [`largest`] of `values` that are known.
fn between(grid: &[f64], values: &[f64], size: impl Fn(f64) -> f64) -> (f64, f64) {
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut found = (0.0, f64::NEG_INFINITY);
    for (n, value) in values.iter().enumerate() {
        let left = grid[n.saturating_sub(1)];
        let right = grid[(n + 1).min(grid.len() - 1)];
        let beside = [n.checked_sub(1), Some(n + 1)];
        let is_local =
            beside.into_iter().flatten().all(|k| values.get(k).is_none_or(|v| v <= value));
        if !is_local || *value < most - (1.0 - NEAR) * most.abs() {
            continue;
        }
        for candidate in [(grid[n], *value), top(left, right, &size)] {
            if candidate.1 > found.1 {
                found = candidate;
            }
        }
    }
    found
}

/// Share of the distance between two points that a top is found to: the value, flat there, is right to its last digits.
const TOP: f64 = 1e-6;

/// Largest value between two points by parabolas through the best three, and golden sections where these do not close
/// in (Brent, Algorithms for Minimization without Derivatives, 1973, chapter 5, recalled).
fn top(low: f64, high: f64, size: impl Fn(f64) -> f64) -> (f64, f64) {
    let golden = (3.0 - 5f64.sqrt()) / 2.0;
    let near = TOP * (high - low);
    let (mut low, mut high) = (low, high);
    let start = low + golden * (high - low);
    // The best so far, the second, and what that was before.
    let mut best = (start, size(start));
    let (mut second, mut third) = (best, best);
    let (mut step, mut before) = (0.0f64, 0.0f64);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if (best.0 - middle).abs() + (high - low) / 2.0 <= 2.0 * near {
            break;
        }
        let (a, b) = (best.0 - second.0, best.0 - third.0);
        let (at_a, at_b) = (a * (best.1 - third.1), b * (best.1 - second.1));
        let (numerator, denominator) = (b * at_b - a * at_a, 2.0 * (at_b - at_a));
        let parabola = if denominator == 0.0 { f64::NAN } else { -numerator / denominator };
        let to = best.0 + parabola;
        let last = std::mem::replace(&mut before, step);
        step = if parabola.abs() < last.abs() / 2.0 && to > low && to < high {
            let edge = (to - low).min(high - to) < 2.0 * near;
            if edge { near.copysign(middle - best.0) } else { parabola }
        } else {
            before = if best.0 < middle { high - best.0 } else { low - best.0 };
            golden * before
        };
        let x = best.0 + if step.abs() < near { near.copysign(step) } else { step };
        let new = (x, size(x));
        if new.1 >= best.1 {
            if x < best.0 {
                high = best.0
            } else {
                low = best.0
            }
            (third, second, best) = (second, best, new);
        } else {
            if x < best.0 {
                low = x
            } else {
                high = x
            }
            if new.1 >= second.1 || second.0 == best.0 {
                (third, second) = (second, new);
            } else if new.1 >= third.1 || third.0 == best.0 || third.0 == second.0 {
                third = new;
            }
        }
    }
    best
}

/// Largest gain within `half_hz` of a frequency off the carrier, and where.
#[must_use]
pub fn around(response: &Response, centre_hz: f64, half_hz: f64, seconds: f64) -> (f64, f64) {
    let gain = |f: f64| response.gain_at(centre_hz + f).abs();
    let (offset_hz, gain) = largest(&grid(half_hz, seconds, FINE, true), gain);
    (centre_hz + offset_hz, gain)
}

/// Gains furthest above and below 1 from zero to `pass_hz`, which may be the same.
#[must_use]
pub fn pass_band(response: &Response, pass_hz: f64, seconds: f64) -> [Worst; 2] {
    let grid = grid(pass_hz, seconds, FINE, false);
    [1.0, -1.0].map(|sign| {
        let (offset_hz, _) = largest(&grid, |f| sign * response.gain(0, f));
        Worst { gain: response.gain(0, offset_hz), multiple: 0, offset_hz }
    })
}

/// Of the two of a pass band the one further from 1, in decibels.
#[must_use]
pub fn furthest([above, below]: [Worst; 2]) -> Worst {
    if below.db().abs() > above.db().abs() { below } else { above }
}

/// Largest gain in the band around `multiple` output rates that folds onto zero to `into_hz`.
#[must_use]
pub fn alias(response: &Response, multiple: i64, into_hz: f64, seconds: f64) -> Worst {
    let (offset_hz, gain) =
        largest(&grid(into_hz, seconds, FINE, true), |f| response.gain(multiple, f).abs());
    Worst { gain, multiple, offset_hz }
}

/// Multiples of the output rate whose bands are, among those with the same FIR response, the worst.
///
/// The FIR stages' response repeats with the CIC's output rate, P output rates; the CIC's nominator
/// |sin(pi R M f)| too, and its denominator |sin(pi f)| rises up to f_s/2. So of all bands that
/// differ by P output rates the one nearest to zero is the worst: 1 to P/2 stand for all but those
/// around multiples of P, for which P stands. A real input mixes to offsets within f_s on either
/// side of the carrier, which repeat these.
pub fn multiples(response: &Response) -> impl Iterator<Item = i64> + use<> {
    let (period, half) = (response.period(), response.interval() / 2);
    (1..=period / 2).chain([period]).filter(move |k| *k <= half.max(1))
}

/// The largest gain in each of the bands of [`multiples`], in their order.
#[must_use]
pub fn aliases(response: &Response, into_hz: f64, seconds: f64) -> Vec<Worst> {
    let grid = grid(into_hz, seconds, FINE, true);
    let mut multiples: Vec<i64> = multiples(response).collect();
    multiples.sort_by_cached_key(|k| response.shared(*k));
    let mut worst: Vec<Worst> = multiples
        .par_iter()
        .map_init(
            || response.at_each(&grid),
            |gains, k| {
                let size = |f| response.gain(*k, f).abs();
                let (offset_hz, gain) = between(&grid, gains.around(*k), size);
                Worst { gain, multiple: *k, offset_hz }
            },
        )
        .collect();
    worst.sort_by_key(|worst| worst.multiple);
    worst
}

/// The worst of all bands that fold onto zero to `into_hz`: a coarse look at all, a close one at those
/// that come within 6 dB of the worst.
#[must_use]
pub fn worst_alias(response: &Response, into_hz: f64, seconds: f64) -> Option<Worst> {
    let grid = grid(into_hz, seconds, COARSE, true);
    let multiples: Vec<i64> = multiples(response).collect();
    let larger = |a: Vec<f64>, b: Vec<f64>| a.iter().zip(b).map(|(a, b)| a.max(b)).collect();
    let looked: Vec<f64> = grid
        .par_iter()
        .map(|f| response.coarse_gains(&multiples, *f))
        .reduce(|| vec![0.0; multiples.len()], larger);
    let most = looked.iter().copied().fold(0.0, f64::max);
    let close = multiples.into_iter().zip(looked).filter(|(_, gain)| *gain >= most / 2.0);
    let close: Vec<(i64, f64)> = close.collect();
    close
        .into_par_iter()
        .map(|(k, _)| alias(response, k, into_hz, seconds))
        .max_by(|a, b| a.gain.total_cmp(&b.gain))
}
