//! **Sensor**: one instrument and its readout, from a file or built in, checked.
//!
//! [`mod@file`] is the format on disk ([`plan_file`] that of its plan), [`check`] refuses what makes no
//! sense (with line and key), [`pendulum_file`] what the mass hangs from,
//! [`interferometer_file`] the laser that looks at it, [`design`] works out the physics at rest, [`settings`] turns it all into
//! the core's integers.

pub mod calibration_file;
mod carrier_gain;
pub mod check;
mod check_interferometer;
mod check_pendulum;
pub mod check_plan;
pub mod coupling;
pub mod design;
pub mod file;
pub mod interferometer_file;
pub mod pendulum_file;
pub mod plan_file;
pub mod settings;

use crate::error::{Error, Result, line_of, nearest, read_text};
use crate::readout::chain::Chain;
use check_plan::PlanSource;
pub use design::Design;
pub use file::{PlanFile, SensorFile};
use quietgap_core::{ConfigError, Stage};
pub use settings::Settings;
use std::path::{Path, PathBuf};

/// Sensors that need no file: name and text.
pub const BUILT_IN: [(&str, &str); 3] = [
    ("vault-two-bridge", include_str!("../../sensors/vault-two-bridge.toml")),
    ("vault-six-axis", include_str!("../../sensors/vault-six-axis.toml")),
    ("vault-quarter-rate", include_str!("../../sensors/vault-quarter-rate.toml")),
];

/// Names of the six axes: column in files, unit, direction or rotation axis.
pub const AXES: [(&str, &str, &str); 6] = [
    ("x", "x_m", "m"),
    ("y", "y_m", "m"),
    ("z", "z_m", "m"),
    ("theta", "theta_rad", "rad"),
    ("eta", "eta_rad", "rad"),
    ("phi", "phi_rad", "rad"),
];

/// A checked sensor.
#[derive(Debug, Clone)]
pub struct Sensor {
    /// As on disk.
    pub file: SensorFile,
    /// Its decimation plan.
    pub plan: PlanFile,
    /// Physics at rest.
    pub design: Design,
    /// What the core is built from.
    pub settings: Settings,
    /// Sum over these, of a host's readout: see [`crate::readout::readings::settings_checksum`].
    pub checksum: u32,
}

impl Sensor {
    /// Loads a sensor by path or by the bare name of a built-in one.
    ///
    /// # Errors
    /// Unreadable file, syntax, unknown key (with the nearest known one), a value out of its
    /// range, or a plan that the core refuses: file, line, key, what is given and allowed.
    pub fn load(name: &str) -> Result<Self> {
        if let Some((name, text)) = BUILT_IN.iter().find(|(n, _)| *n == name) {
            return Self::parse(Path::new(name), text);
        }
        let path = PathBuf::from(name);
        let text = read_text(&path, "sensor file").map_err(|e| {
            let names = BUILT_IN.map(|(n, _)| n);
            let hint = nearest(name, names).map_or(String::new(), |n| format!("; nearest: {n}"));
            let known = names.join(", ");
            Error::new(format!("{e} (built-in sensors: {known}{hint})"))
        })?;
        Self::parse(&path, &text)
    }

    /// Parses and checks the text of a sensor file; `path` is for messages and for `plan_file`.
    ///
    /// # Errors
    /// See [`Self::load`].
    pub fn parse(path: &Path, text: &str) -> Result<Self> {
        let is_plan = |t: toml::Table| t.contains_key("ratio") && !t.contains_key("converter");
        if toml::from_str(text).is_ok_and(is_plan) {
            let message = "is a plan file, where a sensor file is wanted".to_owned();
            return Err(Error::in_file(path, None, message));
        }
        let mut file: SensorFile = parse_toml(path, text)?;
        let source = check::Source { path, text };
        calibration_file::apply(&mut file, &source)?;
        check::sensor(&file, &source)?;
        let plan = match (&file.plan, &file.plan_file) {
            (Some(plan), None) => {
                plan_for(plan, &file, &PlanSource { source: &source, at: &["plan"] })?;
                plan.clone()
            }
            (None, Some(name)) => {
                let plan_path = path.parent().unwrap_or(Path::new("")).join(name);
                let text = read_text(&plan_path, "plan file")?;
                let plan: PlanFile = parse_toml(&plan_path, &text)?;
                let source = check::Source { path: &plan_path, text: &text };
                plan_for(&plan, &file, &PlanSource { source: &source, at: &[] })?;
                plan
            }
            (Some(_), Some(_)) => {
                return Err(source
                    .fault(&["plan_file"], "both `plan` and `plan_file` are given, allowed one"));
            }
            (None, None) => {
                return Err(Error::in_file(path, None, "neither `plan` nor `plan_file` is given"));
            }
        };
        let design = Design::new(&file, &plan);
        let settings = Settings::new(&file, &plan, &design);
        // Building the chain once shows whether the core takes the plan.
        let chain = Chain::new(&settings).map_err(|e| refused(&source, &file, &e))?;
        Ok(Self { file, plan, design, settings, checksum: chain.checksum() })
    }

    /// Number of converter channels.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.settings.alignments.len()
    }

    /// Indices into [`AXES`] of this sensor's axes.
    #[must_use]
    pub fn axes(&self) -> &[usize] {
        &self.design.axes
    }

    /// Sample rate.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.file.converter.rate_hz
    }

    /// Rate of readings.
    #[must_use]
    pub fn output_rate_hz(&self) -> f64 {
        self.rate_hz() / self.settings.interval() as f64
    }
}

/// Checks a plan for its sensor.
fn plan_for(plan: &PlanFile, file: &SensorFile, source: &PlanSource<'_>) -> Result<()> {
    source.fits(plan, file)?;
    source.ranges(plan, Some(file.converter.rate_hz))?;
    source.taps(plan)
}

/// What the core refuses, at the key that it comes from.
fn refused(source: &check::Source<'_>, file: &SensorFile, error: &ConfigError) -> Error {
    let index = |n: u8| usize::from(n).saturating_sub(1).to_string();
    let (fir, bridge);
    let keys: &[&str] = match error.stage {
        Stage::FrontEnd | Stage::Fir(_) if file.plan_file.is_some() => &["plan_file"],
        Stage::Fir(n) if n > 0 => {
            fir = index(n);
            &["plan", "fir", &fir]
        }
        Stage::Converter => &["converter"],
        Stage::Carrier => &["carrier", "frequency_hz"],
        Stage::Monitor => &["monitor"],
        Stage::Bridge(n) => {
            bridge = index(n);
            &["bridge", &bridge]
        }
        Stage::Axes => &["axes"],
        _ => &["plan"],
    };
    source.fault(keys, format!("the readout refuses this: {error}"))
}

/// Parses TOML; an unknown key's message names the nearest known one.
pub(crate) fn parse_toml<T: serde::de::DeserializeOwned>(path: &Path, text: &str) -> Result<T> {
    toml::from_str(text).map_err(|e| {
        let line = e.span().map(|span| line_of(text, span.start));
        let message = e.message();
        let mut quoted = message.split('`').skip(1).step_by(2);
        let hint = match (message.starts_with("unknown field"), quoted.next()) {
            (true, Some(word)) => match nearest(word, quoted) {
                Some(known) => format!("unknown key `{word}`; nearest known key: `{known}`"),
                None => format!("unknown key `{word}`"),
            },
            // The line itself shows the key that the parser does not name.
            _ => match line.and_then(|n| text.lines().nth(n - 1)) {
                Some(line) => format!("{} in `{}`", message.replace('\n', " "), line.trim()),
                None => message.replace('\n', " "),
            },
        };
        Error::in_file(path, line, hint)
    })
}
