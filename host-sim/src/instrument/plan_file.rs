//! The plan file as it stands on disk, also the table `[plan]` of a sensor file: keys, units and
//! defaults.

use serde::Deserialize;

/// A decimation plan.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanFile {
    /// Order of the CIC, 1 to 6.
    pub order: u8,
    /// Its ratio, 2 to 4096.
    pub ratio: u16,
    /// Its differential delay, 1 or 2.
    #[serde(default = "one")]
    pub differential_delay: u8,
    /// Front end: folded where possible (auto), folded or refused, or mixed sample by sample.
    #[serde(default)]
    pub path: PathFile,
    /// Bits at the bottom of every section sum that the CIC's register does without.
    #[serde(default)]
    pub pruned_bits: u8,
    /// Rate that the plan is for; checked against the converter when given.
    pub rate_hz: Option<f64>,
    /// Output rate it promises; checked when given.
    pub output_rate_hz: Option<f64>,
    /// Carrier that the plan is for; checked against the sensor's when given.
    pub carrier_hz: Option<f64>,
    /// Bits of the codes it is for; checked against the converter when given.
    pub code_bits: Option<u32>,
    /// Channels that its cost is worked out for.
    pub channels: Option<u8>,
    /// Bits of the CIC's register on the board, 64 or 128.
    #[serde(default = "long")]
    pub register_bits: u32,
    /// FIR decimators in order.
    #[serde(default, rename = "fir")]
    pub firs: Vec<FirFile>,
    /// What the plan promises.
    pub mask: Option<MaskFile>,
    /// Tones at the converter that it has to keep out, mains and actuation.
    #[serde(default, rename = "line")]
    pub lines: Vec<LineFile>,
}

fn yes() -> bool {
    true
}

fn long() -> u32 {
    64
}

fn one() -> u8 {
    1
}

/// Choice of front end.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PathFile {
    /// Folded where the carrier allows it.
    #[default]
    Auto,
    /// Folded.
    Coherent,
    /// Mixed sample by sample.
    General,
}

/// One FIR decimator.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FirFile {
    /// Decimation ratio.
    pub ratio: u16,
    /// Taps are integers of weight 2^-scale_bits.
    pub scale_bits: u8,
    /// Every tap is its own mirror, so that the delay is the same at all frequencies. `false` allows others.
    #[serde(default = "yes")]
    pub symmetric: bool,
    /// All taps.
    pub taps: Vec<i32>,
}

/// Mask of a plan: what `filter check` holds it to.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskFile {
    /// Pass band from zero to here.
    pub pass_hz: f64,
    /// Gain within the pass band stays within this.
    pub pass_db: f64,
    /// Frequencies that fold into zero to here are rejected ...
    pub alias_into_hz: f64,
    /// ... by at least this.
    pub alias_db: f64,
    /// Longest delay from the mass to the reading.
    pub delay_s: Option<f64>,
    /// Most instructions per sample and channel, from codes to phasors at the output rate ...
    pub instructions_per_sample: Option<f64>,
    /// ... on this core: m4, m7 or m33.
    pub cpu: Option<String>,
}

/// A tone at the converter's input.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineFile {
    /// Name for messages.
    pub name: String,
    /// Frequency at the converter, not off the carrier.
    pub frequency_hz: f64,
    /// Least rejection: a carrier of the same amplitude over what the tone leaves in a phasor.
    pub reject_db: f64,
}

impl LineFile {
    /// Distances from the carrier at which a real tone comes out of the mixer.
    #[must_use]
    pub fn offsets_hz(&self, carrier_hz: f64) -> [f64; 2] {
        [self.frequency_hz - carrier_hz, -self.frequency_hz - carrier_hz]
    }
}
