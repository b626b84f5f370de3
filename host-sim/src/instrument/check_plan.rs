//! What a decimation plan may not say, in a file of its own or in a sensor's.

use super::check::{NO_LINE, Source, is_line};
use super::file::{FirFile, LineFile, MaskFile, PlanFile, SensorFile};
use crate::cycles::cpu;
use crate::error::Result;

/// Most samples from one output to the next: 100 s at 1 MS/s, and as much as a check of the plan goes
/// through in a few seconds.
const MOST_RATIO: f64 = 1e8;

/// Most taps of a stage: those a host's readout has room for.
pub const MOST_TAPS: usize = 16_384;

/// A plan's text: where it stands, for messages.
#[derive(Debug)]
pub struct PlanSource<'a> {
    /// File.
    pub source: &'a Source<'a>,
    /// Table of the plan in it: none in a file of its own.
    pub at: &'a [&'a str],
}

impl PlanSource<'_> {
    /// An error at a key of the plan.
    #[must_use]
    pub fn fault(&self, keys: &[&str], message: impl std::fmt::Display) -> crate::error::Error {
        let keys: Vec<&str> = self.at.iter().chain(keys).copied().collect();
        self.source.fault(&keys, message)
    }

    fn range(&self, keys: &[&str], value: f64, min: f64, max: f64) -> Result<()> {
        let keys: Vec<&str> = self.at.iter().chain(keys).copied().collect();
        self.source.range(&keys, value, min, max)
    }

    /// Checks what a plan says by itself, with `rate_hz` where that is known.
    ///
    /// # Errors
    /// The first key out of range, or rates that do not divide.
    pub fn ranges(&self, plan: &PlanFile, rate_hz: Option<f64>) -> Result<()> {
        self.range(&["order"], plan.order.into(), 1.0, 6.0)?;
        self.range(&["ratio"], plan.ratio.into(), 2.0, 4096.0)?;
        self.range(&["differential_delay"], plan.differential_delay.into(), 1.0, 2.0)?;
        let rate_hz = rate_hz.or(plan.rate_hz);
        let top = rate_hz.unwrap_or(1e9);
        self.range(&["rate_hz"], plan.rate_hz.unwrap_or(1.0), 1.0, 1e9)?;
        if let Some(carrier) = plan.carrier_hz {
            self.range(&["carrier_hz"], carrier, 1e-6, top / 2.0 * (1.0 - 1e-9))?;
        }
        self.range(&["code_bits"], plan.code_bits.unwrap_or(24).into(), 8.0, 32.0)?;
        self.range(&["channels"], plan.channels.unwrap_or(1).into(), 1.0, 32.0)?;
        self.register(plan.register_bits, plan.pruned_bits)?;
        if plan.firs.len() > quietgap_core::config::MAX_FIRS {
            let most = quietgap_core::config::MAX_FIRS;
            let message = format!("{} stages, allowed 0 to {most}", plan.firs.len());
            return Err(self.fault(&["fir"], message));
        }
        for (n, fir) in plan.firs.iter().enumerate() {
            let at = n.to_string();
            self.range(&["fir", &at, "ratio"], fir.ratio.into(), 1.0, 4096.0)?;
            self.range(&["fir", &at, "scale_bits"], fir.scale_bits.into(), 0.0, 30.0)?;
            if fir.taps.is_empty() {
                return Err(self.fault(&["fir", &at, "taps"], "no taps, allowed 1 or more"));
            }
            if fir.taps.len() > MOST_TAPS {
                let message = format!("{} taps, allowed 1 to {MOST_TAPS}", fir.taps.len());
                return Err(self.fault(&["fir", &at, "taps"], message));
            }
        }
        self.mask(plan, top)?;
        let total: f64 = plan.firs.iter().map(|f| f64::from(f.ratio)).product();
        let total = total * f64::from(plan.ratio);
        if total > MOST_RATIO {
            let message =
                format!("the ratios make {total:e} in all, allowed at most {MOST_RATIO:e}");
            return Err(self.fault(&["ratio"], message));
        }
        if let (Some(output), Some(rate)) = (plan.output_rate_hz, rate_hz) {
            let made = rate / total;
            if (made - output).abs() > 1e-12 * output.abs() {
                let message = format!(
                    "is {output}, but the sample rate {rate} Hz divided by the plan's ratios ({total}) is {made} Hz"
                );
                return Err(self.fault(&["output_rate_hz"], message));
            }
        }
        Ok(())
    }

    fn mask(&self, plan: &PlanFile, top: f64) -> Result<()> {
        self.lines(&plan.lines, top, 1e3)?;
        let Some(mask) = &plan.mask else { return Ok(()) };
        self.range(&["mask", "pass_hz"], mask.pass_hz, 0.0, top)?;
        self.range(&["mask", "pass_db"], mask.pass_db, 0.0, 1e3)?;
        self.range(&["mask", "alias_into_hz"], mask.alias_into_hz, 0.0, top)?;
        self.range(&["mask", "alias_db"], mask.alias_db, 0.0, 1e3)?;
        self.budget(mask)
    }

    /// Checks the CIC's register and what it does without.
    ///
    /// # Errors
    /// The key out of range.
    pub fn register(&self, register_bits: u32, pruned_bits: u8) -> Result<()> {
        if ![64, 128].contains(&register_bits) {
            let message = format!("is {register_bits}, allowed 64 or 128");
            return Err(self.fault(&["register_bits"], message));
        }
        self.range(&["pruned_bits"], pruned_bits.into(), 0.0, 32.0)
    }

    /// Checks tones up to `top` hertz, rejected by at most `most_db`.
    ///
    /// # Errors
    /// The key out of range.
    pub fn lines(&self, lines: &[LineFile], top: f64, most_db: f64) -> Result<()> {
        for (n, line) in lines.iter().enumerate() {
            let at = n.to_string();
            if !is_line(&line.name) {
                return Err(self.fault(&["line", &at, "name"], NO_LINE));
            }
            self.range(&["line", &at, "frequency_hz"], line.frequency_hz, 0.0, top / 2.0)?;
            self.range(&["line", &at, "reject_db"], line.reject_db, 0.0, most_db)?;
        }
        Ok(())
    }

    /// Checks what a mask says of delay and cost.
    ///
    /// # Errors
    /// The key out of range, or an unknown core.
    pub fn budget(&self, mask: &MaskFile) -> Result<()> {
        self.range(&["mask", "delay_s"], mask.delay_s.unwrap_or(1.0), 0.0, 1e9)?;
        let instructions = mask.instructions_per_sample.unwrap_or(1.0);
        self.range(&["mask", "instructions_per_sample"], instructions, 0.0, 1e9)?;
        let Some(name) = &mask.cpu else { return Ok(()) };
        let unknown = |known| self.fault(&["mask", "cpu"], format!("is `{name}`, allowed {known}"));
        cpu(name).map(|_| ()).map_err(unknown)
    }

    /// Checks the taps as a sensor's readout needs them: symmetric where they are to be, with a gain.
    ///
    /// # Errors
    /// The first tap unlike its mirror, or a sum that is not above zero.
    pub fn taps(&self, plan: &PlanFile) -> Result<()> {
        for (n, fir) in plan.firs.iter().enumerate() {
            let at = n.to_string();
            let keys = ["fir", at.as_str(), "taps"];
            if let Some((_, message)) = slip(fir) {
                return Err(self.fault(&keys, message));
            }
            if fir.taps.iter().map(|t| i64::from(*t)).sum::<i64>() <= 0 {
                let message = "the taps' sum, the gain at zero frequency, is not above zero";
                return Err(self.fault(&keys, message));
            }
        }
        Ok(())
    }

    /// Checks what the plan says of the sensor that it is used in.
    ///
    /// # Errors
    /// A rate, carrier or width of codes other than the sensor's.
    pub fn fits(&self, plan: &PlanFile, sensor: &SensorFile) -> Result<()> {
        let (rate, carrier) = (sensor.converter.rate_hz, sensor.carrier.frequency_hz);
        self.range(&["rate_hz"], plan.rate_hz.unwrap_or(rate), rate, rate)?;
        self.range(&["carrier_hz"], plan.carrier_hz.unwrap_or(carrier), carrier, carrier)?;
        let bits = f64::from(sensor.converter.bits);
        self.range(&["code_bits"], plan.code_bits.map_or(bits, f64::from), bits, bits)
    }
}

/// First tap that is unlike its mirror where all are to be like it: both, and what is wrong.
#[must_use]
pub fn slip(fir: &FirFile) -> Option<([i32; 2], String)> {
    let (tap, mirror) = unlike(fir).filter(|_| fir.symmetric)?;
    let [a, b] = [fir.taps[tap], fir.taps[mirror]];
    let what =
        format!("tap {tap} is {a}, its mirror {b}; allowed symmetric taps, or symmetric = false");
    Some(([a, b], what))
}

/// First tap that is unlike its mirror, and that.
#[must_use]
pub fn unlike(fir: &FirFile) -> Option<(usize, usize)> {
    let tap = fir.taps.iter().zip(fir.taps.iter().rev()).position(|(a, b)| a != b)?;
    Some((tap, fir.taps.len() - 1 - tap))
}
