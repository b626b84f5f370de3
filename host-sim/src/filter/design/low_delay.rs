//! **Low delay**: taps of least phase, which answer as early as their magnitude allows, for a loop that
//! has to act on the readings.
//!
//! After Herrmann and Schuessler 1970 (recalled): an equiripple response of 2 L - 1 symmetric taps that is
//! nowhere negative is the square of the magnitude of L taps. Of the factors, the one with all zeros on or
//! within the unit circle follows from the cepstrum (Oppenheim and Schafer, chapter on the cepstrum,
//! recalled): the logarithm of the magnitude, made causal.

use super::Need;
use super::equiripple::{DENSITY, bands, edge, exchange, ripple};
use crate::analysis::transform;

/// Share of the leak's square that keeps the square of the response off zero: its logarithm is smooth then.
const LIFT: f64 = 0.02;

/// Points of the transform for each tap: zeros so close to the unit circle ring that long.
const POINTS: usize = 2048;

/// Most points of a transform.
const MOST_POINTS: usize = 1 << 19;

/// Taps of least phase for `need`; `None` where the exchange does not settle.
#[must_use]
pub fn taps(length: usize, need: &Need<'_>) -> Option<Vec<f64>> {
    let edge = edge(need);
    let square = |f: f64| (need.leak)(f).powi(2);
    // In stop bands from the lift to the leak's square, about the middle; d^2 within 2 d r, d about 1.
    let desired = |f: f64| {
        if f < edge { (need.desired)(f).powi(2) } else { square(f) * (1.0 + LIFT) / 2.0 }
    };
    let weight = |f: f64| {
        1.0 / if f < edge { 2.0 * ripple(need, f) } else { square(f) * (1.0 - LIFT) / 2.0 }
    };
    let product = exchange(2 * length - 1, &bands(need), DENSITY, &desired, &weight)?;
    factor(&product)
}

/// The taps of least phase whose autocorrelation the `product` is, but for what lifts it above zero.
#[must_use]
pub fn factor(product: &[f64]) -> Option<Vec<f64>> {
    let length = product.len().div_ceil(2);
    let points = (POINTS * length).next_power_of_two().min(MOST_POINTS);
    let (forward, inverse) = (transform::forward(points), transform::inverse(points));
    // Around time zero: the response is real.
    let mut times = forward.make_input_vec();
    for (n, tap) in product.iter().enumerate() {
        times[(points + n + 1 - length) % points] = *tap;
    }
    let mut spectrum = forward.make_output_vec();
    forward.process(&mut times, &mut spectrum).ok()?;
    // Of too few taps for the need it goes below zero.
    let least = spectrum.iter().map(|x| x.re).fold(0.0, f64::min);
    let lift = -least * (1.0 + LIFT) + f64::MIN_POSITIVE;
    for x in &mut spectrum {
        *x = (0.5 * (x.re + lift).ln()).into();
    }
    inverse.process(&mut spectrum, &mut times).ok()?;
    let cepstrum = |n: usize| times[n] / points as f64;
    // Twice the even part, and none before zero; then h = exp of its series: n h_n = sum k c_k h_(n-k).
    let mut taps = vec![cepstrum(0).exp()];
    for n in 1..length {
        let sum: f64 = (1..=n).map(|k| k as f64 * 2.0 * cepstrum(k) * taps[n - k]).sum();
        taps.push(sum / n as f64);
    }
    taps.iter().all(|tap| tap.is_finite()).then_some(taps)
}
