//! **Values between rows**: interpolation whose passband reaches to 0.42 of the rate, by sines over their
//! arguments under Kaiser's window.

use crate::filter::design::kaiser::bessel_i0;
use std::f64::consts::PI;
use std::ops::Range;

/// Values on each side that a value between takes.
pub const REACH: usize = 32;
/// Places between two values that weights are kept for; straight lines between.
const PLACES: usize = 512;
/// Shape of the window: 1e-7 within the passband.
const BETA: f64 = 14.0;

/// Weights.
#[derive(Debug)]
pub struct Interpolation {
    /// For each place the weights of the values from `REACH - 1` before to `REACH` behind.
    weights: Vec<[f64; 2 * REACH]>,
}

impl Interpolation {
    /// Makes the table.
    #[must_use]
    pub fn new() -> Self {
        let weight = |distance: f64| {
            let u = distance / REACH as f64;
            if distance == 0.0 {
                return 1.0;
            }
            let sine = (PI * distance).sin() / (PI * distance);
            sine * bessel_i0(BETA * (1.0 - u * u).max(0.0).sqrt()) / bessel_i0(BETA)
        };
        let place = |n: usize| {
            let into = n as f64 / PLACES as f64;
            let raw: [f64; 2 * REACH] =
                std::array::from_fn(|k| weight(k as f64 - (REACH as f64 - 1.0) - into));
            // A constant stays as it is.
            let sum: f64 = raw.iter().sum();
            raw.map(|w| w / sum)
        };
        Self { weights: (0..=PLACES).map(place).collect() }
    }

    /// Value at a place, in rows from the first; `None` within [`REACH`] of an end of the run that holds it.
    #[must_use]
    pub fn at(&self, values: &[f64], runs: &[Range<usize>], place: f64) -> Option<f64> {
        let known = place >= 0.0;
        if !known {
            return None;
        }
        let row = place.floor() as usize;
        let run = &runs[runs.partition_point(|run| run.end <= row)..];
        let run =
            run.first().filter(|run| run.start + REACH <= row + 1 && row + REACH < run.end)?;
        debug_assert!(run.contains(&row));
        let into = place.fract() * PLACES as f64;
        let (low, part) = (into.floor() as usize, into.fract());
        let values = &values[row + 1 - REACH..=row + REACH];
        let [a, b] = [low, low + 1]
            .map(|n| -> f64 { self.weights[n].iter().zip(values).map(|(w, x)| w * x).sum() });
        Some(a + (b - a) * part)
    }
}

impl Default for Interpolation {
    fn default() -> Self {
        Self::new()
    }
}
