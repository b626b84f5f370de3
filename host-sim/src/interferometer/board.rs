//! **Settings for a board**: balance and ellipse as the core's integers.

use super::track::Knot;
use crate::instrument::file::InterferometerFile;
use quietgap_core::ConfigError;
use quietgap_core::fringe::{FringeConfig, Fringes};

/// What the core's arctangent makes of a length: the product of sqrt(1 + 4^-n) over its 34 rotations.
fn gain() -> f64 {
    (0..34).map(|n| (1.0 + 4f64.powi(-n)).sqrt()).product()
}

/// Settings of a beam that the core takes.
///
/// # Errors
/// Codes of more than 24 bits, and what of the ellipse is beyond the core's numbers.
pub fn settings(file: &InterferometerFile, knot: &Knot) -> Result<FringeConfig, ConfigError> {
    let fixed = |x: f64, bits: i32| (x * 2f64.powi(bits)).round_ties_even();
    let [p, q, contrast, ratio, lack] = knot.ellipse.numbers();
    let sound = contrast * gain();
    let config = FringeConfig {
        code_bits: file.bits as u8,
        balance: knot.balance.map(|g| fixed(g, 30) as u32),
        offset: [p, q].map(|x| fixed(x, 30) as i32),
        tangent: fixed(lack.tan(), 28) as i32,
        ratio: fixed(ratio / lack.cos(), 28) as i32,
        weak: fixed(sound * file.limits.weak_fraction, 30) as u32,
        lost: fixed(sound * file.limits.lost_fraction, 30) as u32,
        step: fixed(file.limits.step_turns, 32) as u32,
    };
    Fringes::new(config).map(|_| config)
}
