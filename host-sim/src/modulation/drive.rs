//! **Drive**: the frequency of a channel that drives an experiment.

use super::lines::Rows;
use crate::analysis::tapers::{at, without_line};
use crate::analysis::transform;

/// Frequency at which a channel has most power: its longest run's largest bin, then what the first taper sees most of, to
/// a millionth of a bin. `None` where the channel does not change, or less than three times.
#[must_use]
pub fn frequency(rows: &Rows<'_>) -> Option<f64> {
    let run = rows.runs.iter().max_by_key(|run| run.len())?.clone();
    let x = without_line(&rows.values[run]);
    let fft = transform::forward(x.len());
    let mut spectrum = fft.make_output_vec();
    fft.process(&mut x.clone(), &mut spectrum).ok()?;
    let powers = spectrum.iter().map(|z| z.norm_sqr());
    let (bin, power) = powers.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    if bin < 3 || power == 0.0 {
        return None;
    }
    let width = rows.rate_hz / x.len() as f64;
    let seen = |f: f64| at(&x, rows.rate_hz, f)[0].norm_sqr();
    // Golden section: the first taper's power has one peak within a bin to both sides.
    let shrink = (5f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = ((bin as f64 - 1.0) * width, (bin as f64 + 1.0) * width);
    while high - low > 1e-6 * width {
        let reach = shrink * (high - low);
        if seen(high - reach) > seen(low + reach) {
            high = low + reach;
        } else {
            low = high - reach;
        }
    }
    Some(f64::midpoint(low, high))
}
