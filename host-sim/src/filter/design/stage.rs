//! **Stage**: the fewest taps that do what one stage needs.

use super::{LOWEST, Need, equiripple, half_band, kaiser, least_squares, low_delay};
use crate::filter::response::Taps;
use crate::filter::spec::Method;

/// Most taps of a stage that are tried.
pub const MOST_TAPS: usize = 1500;

/// Largest errors of taps over what a need allows: 1 or less fulfils it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Excess {
    /// In the pass band.
    pub pass: f64,
    /// In the stop bands.
    pub stop: f64,
}

impl Excess {
    /// The larger.
    #[must_use]
    pub fn most(self) -> f64 {
        self.pass.max(self.stop)
    }
}

/// Largest errors of `taps`.
#[must_use]
pub fn excess(taps: &[f64], need: &Need<'_>) -> Excess {
    let response = Taps::new(taps);
    let points = |width: f64| ((width * taps.len() as f64 * 12.0).ceil() as i32).max(24);
    let coarseness = response.coarseness();
    // Each error is one of the response over what is allowed there; exactly only where a first look leaves a chance
    // that it is the largest.
    let scan = |low: f64, high: f64, target: &dyn Fn(f64) -> f64, allowed: &dyn Fn(f64) -> f64| {
        let steps = points(high - low);
        let at = |k: i32| low + (high - low) * f64::from(k) / f64::from(steps);
        let places: Vec<f64> = (0..=steps).map(at).collect();
        let coarse = response.coarse_gains_at(&places);
        let mut looks: Vec<(f64, f64, f64)> = places
            .iter()
            .zip(&coarse)
            .map(|(f, gain)| {
                let allowed = allowed(*f);
                (((gain - target(*f)).abs() + coarseness) / allowed, *f, allowed)
            })
            .collect();
        looks.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut most = 0f64;
        for (at_most, f, allowed) in looks {
            if at_most < most {
                break;
            }
            most = most.max((response.gain_at(f) - target(f)).abs() / allowed);
        }
        most
    };
    let lowest = scan(0.0, need.pass * LOWEST, need.desired, &|_| need.lowest_ripple);
    let pass = scan(0.0, need.pass, need.desired, &|_| need.ripple).max(lowest);
    let stop = |&(low, high): &(f64, f64)| {
        // Where taps have no symmetry the gain is a magnitude already.
        scan(low, high, &|_| 0.0, need.leak)
    };
    Excess { pass, stop: need.stops.iter().map(stop).fold(0.0, f64::max) }
}

/// Taps of one length by a method.
fn taps(method: Method, ratio: u64, length: usize, need: &Need<'_>) -> Option<Vec<f64>> {
    match method {
        // A stage that only corrects a droop has no stop band to cut off at.
        _ if need.stops.is_empty() => equiripple::taps(length, need),
        Method::Kaiser => kaiser::taps(length, need),
        Method::LeastSquares => least_squares::taps(length, need),
        Method::LowDelay => low_delay::taps(length, need),
        Method::HalfBand if ratio == 2 => half_band::taps(length, half_pass(need)),
        Method::Equiripple | Method::HalfBand => equiripple::taps(length, need),
    }
}

/// Pass edge of the half-band filter whose stop band begins where the need's does.
fn half_pass(need: &Need<'_>) -> f64 {
    need.stops.first().map_or(0.0, |s| 0.5 - s.0)
}

/// The fewest taps found that fulfil the need, beginning the search at `guess`. Where none does, the
/// closest excess.
///
/// # Errors
/// The least excess met.
pub fn shortest(
    method: Method,
    ratio: u64,
    guess: usize,
    need: &Need<'_>,
) -> Result<Vec<f64>, Excess> {
    let half_band = method == Method::HalfBand && ratio == 2;
    // Half-band filters are 4 J - 1 long; others may have any length.
    let length = |n: usize| if half_band { 4 * n - 1 } else { n };
    let mut closest = Excess { pass: f64::INFINITY, stop: f64::INFINITY };
    let mut attempt = |n: usize| -> Option<Vec<f64>> {
        let found = taps(method, ratio, length(n), need)?;
        let excess = excess(&found, need);
        if excess.most() < closest.most() {
            closest = excess;
        }
        (excess.most() <= 1.0).then_some(found)
    };
    // A guess is never off by more than this.
    let most = (6 * guess + 64).min(MOST_TAPS);
    let scaled = |taps: usize| if half_band { taps.div_ceil(4) } else { taps };
    let most = scaled(most);
    // A droop is corrected by few taps; the exchange finds nothing to do for more.
    let mut high = if need.stops.is_empty() { 2 } else { scaled(guess).clamp(3, most) };
    let mut low = 0;
    let mut best = attempt(high);
    // Upwards until one fulfils, with growing steps; a run of failures that get no closer is the end.
    let mut step = (high / 8).max(1);
    while best.is_none() {
        if high >= most {
            return Err(closest);
        }
        low = high;
        high = (high + step).min(most);
        step += step.div_ceil(2);
        best = attempt(high);
    }
    let mut best = best.unwrap_or_default();
    // Downwards from a good guess, as long as that goes well.
    let mut step = (high / 16).max(1);
    while low == 0 && high > 2 {
        let next = high.saturating_sub(step).max(2);
        match attempt(next) {
            Some(found) => (high, best) = (next, found),
            None => low = next,
        }
        step *= 2;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        match attempt(middle) {
            Some(found) => (high, best) = (middle, found),
            None => low = middle,
        }
    }
    Ok(best)
}
