//! `quietgap verify`.

use super::{
    PlantOptions, Words, frames, print_json, progress, run_length, say, unchanging_text, wanted,
};
use clap::Args;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::capture::Capture;
use quietgap_sim::readout::run::Source;
use quietgap_sim::readout::verify::verify;
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::scenario;
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
    /// Words of a capture without a header; or 16-bit npy that holds a wider converter's codes
    #[arg(long, value_enum, requires = "capture")]
    words: Option<Words>,
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
    let mut unchanging = Vec::new();
    let findings = if let Some(path) = &options.capture {
        let capture = Capture::open(path, wanted(&sensor, options.words))?;
        let (span, interval) = (sensor.settings.span(), sensor.settings.interval());
        let least = span.next_multiple_of(interval);
        let given = capture.layout.frames;
        if given < least {
            let message = format!("{given} samples, a reading to judge by takes {least}");
            return Err(Error::in_file(path, None, message));
        }
        unchanging = capture.unchanging()?;
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
        let mut object = findings.json(&sensor, "verify");
        if !unchanging.is_empty() {
            object["unchanging_channels"] = unchanging.clone().into();
        }
        print_json(&object);
    }
    say(options.json, &(findings.table() + &unchanging_text(&unchanging)));
    Ok(findings.pass() && unchanging.is_empty())
}
