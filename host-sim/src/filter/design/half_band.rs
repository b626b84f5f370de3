//! **Half-band** taps: every second one is zero but the centre, which is a half; pass and stop band
//! have the same ripple and mirror each other about a quarter of the rate.
//!
//! Made of an equiripple filter of half the length for twice the frequency (Vaidyanathan and Nguyen
//! 1987, recalled): h(z) = (g(z^2) + z^-(2J-1))/2.

use super::equiripple::{DENSITY, exchange};

/// 4 J - 1 taps that pass 0 to `pass` cycles a sample and stop 1/2 - `pass` to 1/2; `None` unless
/// `length` is 4 J - 1 and `pass` below a quarter.
#[must_use]
pub fn taps(length: usize, pass: f64) -> Option<Vec<f64>> {
    if length % 4 != 3 || !(pass > 0.0 && pass < 0.25) {
        return None;
    }
    let half = length.div_ceil(2);
    let found = exchange(half, &[(0.0, 2.0 * pass)], 4 * DENSITY, &|_| 1.0, &|_| 1.0)?;
    let mut taps = vec![0.0; length];
    taps.iter_mut().step_by(2).zip(&found).for_each(|(h, g)| *h = g / 2.0);
    taps[half - 1] = 0.5;
    Some(taps)
}
