//! `quietgap torque`.

mod show;

use super::outputs::Outputs;
use super::record::RecordOptions;
use super::sensor_files;
use clap::Args;
use quietgap_sim::analysis::density::{Density, Detrend};
use quietgap_sim::analysis::log_spaced::{self, Weighing, Wish, pitches};
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::window::Window;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::filter::response::Response;
use quietgap_sim::instrument::{AXES, Sensor};
use quietgap_sim::pendulum::Pendulum;
use quietgap_sim::pendulum::swing::{self, Swing};
use quietgap_sim::pendulum::torque::{Coefficients, torques};
use quietgap_sim::readout::readings;
use quietgap_sim::records::Record;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file with a [pendulum], or the name of a built-in sensor
    sensor: String,
    #[command(flatten)]
    record: RecordOptions,
    /// Period and damping of the sensor file, and not those that the record shows
    #[arg(long)]
    as_designed: bool,
    /// Densities of torque and equivalent acceleration to write
    #[arg(long, value_name = "FILE")]
    density: Option<PathBuf>,
    #[command(flatten)]
    outputs: Outputs,
}

/// What was found.
struct Found {
    pendulum: Pendulum,
    swing: Option<Swing>,
    measured: bool,
    coefficients: Coefficients,
    density: Density,
    /// Passband of the plan: torque is told up to here.
    pass_hz: f64,
    rate_hz: f64,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let sensor = Sensor::load(&options.sensor)?;
    let pendulum = Pendulum::new(&sensor.file).ok_or_else(|| {
        Error::new(format!("{}: has no [pendulum], wanted for torque", sensor.file.name))
    })?;
    let files = sensor_files(&options.sensor, &sensor);
    let mut inputs: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    inputs.push(&options.record.file);
    let beside: Vec<&Path> = options.density.iter().map(PathBuf::as_path).collect();
    options.outputs.check(&inputs, &beside)?;
    let source = options.record.open()?;
    let column = match options.record.column.as_slice() {
        [] => AXES[pendulum.axis].1.to_owned(),
        [one] => one.clone(),
        _ => return Err(Error::new("--column: allowed once, the angle that swings")),
    };
    let record = options.record.read(&source, std::slice::from_ref(&column))?;
    let series = record.series(0);
    let swing = swing::fit(&series, pendulum.period_s());
    let measured = swing.as_ref().filter(|_| !options.as_designed);
    let inertia = pendulum.inertia;
    let coefficients = match measured {
        Some(s) => Coefficients {
            inertia,
            damping: s.damping.value.max(0.0) * inertia,
            stiffness: s.stiffness.value * inertia,
        },
        None => pendulum.coefficients(),
    };
    let (torque, runs) = torques(&series, coefficients);
    let torque = Series { values: &torque, runs, rate_hz: record.rate_hz };
    let response = Response::new(&sensor.plan, sensor.rate_hz());
    let pass_hz = sensor
        .plan
        .mask
        .as_ref()
        .map_or(0.3 * record.rate_hz, |mask| mask.pass_hz)
        .min(record.rate_hz / 2.0);
    let density = density(&torque, &response, pass_hz, options, &record)?;
    let found = Found {
        measured: measured.is_some(),
        swing,
        coefficients,
        density,
        pass_hz,
        rate_hz: record.rate_hz,
        pendulum,
    };
    let confidence = options.outputs.confidence;
    if let Some(path) = &options.density {
        found.write_density(path, &sensor, confidence)?;
    }
    options.outputs.finish(
        |out| write_torque(out, &sensor, &record, &torque, &found),
        || found.html(&sensor, confidence),
        || found.json(&sensor, &record, confidence),
        &found.text(&record),
    )?;
    Ok(true)
}

/// Torque density, with what the plan's passband takes put back.
fn density(
    torque: &Series<'_>,
    response: &Response,
    pass_hz: f64,
    options: &Options,
    record: &Record,
) -> Result<Density> {
    let window = Window::named("kaiser-4").expect("one of the table");
    let (longest, rate) = (torque.longest(), record.rate_hz);
    let lobe = window.lobe_bins();
    let from_hz = lobe * rate / longest.max(1) as f64;
    if from_hz * 4.0 > pass_hz {
        let seconds = longest as f64 / rate;
        let message = format!(
            "its longest stretch without a gap is {seconds} s: too short for a torque density"
        );
        return Err(Error::in_file(&options.record.file, None, message));
    }
    let overlap = window.overlap;
    let wish = Wish { from_hz, to_hz: pass_hz, count: 300, averages: 50, overlap, lobe };
    let grid = pitches(longest, rate, &wish);
    let weighing = Weighing { window, overlap, detrend: Detrend::Mean };
    let mut density = log_spaced::auto(torque, &grid, weighing);
    for (bin, power) in density.bins.iter().zip(&mut density.power) {
        *power /= response.gain_at(bin.frequency_hz).powi(2).max(1e-12);
    }
    Ok(density)
}

/// Rows with times as the record's.
fn write_torque(
    path: &Path,
    sensor: &Sensor,
    record: &Record,
    torque: &Series<'_>,
    found: &Found,
) -> Result<()> {
    let mut meta = readings::meta(sensor);
    meta.set("torque", found.manner());
    let columns = [
        ("t_s", Kind::Plain),
        ("torque_n_m", Kind::Number),
        ("acceleration_m_per_s2", Kind::Number),
    ]
    .map(|(name, kind)| (name.to_owned(), kind));
    let mut writer = Writer::create(path, &columns, &meta)?;
    for run in &torque.runs {
        let inside = |(whole, _): &(&std::ops::Range<usize>, &f64)| whole.contains(&run.start);
        let (whole, start_s) =
            record.runs.iter().zip(&record.starts_s).find(inside).expect("within a run");
        for k in run.clone() {
            let t = start_s + (k - whole.start) as f64 / record.rate_hz;
            let value = torque.values[k];
            let acceleration = found.pendulum.acceleration(value);
            writer.push(&[Cell::Number(t), Cell::Number(value), Cell::Number(acceleration)])?;
        }
    }
    writer.finish()
}
