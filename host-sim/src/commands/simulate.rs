//! `quietgap simulate`.

use super::{PlantOptions, distinct, frames, print_json, progress, run_length, say, sensor_files};
use crate::error::Result;
use crate::instrument::{AXES, Sensor};
use crate::page::output::AtomicFile;
use crate::readout::capture::npy;
use crate::readout::run::{Source, feed};
use crate::simulation::motion::Motion;
use clap::Args;
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file, or the name of a built-in sensor
    sensor: String,
    /// Motion of the mass: CSV with t_s and any of x_m, y_m, z_m, theta_rad, eta_rad, phi_rad
    #[arg(long, value_name = "FILE")]
    motion: PathBuf,
    /// Capture to write (npy, int32)
    #[arg(long, value_name = "CAPTURE")]
    out: PathBuf,
    /// Also write the motion at the instants of the readings
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// Length of the run; the motion's own when absent
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    seconds: Option<f64>,
    #[command(flatten)]
    plant: PlantOptions,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let started = std::time::Instant::now();
    let sensor = Sensor::load(&options.sensor)?;
    let motion = Motion::read(&options.motion)?;
    let files = sensor_files(&options.sensor, &sensor);
    let mut inputs: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    inputs.push(&options.motion);
    let outputs: Vec<&Path> =
        std::iter::once(&options.out).chain(&options.truth).map(PathBuf::as_path).collect();
    distinct(&inputs, &outputs)?;
    let (seconds, origin) = run_length(options.seconds, &motion, &options.motion);
    let count = frames(&sensor, seconds, &origin)?;
    let plant = options.plant.plant(&sensor, motion.clone())?;
    let channels = sensor.channels();
    let mut out = AtomicFile::create(&options.out)?;
    let truth = options.truth.as_ref().map(|path| write_truth(path, &sensor, &motion, count));
    let truth = truth.transpose()?;
    out.write(|file| npy::write_header(file, count, channels))?;
    let bar = progress(count);
    let mut failure = Ok(());
    feed(
        Source::Plant(Box::new(plant), count),
        channels,
        |block| {
            if failure.is_ok() {
                failure = out.write(|file| npy::write_codes(file, block));
            }
        },
        |done| bar.set_position(done),
    )?;
    failure?;
    bar.finish_and_clear();
    out.finish()?;
    truth.map(AtomicFile::finish).transpose()?;
    let wall_s = started.elapsed().as_secs_f64();
    if options.json {
        print_json(&json!({
            "schema": 1, "command": "simulate", "sensor": sensor.file.name, "samples": count,
            "channels": channels, "rate_hz": sensor.rate_hz(), "seed": options.plant.seed, "wall_s": wall_s,
        }));
    }
    let text = format!(
        "{}: {count} samples of {channels} channels in {wall_s:.2} s\n",
        options.out.display()
    );
    say(options.json, &text);
    Ok(true)
}

/// Motion at the instants of all settled readings of a capture of `count` frames.
fn write_truth(
    path: &std::path::Path,
    sensor: &Sensor,
    motion: &Motion,
    count: u64,
) -> Result<AtomicFile> {
    let mut file = AtomicFile::create(path)?;
    let columns: Vec<&str> = sensor.axes().iter().map(|a| AXES[*a].1).collect();
    file.write(|out| writeln!(out, "t_s,{}", columns.join(",")))?;
    let (span, interval) = (sensor.settings.span(), sensor.settings.interval());
    let delay = sensor.settings.delay_half_samples();
    for n in 1..=count / interval {
        let end = n * interval;
        if end < span {
            continue;
        }
        let half_samples = 2 * (end as i64 - 1) - delay as i64;
        let t = half_samples as f64 / (2.0 * sensor.rate_hz());
        let q = motion.at(t);
        file.write(|out| {
            write!(out, "{t}")?;
            for axis in sensor.axes() {
                write!(out, ",{:e}", q[*axis])?;
            }
            writeln!(out)
        })?;
    }
    Ok(file)
}
