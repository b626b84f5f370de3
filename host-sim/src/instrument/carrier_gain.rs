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
    let mut oscillator = Carrier::new(carrier);
    let (middle, mut at) = (mixer::middle(section), Carrier::new(carrier));
    let scaled = |[c, s]: [i32; 2], bits: u32| {
        [f64::from(c), -f64::from(s)].map(|x| x / f64::from(1u32 << bits))
    };
    let (mut turn, mut gain) = ([1.0, 0.0], 0.0);
    for k in 0..samples {
        let exact = oscillator.phase();
        let mut table = cos_sin_short(exact, bits);
        if folded.is_none() {
            // A section's table has phase zero in the middle, and one side is the other's mirror; its sums are turned by
            // the phase there.
            let n = (k % ratio) % section;
            if n == 0 {
                at.seek(u64::from(k + middle));
                turn = scaled(cos_sin_quick(at.phase()), TURN_BITS);
            }
            at.seek(u64::from(n.abs_diff(middle)));
            table = cos_sin_short(at.phase(), bits);
            table[1] = if n < middle { -table[1] } else { table[1] };
        }
        let [c, s] = scaled(table, bits);
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
