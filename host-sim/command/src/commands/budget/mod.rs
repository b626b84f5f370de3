//! `quietgap budget`.

mod page;
mod recorded;
mod show;

use super::outputs::Outputs;
use super::record::in_range;
use super::spectrum::against::Against;
use super::{progress, sensor_files};
use clap::Args;
use quietgap_sim::budget::measure::{self, Trial, Trials};
use quietgap_sim::budget::{Budget, predict};
use quietgap_sim::error::{Error, Result, nearest};
use quietgap_sim::instrument::{AXES, Sensor};
use recorded::{Recorded, beside};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file, or the name of a built-in sensor
    sensor: String,
    /// Where the mass is, COLUMN=VALUE (x_m=2e-5); again for more. A hundredth of a millimetre and a tenth of a
    /// milliradian in every axis when absent: what is in proportion to the displacement shows
    #[arg(long, value_name = "COLUMN=VALUE")]
    at: Vec<String>,
    /// Lowest frequency
    #[arg(long, value_name = "HZ", default_value_t = 1e-4, allow_negative_numbers = true)]
    from_hz: f64,
    /// Band that contributors are ranked over, LOW:HIGH in Hz; a decade around 1 mHz when absent
    #[arg(long, value_name = "LOW:HIGH")]
    band: Option<String>,
    /// Simulate each contributor by itself, and all together, beside its prediction
    #[arg(long)]
    measure: bool,
    /// Seconds of each simulation through the whole chain
    #[arg(long, value_name = "S", default_value_t = 120.0, allow_negative_numbers = true)]
    seconds: f64,
    /// Seed of all random streams
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Recorded readings to lay over it
    #[arg(long, value_name = "FILE")]
    readings: Option<PathBuf>,
    /// Requirement to lay over it: frequency_hz and a density of an axis's name
    #[arg(long, value_name = "FILE")]
    against: Vec<PathBuf>,
    #[command(flatten)]
    outputs: Outputs,
}

/// Frequencies a decade.
const PER_DECADE: f64 = 20.0;

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--seconds", options.seconds, 20.0, 1e5)?;
    let sensor = Sensor::load(&options.sensor)?;
    let to_hz = sensor.output_rate_hz() / 2.0;
    in_range("--from-hz", options.from_hz, 1e-7, to_hz / 10.0)?;
    let place = place(&sensor, &options.at)?;
    let band = match &options.band {
        Some(text) => super::spectrum::band(text)?,
        None => [3e-4, 3e-3],
    };
    let files = sensor_files(&options.sensor, &sensor);
    let inputs: Vec<&Path> = files
        .iter()
        .chain(&options.readings)
        .chain(&options.against)
        .map(PathBuf::as_path)
        .collect();
    options.outputs.check(&inputs, &[])?;
    let against =
        options.against.iter().map(|path| Against::read(path)).collect::<Result<Vec<_>>>()?;
    let budget = predict(&sensor, &grid(options.from_hz, to_hz), place);
    let trials = if options.measure {
        let trials = Trials {
            carrier_s: options.seconds,
            phasor_s: 100.0 * options.seconds,
            confidence: options.outputs.confidence,
            seed: options.seed,
        };
        let bar = progress(1000);
        let done = |part: f64| bar.set_position((part * 1e3) as u64);
        let trials = measure::run(&sensor, &sensor, place, &trials, &done)?;
        bar.finish_and_clear();
        trials
    } else {
        Vec::new()
    };
    let (recorded, torque) = match &options.readings {
        Some(path) => beside(&sensor, path, place, options.outputs.confidence)?,
        None => (Vec::new(), None),
    };
    let found = Found { sensor, budget, band, place, trials, recorded, torque, against };
    options.outputs.finish(
        |out| found.write(out),
        || found.html(),
        || found.json(),
        &found.text(),
    )?;
    Ok(found.trials.iter().all(Trial::holds))
}

/// Frequencies evenly spaced on a logarithmic axis.
pub(super) fn grid(from_hz: f64, to_hz: f64) -> Vec<f64> {
    let count = ((to_hz / from_hz).log10() * PER_DECADE).ceil() as usize;
    (0..=count).map(|k| from_hz * (to_hz / from_hz).powf(k as f64 / count as f64)).collect()
}

/// Where the mass is.
fn place(sensor: &Sensor, at: &[String]) -> Result<[f64; 6]> {
    let mut place = [0.0; 6];
    if at.is_empty() {
        for axis in sensor.axes() {
            place[*axis] = if *axis < 3 { 1e-5 } else { 1e-4 };
        }
        return Ok(place);
    }
    for text in at {
        let known: Vec<&str> = sensor.axes().iter().map(|a| AXES[*a].1).collect();
        let fault = |what: &str| Error::new(format!("--at {text}: {what}"));
        let (name, value) = text.split_once('=').ok_or_else(|| fault("allowed COLUMN=VALUE"))?;
        let Some(axis) = sensor.axes().iter().find(|a| AXES[**a].1 == name) else {
            let hint = nearest(name, known.iter().copied())
                .map_or(String::new(), |n| format!("; nearest: {n}"));
            return Err(fault(&format!(
                "no axis of that name, allowed {}{hint}",
                known.join(", ")
            )));
        };
        let value: f64 = value.parse().map_err(|_| fault("the value is no number"))?;
        place[*axis] = in_range(&format!("--at {name}"), value, -1.0, 1.0)?;
    }
    Ok(place)
}

/// All that a run found.
pub(super) struct Found {
    pub sensor: Sensor,
    pub budget: Budget,
    pub band: [f64; 2],
    pub place: [f64; 6],
    pub trials: Vec<Trial>,
    pub recorded: Vec<Recorded>,
    pub torque: Option<Recorded>,
    pub against: Vec<Against>,
}

/// The noise figure of the demo: a sensor's budget, a record of hours and a requirement.
///
/// # Errors
/// A record or requirement that cannot be read.
pub(super) fn of_demo(sensor: &Sensor, record: &Path, requirement: &Path) -> Result<Found> {
    let place = [0.0; 6];
    let (recorded, torque) = beside(sensor, record, place, 0.95)?;
    let budget = predict(sensor, &grid(1e-4, sensor.output_rate_hz() / 2.0), place);
    Ok(Found {
        sensor: sensor.clone(),
        budget,
        band: [3e-4, 3e-3],
        place,
        trials: Vec::new(),
        recorded,
        torque,
        against: vec![Against::read(requirement)?],
    })
}
