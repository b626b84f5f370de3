//! `quietgap simulate`.

use super::{
    PlantOptions, Switch, distinct, frames, print_json, progress, run_length, say, sensor_files,
};
use clap::{Args, ValueEnum};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::{AXES, Sensor};
use quietgap_sim::output::AtomicFile;
use quietgap_sim::readout::capture::npy;
use quietgap_sim::readout::readings::{self, Writer};
use quietgap_sim::readout::run::{Source, feed};
use quietgap_sim::records::TIME;
use quietgap_sim::records::write::{self, Cell, Kind};
use quietgap_sim::simulation::interferometer::{Between, Detectors, Noise, Scene};
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::phasor::experiment::Experiment;
use quietgap_sim::simulation::phasor::outside::Values;
use quietgap_sim::simulation::phasor::swing::{Mover, Swinging};
use quietgap_sim::simulation::phasor::{Simulation, step_hz};
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file, or the name of a built-in sensor
    sensor: String,
    /// Converter codes of every sample, or readings of long runs without the carrier
    #[arg(long, value_enum, default_value = "carrier")]
    level: Level,
    /// Motion of the mass: CSV with t_s and any of x_m, y_m, z_m, theta_rad, eta_rad, phi_rad; at the phasor
    /// level the sensor's pendulum swings when absent
    #[arg(long, value_name = "FILE", required_if_eq("level", "carrier"))]
    motion: Option<PathBuf>,
    /// Capture to write (npy, int32); readings at the phasor level (CSV, npy or Parquet)
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Also write the motion at the instants of the readings
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// Drives of an experiment, TOML with [[drive]]; at the phasor level
    #[arg(long, value_name = "FILE")]
    drives: Option<PathBuf>,
    /// Also write what auxiliary sensors read: temperatures, tilt, intensity, drives; at the phasor level
    #[arg(long, value_name = "FILE")]
    auxiliary: Option<PathBuf>,
    /// Also write the record of the interferometer's detectors, npy int32
    #[arg(long, value_name = "FILE")]
    detectors: Option<PathBuf>,
    /// Length of the run; the motion's own when absent
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    seconds: Option<f64>,
    /// Angle that the pendulum starts at, at rest
    #[arg(long, value_name = "RAD", default_value_t = 1e-6, allow_negative_numbers = true)]
    start_rad: f64,
    #[command(flatten)]
    plant: PlantOptions,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

/// How much of the readout is simulated.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum Level {
    /// Every sample of the converter.
    Carrier,
    /// Demodulated amplitudes, near the rate of the readings.
    Phasor,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let started = std::time::Instant::now();
    let sensor = Sensor::load(&options.sensor)?;
    let motion = options.motion.as_deref().map(Motion::read).transpose()?;
    let files = sensor_files(&options.sensor, &sensor);
    let given = files.iter().chain(&options.motion).chain(&options.drives);
    let inputs: Vec<&Path> = given.map(PathBuf::as_path).collect();
    let outputs: Vec<&Path> = std::iter::once(&options.out)
        .chain(&options.truth)
        .chain(&options.detectors)
        .chain(&options.auxiliary)
        .map(PathBuf::as_path)
        .collect();
    distinct(&inputs, &outputs)?;
    if options.level == Level::Phasor {
        return readings(options, &sensor, motion);
    }
    for (name, given) in [("--drives", &options.drives), ("--auxiliary", &options.auxiliary)] {
        if given.is_some() {
            return Err(Error::new(format!("{name}: allowed with --level phasor")));
        }
    }
    let (Some(motion), Some(path)) = (motion, &options.motion) else {
        return Err(Error::new("--motion: wanted at the carrier's level"));
    };
    let (seconds, origin) = run_length(options.seconds, &motion, path);
    let count = frames(&sensor, seconds, &origin)?;
    let plant = options.plant.plant(&sensor, motion.clone())?;
    let channels = sensor.channels();
    let mut out = AtomicFile::create(&options.out)?;
    let light = options
        .detectors
        .as_deref()
        .map(|path| light(path, options, &sensor, &motion, seconds))
        .transpose()?;
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
    light.map(AtomicFile::finish).transpose()?;
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

/// The record of the interferometer's detectors over a run, the mass moved as a motion says.
fn light(
    path: &Path,
    options: &Options,
    sensor: &Sensor,
    motion: &Motion,
    seconds: f64,
) -> Result<AtomicFile> {
    let (mut file, mut detectors) = detectors(path, options, sensor)?;
    let rate_hz = detectors.rate_hz();
    let channels = detectors.channels();
    let frames = (seconds * rate_hz).round() as u64;
    file.write(|out| npy::write_header(out, frames, channels))?;
    let mut codes = Vec::new();
    for _ in 0..frames {
        let pose = motion.at(detectors.time_s());
        detectors.frame(&Scene { pose, ..Scene::default() }, &mut codes);
        if codes.len() >= BLOCK {
            file.write(|out| npy::write_codes(out, &codes))?;
            codes.clear();
        }
    }
    file.write(|out| npy::write_codes(out, &codes))?;
    Ok(file)
}

/// Codes written at a time.
const BLOCK: usize = 1 << 16;

/// A file for the detectors, and what fills it.
fn detectors(path: &Path, options: &Options, sensor: &Sensor) -> Result<(AtomicFile, Detectors)> {
    let interferometer = sensor.file.interferometer.as_ref().ok_or_else(|| {
        Error::new(format!("--detectors: {} has no [interferometer]", sensor.file.name))
    })?;
    let noise = if options.plant.noise == Switch::On { Noise::All } else { Noise::None };
    let detectors = Detectors::new(interferometer, noise, options.plant.seed);
    Ok((AtomicFile::create(path)?, detectors))
}

/// Longest run without the carrier: three years.
const LONGEST_S: f64 = 1e8;

/// Readings of the phasor level.
fn readings(options: &Options, sensor: &Sensor, motion: Option<Motion>) -> Result<bool> {
    let started = std::time::Instant::now();
    let (parts, disturbances) = options.plant.switched(true)?;
    let seconds = match (options.seconds, &motion) {
        (Some(seconds), _) => seconds,
        (None, Some(motion)) => motion.end_s(),
        (None, None) => return Err(Error::new("--seconds: wanted where no motion file tells it")),
    };
    let least = 10.0 / sensor.output_rate_hz();
    super::record::in_range("--seconds", seconds, least, LONGEST_S)?;
    super::record::in_range("--start-rad", options.start_rad, -0.1, 0.1)?;
    let seed = options.plant.seed;
    let experiment = options.drives.as_deref().map(Experiment::read).transpose()?;
    let mover = match motion {
        Some(_) if experiment.is_some() || options.auxiliary.is_some() => {
            return Err(Error::new(
                "--drives, --auxiliary: allowed without --motion, where the sensor's pendulum swings",
            ));
        }
        Some(motion) => Mover::file(motion),
        None => {
            let step_hz = step_hz(sensor);
            let swing =
                Swinging::new(sensor, [options.start_rad, 0.0], disturbances, step_hz, seed);
            let swing = swing.ok_or_else(|| {
                let name = &sensor.file.name;
                Error::new(format!("{name} has no [pendulum]: allowed with --motion"))
            })?;
            Mover::Swing(Box::new(swing.with(experiment.unwrap_or_default())))
        }
    };
    let mut simulation = Simulation::new(sensor, mover, parts, seed)?;
    let path = options.detectors.as_deref();
    let mut light = path.map(|path| detectors(path, options, sensor)).transpose()?;
    if let Some((file, detectors)) = &mut light {
        let channels = detectors.channels();
        file.write(|out| npy::write_header(out, 0, channels))?;
        simulation.watch();
    }
    let (mut between, mut codes, mut frames) = (Between::default(), Vec::new(), 0u64);
    let mut writer = Writer::create(&options.out, sensor)?;
    let columns: Vec<(String, Kind)> = std::iter::once((TIME.to_owned(), Kind::Plain))
        .chain(sensor.axes().iter().map(|a| (AXES[*a].1.to_owned(), Kind::Number)))
        .collect();
    let truth = options.truth.as_ref();
    let truth = truth.map(|path| write::Writer::create(path, &columns, &readings::meta(sensor)));
    let mut truth = truth.transpose()?;
    let mut beside = auxiliary(options, sensor, &mut simulation)?;
    let count = (seconds * sensor.output_rate_hz()) as u64;
    let bar = progress(count);
    let (mut rows, mut faults) = (0u64, 0u64);
    loop {
        let (row, pose) = simulation.reading();
        if let Some((file, detectors)) = &mut light {
            simulation.watched().for_each(|(t, scene)| between.push(t, scene));
            between.follow(detectors, &mut codes);
            frames += (codes.len() / detectors.channels()) as u64;
            file.write(|out| npy::write_codes(out, &codes))?;
            codes.clear();
        }
        let t = row.time_s(sensor.rate_hz());
        if t > seconds {
            break;
        }
        writer.push(&row)?;
        if let Some(truth) = &mut truth {
            let axes = sensor.axes().iter().map(|a| Cell::Number(pose[*a]));
            truth.push(&std::iter::once(Cell::Number(t)).chain(axes).collect::<Vec<_>>())?;
        }
        if let (Some(file), Some(values)) = (&mut beside, simulation.beside()) {
            let values = values.map(Cell::Number);
            file.push(&std::iter::once(Cell::Number(t)).chain(values).collect::<Vec<_>>())?;
        }
        faults += u64::from(row.health != quietgap_core::Health::OK);
        rows += 1;
        if rows.is_multiple_of(1024) {
            bar.set_position(rows);
        }
    }
    bar.finish_and_clear();
    if let Some((mut file, detectors)) = light {
        let channels = detectors.channels();
        file.write(|out| {
            std::io::Seek::seek(out, std::io::SeekFrom::Start(0))?;
            npy::write_header(out, frames, channels)
        })?;
        file.finish()?;
    }
    writer.finish()?;
    truth.map_or(Ok(()), write::Writer::finish)?;
    beside.map_or(Ok(()), write::Writer::finish)?;
    let wall_s = started.elapsed().as_secs_f64();
    if options.json {
        print_json(&json!({
            "schema": 1, "command": "simulate", "level": "phasor", "sensor": sensor.file.name, "rows": rows,
            "flagged": faults, "output_rate_hz": sensor.output_rate_hz(), "seed": seed, "wall_s": wall_s,
        }));
    }
    let text =
        format!("{}: {rows} readings, {faults} flagged, in {wall_s:.2} s\n", options.out.display());
    say(options.json, &text);
    Ok(true)
}

/// A file for what auxiliary sensors read, where one is wanted.
fn auxiliary(
    options: &Options,
    sensor: &Sensor,
    simulation: &mut Simulation,
) -> Result<Option<write::Writer>> {
    let Some(path) = &options.auxiliary else { return Ok(None) };
    simulation.look_beside();
    let values = Values::COLUMNS.iter().map(|name| ((*name).to_owned(), Kind::Number));
    let columns: Vec<(String, Kind)> =
        std::iter::once((TIME.to_owned(), Kind::Plain)).chain(values).collect();
    write::Writer::create(path, &columns, &readings::meta(sensor)).map(Some)
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
