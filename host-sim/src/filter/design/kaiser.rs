//! **Kaiser-window** taps: the desired response's own impulse response, cut by Kaiser's window
//! (Kaiser 1974; Oppenheim and Schafer, section 7.5; both recalled).

use super::Need;
use super::quadrature::panels;
use std::f64::consts::TAU;

/// Shape of the window for a rejection in decibels.
#[must_use]
pub fn beta(db: f64) -> f64 {
    if db > 50.0 {
        0.1102 * (db - 8.7)
    } else if db > 21.0 {
        0.5842 * (db - 21.0).powf(0.4) + 0.07886 * (db - 21.0)
    } else {
        0.0
    }
}

/// Taps less one for a rejection and a transition in cycles a sample.
#[must_use]
pub fn order(db: f64, transition: f64) -> f64 {
    (db - 8.0) / (2.285 * TAU * transition)
}

/// Modified Bessel function of the first kind, order zero, by its series: all terms are positive.
#[must_use]
pub fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    let mut k = 1.0;
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// The window.
#[must_use]
pub fn window(length: usize, beta: f64) -> Vec<f64> {
    let middle = (length as f64 - 1.0) / 2.0;
    let weight = |n: usize| {
        let x = if middle > 0.0 { (n as f64 - middle) / middle } else { 0.0 };
        bessel_i0(beta * (1.0 - x * x).max(0.0).sqrt()) / bessel_i0(beta)
    };
    (0..length).map(weight).collect()
}

/// Decibels that the window is made better than Kaiser's formula asks, whose fit is that good.
pub const MARGIN_DB: f64 = 2.0;

/// Taps for `need`, cut off half-way between pass and first stop band.
#[must_use]
pub fn taps(length: usize, need: &Need<'_>) -> Option<Vec<f64>> {
    let stop = need.stops.first()?.0;
    let edge = (need.pass + stop) / 2.0;
    let least = need.stops.iter().map(|s| (need.leak)(s.0).min((need.leak)(s.1)));
    let ripple = least.fold(need.ripple, f64::min);
    // What the window leaves is in proportion to the jump, which a corrected droop makes larger.
    let desired = |f: f64| (need.desired)(f).min(2.0);
    let window =
        window(length, beta(-20.0 * (ripple / desired(edge).max(1.0)).log10() + MARGIN_DB));
    let middle = (length as f64 - 1.0) / 2.0;
    // Panels so short that the fastest cosine turns half a time in each.
    let nodes = panels(0.0, edge, (edge * length as f64).ceil() as usize + 1);
    let weighed: Vec<(f64, f64)> =
        nodes.into_iter().map(|(f, w)| (f, 2.0 * w * desired(f))).collect();
    let tap = |n: usize| -> f64 {
        let from = n as f64 - middle;
        weighed.iter().map(|(f, w)| w * (TAU * f * from).cos()).sum()
    };
    Some((0..length).map(|n| tap(n) * window[n]).collect())
}
