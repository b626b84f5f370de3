//! **Noise** that the chain's own rounding adds, by stage, as amplitude density at the input.
//!
//! Rounding to a step is taken as white with a variance of 1/12 (Bennett 1948, recalled). A reading's
//! in-phase amplitude takes up an ideal converter's rounding with a one-sided density of
//! 4/(12 f_s) codes^2/Hz: twice the mixer's cosine doubles its power.

use super::pruning::section_variance;
use crate::filter::integers::steps_per_code;
use crate::filter::subject::{Subject, stage_name};
use quietgap_core::front_end::{folding, fraction_bits, section_length, words_per_code};

/// Rounding of one stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Rounding {
    /// Stage.
    pub stage: String,
    /// What is rounded.
    pub what: &'static str,
    /// Density referred to the input, codes/rtHz.
    pub density_code_per_rthz: f64,
    /// Density over that of an ideal converter of so many bits.
    pub over_converter: f64,
}

/// Amplitude density of an ideal converter's rounding, codes/rtHz.
#[must_use]
pub fn converter_density(rate_hz: f64) -> f64 {
    (4.0 / 12.0 / rate_hz).sqrt()
}

/// Rounding of all stages in the order of the signal.
#[must_use]
pub fn roundings(subject: &Subject) -> Vec<Rounding> {
    let converter = converter_density(subject.rate_hz);
    // One step, rounded `rate` times a second, seen in codes.
    let entry = |stage: String, what, steps_per_code: f64, rate: f64| {
        let density = (2.0 / 12.0 / rate).sqrt() / steps_per_code;
        let over_converter = density / converter;
        Rounding { stage, what, density_code_per_rthz: density, over_converter }
    };
    let (front, code) = (subject.front_end(), subject.code_bits);
    let folded = folding(subject.carrier, front, code);
    let mut out = Vec::new();
    if folded.is_none() {
        // Sums of a section of L samples, turned, to 2^-f codes: half an amplitude comes out of the
        // mixer.
        let length = f64::from(section_length(front, code, folded).max(1));
        let fraction = fraction_bits(front, code, folded);
        let steps = 2f64.powi(fraction as i32) * length / 2.0;
        let name = "front end".to_owned();
        out.push(entry(name, "turned sums of a section", steps, subject.rate_hz / length));
    }
    if front.pruned_bits > 0 {
        // Steps of 2^pruned of 2^-f codes, half an amplitude out of the mixer, gain (R M)^N behind.
        let fraction = fraction_bits(front, code, folded) as i32;
        let plan = &subject.plan;
        let sizes = [plan.order.into(), plan.ratio.into(), plan.differential_delay.into()];
        let [order, ratio, delay]: [usize; 3] = sizes;
        let section = section_length(front, code, folded).max(1) as usize;
        let variance = 12.0 * section_variance(order, ratio, delay, section);
        let gain = ((ratio * delay) as f64).powi(order as i32);
        let steps = 2f64.powi(fraction - i32::from(front.pruned_bits)) * gain / 2.0;
        let rate = subject.rate_hz / ratio as f64;
        out.push(entry(stage_name(0), "pruned section sums", steps / variance.sqrt(), rate));
    }
    let (gain, exponent) = words_per_code(front, code);
    let mut steps = gain as f64 * 2f64.powi(-exponent);
    let mut rate = subject.rate_hz / f64::from(subject.plan.ratio);
    out.push(entry(stage_name(0), "phasor", steps, rate));
    for (n, fir) in subject.plan.firs.iter().enumerate() {
        steps *= crate::instrument::design::fir_gain(fir);
        rate /= f64::from(fir.ratio);
        out.push(entry(stage_name(n + 1), "phasor", steps, rate));
    }
    assert!((steps / steps_per_code(subject) - 1.0).abs() < 1e-9);
    out
}

/// All roundings together, over an ideal converter.
#[must_use]
pub fn total_over_converter(roundings: &[Rounding]) -> f64 {
    roundings.iter().map(|r| r.over_converter.powi(2)).sum::<f64>().sqrt()
}
