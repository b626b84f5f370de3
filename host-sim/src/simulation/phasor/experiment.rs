//! **Experiments**: drives that a file describes, `[[drive]]` by `[[drive]]`.
//!
//! A drive is offset + amplitude times a sine (or its sign) from a time to a time, and nothing outside; those of the same
//! quantity add up.

use crate::error::{Error, Result, read_text};
use serde::Deserialize;
use std::f64::consts::TAU;
use std::path::Path;

/// What can be driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Power of a heater that makes a gradient of temperature across the mass.
    HeaterW,
    /// Voltage of the sensing electrode whose capacitance follows the swing most.
    VoltageV,
    /// Relative change of the laser's intensity.
    Intensity,
}

/// Form of a drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// A sine.
    #[default]
    Sine,
    /// On and off: the sine's sign.
    Square,
}

/// One drive.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DriveFile {
    /// What is driven.
    pub quantity: Quantity,
    /// Of the sine, in the quantity's unit.
    pub amplitude: f64,
    /// Constant part.
    #[serde(default)]
    pub offset: f64,
    /// Frequency.
    pub frequency_hz: f64,
    /// Phase of the sine at time 0.
    #[serde(default)]
    pub phase_rad: f64,
    /// Form.
    #[serde(default)]
    pub shape: Shape,
    /// First moment; the run's start when absent.
    #[serde(default)]
    pub from_s: f64,
    /// Last moment; the run's end when absent.
    #[serde(default = "for_ever")]
    pub to_s: f64,
}

fn for_ever() -> f64 {
    f64::INFINITY
}

/// All drives of a run.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Experiment {
    #[serde(default, rename = "drive")]
    drives: Vec<DriveFile>,
}

/// Values of what is driven.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Drives {
    pub heater_w: f64,
    pub voltage_v: f64,
    pub intensity: f64,
}

impl Experiment {
    /// Of drives.
    #[must_use]
    pub fn new(drives: Vec<DriveFile>) -> Self {
        Self { drives }
    }

    /// Reads a file.
    ///
    /// # Errors
    /// Not there, no TOML, unknown keys, numbers beyond what is allowed.
    pub fn read(path: &Path) -> Result<Self> {
        let text = read_text(path, "file of drives")?;
        let parsed: Self = toml::from_str(&text).map_err(|e| {
            let line = e.span().map(|span| text[..span.start].lines().count().max(1));
            Error::in_file(path, line, e.message().replace('\n', "; "))
        })?;
        if parsed.drives.is_empty() {
            return Err(Error::in_file(path, None, "has no [[drive]], allowed one or more"));
        }
        for (n, d) in parsed.drives.iter().enumerate() {
            let fault = |key: &str, value: f64, allowed: &str| {
                let message = format!("drive {}: {key} is {value}, allowed {allowed}", n + 1);
                Err(Error::in_file(path, None, message))
            };
            for (key, value, low, high) in [
                ("amplitude", d.amplitude, -1e4, 1e4),
                ("offset", d.offset, -1e4, 1e4),
                ("phase_rad", d.phase_rad, -1e6, 1e6),
                ("frequency_hz", d.frequency_hz, 0.0, 1e3),
            ] {
                if !(low..=high).contains(&value) {
                    return fault(key, value, &format!("{low} to {high}"));
                }
            }
            if !(d.from_s >= 0.0 && d.from_s < d.to_s) {
                return fault("from_s", d.from_s, "0 or more, before to_s");
            }
        }
        Ok(parsed)
    }

    pub(super) fn at(&self, time_s: f64) -> Drives {
        let mut all = Drives::default();
        for d in self.drives.iter().filter(|d| time_s >= d.from_s && time_s <= d.to_s) {
            let sine = (TAU * d.frequency_hz * time_s + d.phase_rad).sin();
            let wave = match d.shape {
                Shape::Sine => sine,
                Shape::Square => 1f64.copysign(sine),
            };
            let value = d.offset + d.amplitude * wave;
            *match d.quantity {
                Quantity::HeaterW => &mut all.heater_w,
                Quantity::VoltageV => &mut all.voltage_v,
                Quantity::Intensity => &mut all.intensity,
            } += value;
        }
        all
    }
}
