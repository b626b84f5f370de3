//! Gain of the core's rounded carrier, so that a calibration of the design's holds for it.

use quietgap_core::carrier::{Carrier, CarrierRatio, cos_sin_short};
use quietgap_core::config::FrontEndConfig;
use quietgap_core::front_end::{folding, fraction_bits};
use std::f64::consts::TAU;

/// In-phase gain of the folded front end's rounded cosines at signal phase `phase_rad`, near 1.
///
/// With c and s the rounded cosine and sine at the K phases theta, a signal a cos(theta + phi)
/// reads a (A e^(i phi) + B e^(-i phi)), A = sum (c - i s) e^(i theta) / K and
/// B = sum (c - i s) e^(-i theta) / K; turned back by phi, its real part is A + B e^(-2 i phi).
/// A carrier that is mixed sample by sample meets hundreds of rounded cosines, whose errors
/// average out: 1.
#[must_use]
pub fn carrier_gain(
    carrier: CarrierRatio,
    config: FrontEndConfig,
    code_bits: u32,
    phase_rad: f64,
) -> f64 {
    let folded = folding(carrier, config, code_bits);
    let (Some(_), Some(period)) = (folded, carrier.period()) else { return 1.0 };
    let bits = fraction_bits(config, code_bits, folded);
    let one = f64::from(1u32 << bits);
    let mut oscillator = Carrier::new(carrier);
    let mut gain = 0.0;
    for _ in 0..period {
        let [c, s] = cos_sin_short(oscillator.phase(), bits).map(|x| f64::from(x) / one);
        let theta = oscillator.phase() as f64 * 2f64.powi(-64) * TAU;
        // Re (c - i s) (e^(i theta) + e^(-i theta - 2 i phi)).
        let image = -theta - 2.0 * phase_rad;
        gain += c * (theta.cos() + image.cos()) + s * (theta.sin() + image.sin());
        oscillator.advance(1);
    }
    gain / f64::from(period)
}
