//! **Curves** of a plan, for pictures.

use super::check::Check;
use super::response::db;

/// Lowest gain drawn, decibels: below lie the zeros.
pub const FLOOR: f64 = -260.0;

/// Points of a curve.
const POINTS: usize = 700;

/// Points looked at within one band of the envelope.
const WITHIN: usize = 40;

/// Gain at a frequency off the carrier, decibels.
#[must_use]
pub fn gain_db(check: &Check, frequency_hz: f64) -> f64 {
    db(check.response.gain_at(frequency_hz)).max(FLOOR)
}

/// Largest gain within each of many bands, from a hundredth of the output rate to `to_hz`.
#[must_use]
pub fn envelope(check: &Check, to_hz: f64) -> Vec<(f64, f64)> {
    let from = check.subject.output_rate_hz() / 100.0;
    let step = (to_hz / from).ln() / (POINTS * WITHIN) as f64;
    let at = |k: usize| from * (step * k as f64).exp();
    let band = |n: usize| {
        let inside = (0..WITHIN).map(|k| gain_db(check, at(n * WITHIN + k)));
        (at(n * WITHIN + WITHIN / 2), inside.fold(FLOOR, f64::max))
    };
    (0..POINTS).map(band).collect()
}

/// Gain from zero to `to_hz`.
#[must_use]
pub fn linear(check: &Check, to_hz: f64) -> Vec<(f64, f64)> {
    let at = |k: usize| to_hz * k as f64 / (2 * POINTS) as f64;
    (0..=2 * POINTS).map(|k| (at(k), gain_db(check, at(k)))).collect()
}

/// Group delay from zero to `to_hz`, s.
#[must_use]
pub fn delay(check: &Check, to_hz: f64) -> Vec<(f64, f64)> {
    let at = |k: usize| to_hz * k as f64 / POINTS as f64;
    (0..=POINTS).map(|k| (at(k), check.response.delay_s(at(k)))).collect()
}

/// Worst gain of each band that folds onto the mask's, by frequency. The CIC's own, apart from the
/// others, stands alone.
#[must_use]
pub fn aliases(check: &Check) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    for alias in &check.aliases {
        if alias.stage == 0 {
            out.push((alias.offset_hz * (1.0 - 1e-6), FLOOR));
        }
        out.push((alias.offset_hz, alias.worst.db().max(FLOOR)));
    }
    out
}

/// Every so many values that a curve keeps its points.
fn thinned(values: &[f64], step_s: f64) -> Vec<(f64, f64)> {
    let every = values.len().div_ceil(2 * POINTS);
    let points = values.iter().enumerate().step_by(every.max(1));
    points.map(|(n, v)| ((n + 1) as f64 * step_s, *v)).collect()
}

/// Impulse response.
#[must_use]
pub fn impulse(check: &Check) -> Vec<(f64, f64)> {
    thinned(&check.settling.impulse(), check.settling.step_s)
}

/// Step response.
#[must_use]
pub fn step(check: &Check) -> Vec<(f64, f64)> {
    thinned(&check.settling.step, check.settling.step_s)
}

/// Distance of the step response from its end, decibels; the largest of the values that a point stands
/// for.
#[must_use]
pub fn distance(check: &Check) -> Vec<(f64, f64)> {
    let (step, step_s) = (&check.settling.step, check.settling.step_s);
    let every = step.len().div_ceil(POINTS).max(1);
    let chunks = step.chunks(every).enumerate();
    chunks
        .map(|(n, part)| {
            let most = part.iter().fold(0.0f64, |m, s| m.max((s - 1.0).abs()));
            ((n * every + 1) as f64 * step_s, db(most).max(FLOOR))
        })
        .collect()
}
