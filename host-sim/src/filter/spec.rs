//! **Specification** of a decimation plan: TOML, SI units, the unit in the key.

use crate::error::{Result, read_text};
use crate::instrument::check::Source;
use crate::instrument::check_plan::PlanSource;
use crate::instrument::file::{LineFile, MaskFile, PathFile};
use crate::instrument::parse_toml;
use serde::Deserialize;
use std::path::Path;

/// How taps are found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Least largest error (Parks and McClellan 1972): fewest taps.
    #[default]
    Equiripple,
    /// Ideal response cut by a Kaiser window: stop bands that go on falling.
    Kaiser,
    /// Least squares: least noise out of the stop bands.
    LeastSquares,
    /// Half-band filters where the ratio is 2, else equiripple.
    HalfBand,
    /// Least phase in the last stage, equiripple before: for a loop that acts on the readings. The delay
    /// varies within the pass band.
    LowDelay,
}

/// What a plan shall do.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spec {
    /// Version of this format: 1.
    pub schema: u32,
    /// Sample rate of the converter.
    pub rate_hz: f64,
    /// Carrier.
    pub carrier_hz: f64,
    /// Rate of the readings.
    pub output_rate_hz: f64,
    /// Converter channels, for the cost.
    #[serde(default = "one")]
    pub channels: u8,
    /// Bits of a code.
    #[serde(default = "codes")]
    pub code_bits: u32,
    /// Bits of a tap, sign included, 8 to 32.
    #[serde(default = "taps")]
    pub tap_bits: u32,
    /// Bits of the CIC's register, 64 or 128.
    #[serde(default = "register")]
    pub register_bits: u32,
    /// Bits at the bottom of every section sum that the register does without, as in a plan.
    #[serde(default)]
    pub pruned_bits: u8,
    /// Orders of the CIC to choose from.
    #[serde(default = "orders")]
    pub orders: Vec<u8>,
    /// How taps are found.
    #[serde(default)]
    pub method: Method,
    /// Front end, as in a plan.
    #[serde(default)]
    pub path: PathFile,
    /// What the plan has to keep.
    pub mask: MaskFile,
    /// Tones to keep out.
    #[serde(default, rename = "line")]
    pub lines: Vec<LineFile>,
}

/// Largest ratio of the rates.
const MOST_RATIO: f64 = 1e7;

fn one() -> u8 {
    1
}

fn codes() -> u32 {
    24
}

fn taps() -> u32 {
    32
}

fn register() -> u32 {
    64
}

fn orders() -> Vec<u8> {
    (1..=6).collect()
}

impl Spec {
    /// Reads and checks a file.
    ///
    /// # Errors
    /// Unreadable file, syntax, unknown key, or a value out of its range: file, line, key.
    pub fn load(path: &Path) -> Result<Self> {
        let text = read_text(path, "specification")?;
        Self::parse(path, &text)
    }

    /// Parses and checks a text; `path` is for messages.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub fn parse(path: &Path, text: &str) -> Result<Self> {
        let spec: Self = parse_toml(path, text)?;
        spec.check(&Source { path, text })?;
        Ok(spec)
    }

    fn check(&self, source: &Source<'_>) -> Result<()> {
        source.range(&["schema"], self.schema.into(), 1.0, 1.0)?;
        source.range(&["rate_hz"], self.rate_hz, 1.0, 1e9)?;
        let half = self.rate_hz / 2.0;
        source.range(&["carrier_hz"], self.carrier_hz, 1e-6, half * (1.0 - 1e-9))?;
        source.range(&["output_rate_hz"], self.output_rate_hz, self.rate_hz / MOST_RATIO, half)?;
        source.range(&["channels"], self.channels.into(), 1.0, 32.0)?;
        source.range(&["code_bits"], self.code_bits.into(), 8.0, 32.0)?;
        source.range(&["tap_bits"], self.tap_bits.into(), 8.0, 32.0)?;
        let shared = PlanSource { source, at: &[] };
        shared.register(self.register_bits, self.pruned_bits)?;
        if self.orders.is_empty() || self.orders.iter().any(|n| !(1..=6).contains(n)) {
            let message = format!("are {:?}, allowed one or more of 1 to 6", self.orders);
            return Err(source.fault(&["orders"], message));
        }
        let mask = &self.mask;
        let most = self.output_rate_hz;
        source.range(&["mask", "pass_hz"], mask.pass_hz, 1e-9, most)?;
        source.range(&["mask", "pass_db"], mask.pass_db, 1e-9, 3.0)?;
        source.range(&["mask", "alias_into_hz"], mask.alias_into_hz, 1e-9, most)?;
        source.range(&["mask", "alias_db"], mask.alias_db, 20.0, 200.0)?;
        shared.budget(mask)?;
        shared.lines(&self.lines, self.rate_hz, 200.0)
    }

    /// Samples from one reading to the next, where that is a whole number.
    #[must_use]
    pub fn interval(&self) -> Option<u64> {
        let exact = self.rate_hz / self.output_rate_hz;
        let whole = exact.round();
        ((exact - whole).abs() <= 1e-12 * whole).then_some(whole as u64)
    }
}
