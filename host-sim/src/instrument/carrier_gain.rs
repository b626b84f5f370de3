//! Gain of the core's rounded carrier, so that a calibration of the design's holds for it.

use quietgap_core::carrier::{Carrier, CarrierRatio, cos_sin_quick, cos_sin_short};
use quietgap_core::config::FrontEndConfig;
use quietgap_core::front_end::{folding, fraction_bits, section_length};
use quietgap_core::mixer::{self, TURN_BITS};
use std::f64::consts::TAU;

/// Most samples looked at: where the pattern of rounded cosines is longer, their errors average out.
const MOST_SAMPLES: u32 = 1 << 15;

/// In-phase gain of the front end's rounded cosines at signal phase `phase_rad`, near 1.
///
/// With w the conjugate of the rounded carrier at phases theta, a signal a cos(theta + phi) reads
/// a (A e^(i phi) + B e^(-i phi)), A = mean of w e^(i theta) and B = mean of w e^(-i theta); turned back by
/// phi, its real part is A + B e^(-2 i phi). All samples count alike, as the CIC's response adds up to the
/// same at every place within an interval.
#[must_use]
pub fn carrier_gain(
    carrier: CarrierRatio,
    config: FrontEndConfig,
    code_bits: u32,
    phase_rad: f64,
) -> f64 {
    let folded = folding(carrier, config, code_bits);
    let bits = fraction_bits(config, code_bits, folded);
    let (ratio, section) =
        (u32::from(config.ratio), section_length(config, code_bits, folded).max(1));
    // A folded carrier repeats with its period, a mixed one with that and the interval.
    let pattern = match (folded, carrier.period()) {
        (Some(_), period) => period,
        (None, period) => period.and_then(|period| period.checked_mul(ratio)),
    };
    let whole = pattern.filter(|samples| *samples <= MOST_SAMPLES);
    let samples = whole.unwrap_or(MOST_SAMPLES.next_multiple_of(ratio));
    let phase_at = |sample: u32| {
        let mut at = Carrier::new(carrier);
        at.seek(u64::from(sample));
        at.phase()
    };
    let scaled = |[c, s]: [i32; 2], bits: u32| {
        [f64::from(c), -f64::from(s)].map(|x| x / f64::from(1u32 << bits))
    };
    // A mixed section's table has phase zero in the middle, and one side is the other's mirror; its sums are turned by the
    // phase there.
    let middle = mixer::middle(section);
    let table = |n: u32| {
        let [c, s] = scaled(cos_sin_short(phase_at(n.abs_diff(middle)), bits), bits);
        if n < middle { [c, -s] } else { [c, s] }
    };
    let length = if folded.is_none() { section } else { 0 };
    let mixed: Vec<[f64; 2]> = (0..length).map(table).collect();
    let mut oscillator = Carrier::new(carrier);
    let (mut turn, mut gain) = ([1.0, 0.0], 0.0);
    for k in 0..samples {
        let exact = oscillator.phase();
        let n = (k % ratio) % section;
        if folded.is_none() && n == 0 {
            turn = scaled(cos_sin_quick(phase_at(k + middle)), TURN_BITS);
        }
        let [c, s] = match mixed.get(n as usize) {
            Some(table) => *table,
            None => scaled(cos_sin_short(exact, bits), bits),
        };
        let [c, s] = [c * turn[0] - s * turn[1], c * turn[1] + s * turn[0]];
        let theta = exact as f64 * 2f64.powi(-64) * TAU;
        // Re (c + i s) (e^(i theta) + e^(-i theta - 2 i phi)); over a part of a pattern the image would
        // not add up to what it is over the whole, next to nothing.
        gain += c * theta.cos() - s * theta.sin();
        if whole.is_some() {
            let image = -theta - 2.0 * phase_rad;
            gain += c * image.cos() - s * image.sin();
        }
        oscillator.advance(1);
    }
    gain / f64::from(samples)
}
