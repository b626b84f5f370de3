//! Converter: offset, integral nonlinearity, rounding, range.

use super::Parts;
use crate::instrument::file::ConverterFile;

/// Volts to codes.
#[derive(Debug, Clone)]
pub struct Converter {
    codes_per_volt: f64,
    offset_v: f64,
    nonlinearity_lsb: f64,
    half_range: f64,
    /// One over it, as exact: it is a power of two.
    over_half_range: f64,
}

impl Converter {
    /// From the sensor file, with the parts switched as said.
    #[must_use]
    pub fn new(file: &ConverterFile, parts: Parts) -> Self {
        let half_range = 2f64.powi(file.bits as i32 - 1);
        Self {
            codes_per_volt: half_range / file.full_scale_v,
            offset_v: if parts.offset { file.offset_v } else { 0.0 },
            nonlinearity_lsb: if parts.nonlinearity { file.nonlinearity_lsb } else { 0.0 },
            half_range,
            over_half_range: half_range.recip(),
        }
    }

    /// Exact code before rounding: the nonlinearity is S-shaped, (3 sqrt 3/2)(v - v^3) of
    /// its peak, v the voltage over full scale.
    #[must_use]
    pub fn exact(&self, volts: f64) -> f64 {
        let code = (volts + self.offset_v) * self.codes_per_volt;
        if self.nonlinearity_lsb == 0.0 {
            return code;
        }
        let v = code * self.over_half_range;
        code + self.nonlinearity_lsb * 1.5 * 3f64.sqrt() * (v - v * v * v)
    }

    /// Nearest code within the range, ties to even.
    #[must_use]
    pub fn code(&self, volts: f64) -> i32 {
        // Added to a number whose last bit counts 1, it is rounded there, without the call that rounding is where a machine's
        // own instruction for it is not known of.
        const ONES: f64 = 1.5 * (1u64 << 52) as f64;
        let within = self.exact(volts).clamp(-self.half_range, self.half_range - 1.0);
        ((within + ONES) - ONES) as i32
    }
}
