//! **Subject**: a plan with all that is needed to judge it: rates, carrier, words, channels.

use crate::error::{Error, Result, read_text};
use crate::instrument::check::Source;
use crate::instrument::check_plan::{PlanSource, unlike};
use crate::instrument::design::carrier_ratio;
use crate::instrument::file::{FirFile, LineFile, PlanFile};
use crate::instrument::settings::{Settings, core_carrier, delays, spans};
use crate::instrument::{BUILT_IN, Sensor, parse_toml};
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::{FirConfig, FrontEndConfig};
use std::path::Path;

/// A plan and what it is for.
#[derive(Debug, Clone)]
pub struct Subject {
    /// File, or sensor, for messages.
    pub name: String,
    /// The plan.
    pub plan: PlanFile,
    /// Sample rate.
    pub rate_hz: f64,
    /// Carrier.
    pub carrier_hz: f64,
    /// Carrier over sample rate, as the core takes it.
    pub carrier: CarrierRatio,
    /// Bits of a code.
    pub code_bits: u32,
    /// Channels.
    pub channels: usize,
    /// All settings of the readout, where the plan is a sensor's own.
    pub settings: Option<Settings>,
}

impl Subject {
    /// Loads a plan file, a sensor file (its plan), or a built-in sensor by name. Where a plan file
    /// does not say what it is for, `sensor` does.
    ///
    /// # Errors
    /// Unreadable, syntax, unknown key, a value out of range, or rate, carrier or code bits that
    /// neither tells.
    pub fn load(name: &str, sensor: Option<&str>) -> Result<Self> {
        let path = Path::new(name);
        // Of what is not there the sensor says what there is instead.
        if BUILT_IN.iter().any(|(built_in, _)| *built_in == name) || !path.exists() {
            return Ok(Self::of_sensor(&Sensor::load(name)?));
        }
        let text = read_text(path, "plan or sensor file")?;
        // A sensor that has its plan in the wrong place is a sensor all the same.
        let of_sensors = ["plan", "plan_file", "converter", "electrode", "bridge"];
        let is_sensor = toml::from_str::<toml::Table>(&text)
            .is_ok_and(|t| of_sensors.iter().any(|key| t.contains_key(*key)));
        if is_sensor {
            return Ok(Self::of_sensor(&Sensor::load(name)?));
        }
        let sensor = sensor.map(Sensor::load).transpose()?;
        Self::parse(path, &text, sensor.as_ref())
    }

    /// The same where there is one plan: `sensor` is for a plan file alone.
    ///
    /// # Errors
    /// As [`Self::load`]; a `sensor` beside a sensor.
    pub fn load_one(name: &str, sensor: Option<&str>) -> Result<Self> {
        let subject = Self::load(name, sensor)?;
        match sensor {
            Some(sensor) if subject.settings.is_some() => Err(Error::new(format!(
                "--sensor {sensor}: {name} is a sensor itself; allowed with a plan file"
            ))),
            _ => Ok(subject),
        }
    }

    /// A sensor's plan.
    #[must_use]
    pub fn of_sensor(sensor: &Sensor) -> Self {
        Self {
            name: sensor.file.name.clone(),
            plan: sensor.plan.clone(),
            rate_hz: sensor.rate_hz(),
            carrier_hz: sensor.file.carrier.frequency_hz,
            carrier: sensor.settings.carrier,
            code_bits: sensor.file.converter.bits,
            channels: sensor.channels(),
            settings: Some(sensor.settings.clone()),
        }
    }

    /// Parses a plan file's text.
    ///
    /// # Errors
    /// See [`Self::load`].
    pub fn parse(path: &Path, text: &str, sensor: Option<&Sensor>) -> Result<Self> {
        let plan: PlanFile = parse_toml(path, text)?;
        let source = Source { path, text };
        let source = PlanSource { source: &source, at: &[] };
        if let Some(sensor) = sensor {
            source.fits(&plan, &sensor.file)?;
        }
        let known = sensor.map(Self::of_sensor);
        let missing = |key: &str| {
            let message = format!("{key}: not given; the plan has to tell it, or --sensor SENSOR");
            Error::in_file(path, None, message)
        };
        let given = |value: Option<f64>, known: Option<f64>, key| {
            value.or(known).ok_or_else(|| missing(key))
        };
        let rate_hz = given(plan.rate_hz, known.as_ref().map(|k| k.rate_hz), "rate_hz")?;
        source.ranges(&plan, Some(rate_hz))?;
        let carrier_hz =
            given(plan.carrier_hz, known.as_ref().map(|k| k.carrier_hz), "carrier_hz")?;
        let code_bits = plan.code_bits.or(known.as_ref().map(|k| k.code_bits));
        let channels = plan.channels.map(usize::from);
        let carrier = core_carrier(carrier_ratio(carrier_hz, rate_hz))
            .ok_or_else(|| source.fault(&["carrier_hz"], "is zero to the nearest nanohertz"))?;
        Ok(Self {
            name: path.display().to_string(),
            rate_hz,
            carrier_hz,
            carrier,
            code_bits: code_bits.ok_or_else(|| missing("code_bits"))?,
            channels: channels.or(known.map(|k| k.channels)).unwrap_or(1),
            plan,
            settings: None,
        })
    }

    /// First decimation as the core takes it.
    #[must_use]
    pub fn front_end(&self) -> FrontEndConfig {
        FrontEndConfig::from(&self.plan)
    }

    /// FIR stages as the core takes them.
    #[must_use]
    pub fn firs(&self) -> Vec<FirConfig<'_>> {
        fn config(f: &FirFile) -> FirConfig<'_> {
            FirConfig { ratio: f.ratio, taps: &f.taps, scale_bits: f.scale_bits }
        }
        self.plan.firs.iter().map(config).collect()
    }

    /// Samples from one output to the next.
    #[must_use]
    pub fn interval(&self) -> u64 {
        self.plan.firs.iter().fold(self.plan.ratio.into(), |n, f| n * u64::from(f.ratio))
    }

    /// Rate of outputs.
    #[must_use]
    pub fn output_rate_hz(&self) -> f64 {
        self.rate_hz / self.interval() as f64
    }

    /// Twice the delay of a slow signal in each stage, samples. The CIC first.
    #[must_use]
    pub fn delays(&self) -> Vec<u64> {
        delays(self.front_end(), self.plan.firs.iter().map(|f| (f.ratio, f.taps.as_slice())))
    }

    /// Samples of each stage's impulse response, less one. The CIC first.
    #[must_use]
    pub fn spans(&self) -> Vec<u64> {
        spans(self.front_end(), self.plan.firs.iter().map(|f| (f.ratio, f.taps.len())))
    }

    /// Samples of the whole impulse response.
    #[must_use]
    pub fn span(&self) -> u64 {
        self.spans().iter().sum::<u64>() + 1
    }

    /// Whether taps that are not their own mirror make the delay vary with frequency.
    #[must_use]
    pub fn delay_varies(&self) -> bool {
        self.plan.firs.iter().any(|fir| unlike(fir).is_some())
    }

    /// Delay of a slow signal, samples, a multiple of a half.
    #[must_use]
    pub fn delay_samples(&self) -> f64 {
        self.delays().iter().sum::<u64>() as f64 / 2.0
    }

    /// Delay from a slow motion to the last sample of the reading that it is in, s.
    #[must_use]
    pub fn delay_s(&self) -> f64 {
        self.delay_samples() / self.rate_hz
    }

    /// Tones to keep out.
    #[must_use]
    pub fn lines(&self) -> &[LineFile] {
        &self.plan.lines
    }
}

/// Name of stage `n` of a plan.
#[must_use]
pub fn stage_name(n: usize) -> String {
    if n == 0 { "CIC".to_owned() } else { format!("FIR {n}") }
}
