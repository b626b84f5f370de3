//! **Tolerance**: how far a new plan may go from the one in use, line by line. What is not named may
//! not change.

use crate::error::{Result, read_text};
use crate::instrument::check::Source;
use crate::instrument::parse_toml;
use serde::Deserialize;
use std::path::Path;

/// Whether the integers themselves may differ.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Structure {
    /// Stages, ratios, taps and words stay.
    #[default]
    Same,
    /// They may differ: what they do is judged.
    Free,
}

/// Largest change for the worse of each quantity, or in either direction where both are bad.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Tolerance {
    /// Stages, ratios, taps, words, mask.
    pub structure: Structure,
    /// Output rate, either way.
    pub output_rate_hz: f64,
    /// Gain at zero frequency, a factor, either way.
    pub gain: f64,
    /// Deviation in the pass band, more.
    pub pass_band_db: f64,
    /// Alias rejection, less.
    pub alias_db: f64,
    /// Rejection of a tone, less.
    pub tone_db: f64,
    /// Delay, either way.
    pub delay_s: f64,
    /// Time to settle to any level, more.
    pub settled_s: f64,
    /// Overshoot, more.
    pub overshoot: f64,
    /// Least headroom of a word, less.
    pub headroom_bits: f64,
    /// Rounding noise over an ideal converter's, more.
    pub rounding: f64,
    /// Instructions per sample and channel, more.
    pub instructions_per_sample: f64,
    /// Sums and taps in memory, more.
    pub memory_bytes: f64,
    /// Difference of readings on the same codes, rms, of full scale.
    pub readings_rms: f64,
    /// The same, largest.
    pub readings_max: f64,
    /// Noise density in the pass band, a factor less one, either way.
    pub noise_ratio: f64,
}

impl Tolerance {
    /// Reads a file.
    ///
    /// # Errors
    /// Unreadable, unknown key, a value that is negative or no number.
    pub fn load(path: &Path) -> Result<Self> {
        let text = read_text(path, "tolerance file")?;
        let tolerance: Self = parse_toml(path, &text)?;
        let source = Source { path, text: &text };
        for (key, value) in tolerance.numbers() {
            source.range(&[key], value, 0.0, f64::MAX)?;
        }
        Ok(tolerance)
    }

    fn numbers(&self) -> [(&'static str, f64); 15] {
        [
            ("output_rate_hz", self.output_rate_hz),
            ("gain", self.gain),
            ("pass_band_db", self.pass_band_db),
            ("alias_db", self.alias_db),
            ("tone_db", self.tone_db),
            ("delay_s", self.delay_s),
            ("settled_s", self.settled_s),
            ("overshoot", self.overshoot),
            ("headroom_bits", self.headroom_bits),
            ("rounding", self.rounding),
            ("instructions_per_sample", self.instructions_per_sample),
            ("memory_bytes", self.memory_bytes),
            ("readings_rms", self.readings_rms),
            ("readings_max", self.readings_max),
            ("noise_ratio", self.noise_ratio),
        ]
    }
}
