//! `quietgap verify`.

use super::{PlantOptions, frames, print_json, progress, run_length, say};
use crate::error::Result;
use crate::instrument::Sensor;
use crate::readout::capture::Capture;
use crate::readout::run::Source;
use crate::readout::verify::verify;
use crate::simulation::motion::Motion;
use crate::simulation::scenario;
use clap::Args;
use std::path::PathBuf;

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file, or the name of a built-in sensor
    sensor: String,
    /// Motion of the mass; the vault's own scenario when absent
    #[arg(long, value_name = "FILE", conflicts_with = "capture")]
    motion: Option<PathBuf>,
    /// A recorded capture instead of a simulated one: no truth, only the twin
    #[arg(long, value_name = "FILE", conflicts_with_all = ["seconds", "noise", "without", "seed"])]
    capture: Option<PathBuf>,
    /// Length of the run [default: the motion's own, or 20]
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    seconds: Option<f64>,
    #[command(flatten)]
    plant: PlantOptions,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let sensor = Sensor::load(&options.sensor)?;
    let seed = options.plant.seed;
    let findings = if let Some(path) = &options.capture {
        let bits = sensor.file.converter.bits;
        let capture = Capture::open(path, sensor.channels(), bits, sensor.rate_hz())?;
        let bar = progress(capture.layout.frames);
        let source = Source::Capture(&capture);
        let done = verify(&sensor, source, None, seed, false, |done| bar.set_position(done));
        bar.finish_and_clear();
        done?
    } else {
        let (motion, count) = match &options.motion {
            Some(path) => {
                let motion = Motion::read(path)?;
                let (seconds, origin) = run_length(options.seconds, &motion, path);
                (motion, frames(&sensor, seconds, &origin)?)
            }
            None => {
                let seconds = options.seconds.unwrap_or(20.0);
                let count = frames(&sensor, seconds, "--seconds")?;
                (scenario::vault(&sensor, seconds, seed), count)
            }
        };
        let plant = options.plant.plant(&sensor, motion.clone())?;
        let bar = progress(count);
        let source = Source::Plant(Box::new(plant), count);
        let done =
            verify(&sensor, source, Some(&motion), seed, false, |done| bar.set_position(done));
        bar.finish_and_clear();
        done?
    };
    if options.json {
        print_json(&findings.json(&sensor, "verify"));
    }
    let mut text = findings.table();
    if findings.axes.iter().any(|a| a.vs_ideal.is_empty()) {
        text += "MISSED: no settled reading to judge; the capture is shorter than the filters\n";
    }
    say(options.json, &text);
    Ok(findings.pass())
}
