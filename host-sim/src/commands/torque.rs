//! `quietgap torque`.

use super::record::{RecordOptions, in_range};
use super::{distinct, print_json, say, sensor_files};
use crate::analysis::density::{Density, Detrend};
use crate::analysis::log_spaced::{self, Weighing, Wish, pitches};
use crate::analysis::series::Series;
use crate::analysis::window::Window;
use crate::error::{Error, Result};
use crate::filter::response::Response;
use crate::instrument::{AXES, Sensor};
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::output::AtomicFile;
use crate::page::report::{BLUE, GREEN, ORANGE, figure, page};
use crate::pendulum::Pendulum;
use crate::pendulum::swing::{self, Measured, Swing};
use crate::pendulum::torque::{Coefficients, acceleration_error, torques};
use crate::readout::readings;
use crate::records::Record;
use crate::records::write::{Cell, Kind, Writer};
use clap::Args;
use maud::html;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::Write as _;
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
    /// Probability that intervals hold the true value
    #[arg(long, value_name = "P", default_value_t = 0.95, allow_negative_numbers = true)]
    confidence: f64,
    /// Torque and equivalent acceleration in time to write: CSV, npy or Parquet
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Densities of torque and equivalent acceleration to write
    #[arg(long, value_name = "FILE")]
    density: Option<PathBuf>,
    /// Page with figures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
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
    in_range("--confidence", options.confidence, 0.01, 0.9999)?;
    let sensor = Sensor::load(&options.sensor)?;
    let pendulum = Pendulum::new(&sensor.file).ok_or_else(|| {
        Error::new(format!("{}: has no [pendulum], wanted for torque", sensor.file.name))
    })?;
    let files = sensor_files(&options.sensor, &sensor);
    let mut inputs: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    inputs.push(&options.record.file);
    let outputs: Vec<&Path> = options
        .out
        .iter()
        .chain(&options.density)
        .chain(&options.report)
        .map(PathBuf::as_path)
        .collect();
    distinct(&inputs, &outputs)?;
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
        None => Coefficients {
            inertia,
            damping: pendulum.fibre_damping() + pendulum.damping,
            stiffness: pendulum.stiffness(),
        },
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
    let page = options.report.as_deref().map(AtomicFile::create).transpose()?;
    if let Some(out) = &options.out {
        write_torque(out, &sensor, &record, &torque, &found)?;
    }
    if let Some(path) = &options.density {
        found.write_density(path, &sensor, options.confidence)?;
    }
    if let Some(mut page) = page {
        let text = found.html(&sensor, options.confidence);
        page.write(|file| file.write_all(text.as_bytes()))?;
        page.finish()?;
    }
    if options.json {
        print_json(&found.json(&sensor, &record, options.confidence));
    }
    let to_standard = outputs.iter().any(|path| *path == Path::new("-"));
    say(options.json || to_standard, &found.text(&record));
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

fn measured_text(m: &Measured) -> String {
    format!("{:.6e} +- {:.1e}", m.value, m.uncertainty)
}

fn measured_json(m: &Measured) -> Value {
    json!({ "value": m.value, "uncertainty": m.uncertainty })
}

impl Found {
    fn manner(&self) -> String {
        let whose = if self.measured { "measured in the record" } else { "of the sensor file" };
        let Coefficients { inertia, damping, stiffness } = self.coefficients;
        format!(
            "T = I a + b v + kappa x with I = {inertia:.4e} kg m^2, b = {damping:.4e} N m s, kappa = {stiffness:.6e} \
             N m/rad {whose}; derivatives by five values, in error by {:.1e} at {} Hz",
            acceleration_error(self.pass_hz, self.rate_hz),
            self.pass_hz
        )
    }

    /// Period and whether it agrees with the file's.
    fn swing_text(&self) -> String {
        let p = &self.pendulum;
        let Some(s) = &self.swing else {
            return format!(
                "no free swing can be told (six periods of {:.1} s without a gap are wanted)\n",
                p.period_s()
            );
        };
        let apart = s.period_s.value / p.period_s() - 1.0;
        let told = if apart.abs() > 0.01 {
            ": the file's stiffness or inertia is not that of the record"
        } else {
            ""
        };
        format!(
            "free swing: period {} s (file {:.3} s, {:+.2} % apart{told}), Q {} (file {:.0}), amplitude {} rad, phase \
             {} rad at the first row; standard uncertainties\n",
            measured_text(&s.period_s),
            p.period_s(),
            apart * 100.0,
            measured_text(&s.quality),
            p.whole_quality(),
            measured_text(&s.amplitude),
            measured_text(&s.phase_rad)
        )
    }

    fn thermal(&self, f: f64) -> f64 {
        self.pendulum.fibre_noise(f).hypot(self.pendulum.viscous_noise(self.pendulum.damping))
    }

    fn text(&self, record: &Record) -> String {
        let left_out = record.left_out.text();
        let mut text = format!("{}\n{}", self.manner(), self.swing_text());
        if !left_out.is_empty() {
            let _ = writeln!(text, "{left_out}");
        }
        let _ =
            writeln!(text, "  frequency    torque N m/rtHz  thermal    acceleration m/s^2/rtHz");
        let mut next = 0.0;
        for (bin, power) in self.density.bins.iter().zip(&self.density.power) {
            let f = bin.frequency_hz;
            if f < next {
                continue;
            }
            next = f * 10f64.sqrt();
            let torque = power.sqrt();
            let _ = writeln!(
                text,
                "  {f:>10.3e} Hz  {torque:>10.3e}  {:>10.3e}  {:>10.3e}",
                self.thermal(f),
                self.pendulum.acceleration(torque)
            );
        }
        text
    }

    fn json(&self, sensor: &Sensor, record: &Record, confidence: f64) -> Value {
        let p = &self.pendulum;
        let interval = self.density.amplitude_interval(confidence);
        let swing = self.swing.as_ref().map(|s| {
            json!({
                "period_s": measured_json(&s.period_s), "quality": measured_json(&s.quality),
                "amplitude_rad": measured_json(&s.amplitude), "phase_rad": measured_json(&s.phase_rad),
                "drive_density_per_s2_per_rthz": s.drive_density,
            })
        });
        json!({
            "schema": 1, "command": "torque", "sensor": sensor.file.name, "rate_hz": record.rate_hz,
            "seconds": record.seconds(), "stretches": record.runs.len(),
            "left_out": {
                "flagged": record.left_out.flagged, "missing": record.left_out.missing, "gaps": record.left_out.gaps,
            },
            "file": {
                "period_s": p.period_s(), "quality": p.whole_quality(), "stiffness_n_m": p.stiffness(),
                "fibre_n_m": p.fibre, "tension_n_m": p.tension, "electrostatic_n_m": p.electrostatic,
                "inertia_kg_m2": p.inertia,
            },
            "swing": swing, "measured": self.measured,
            "inertia_kg_m2": self.coefficients.inertia, "damping_n_m_s": self.coefficients.damping,
            "stiffness_n_m": self.coefficients.stiffness, "pass_hz": self.pass_hz,
            "acceleration_error": acceleration_error(self.pass_hz, self.rate_hz), "confidence": confidence,
            "frequency_hz": self.density.frequencies().collect::<Vec<_>>(),
            "torque_asd": self.density.amplitude(),
            "low": interval.iter().map(|i| i[0]).collect::<Vec<_>>(),
            "high": interval.iter().map(|i| i[1]).collect::<Vec<_>>(),
            "thermal_asd": self.density.frequencies().map(|f| self.thermal(f)).collect::<Vec<_>>(),
            "acceleration_asd": self.density.amplitude().iter().map(|t| p.acceleration(*t)).collect::<Vec<_>>(),
        })
    }

    fn write_density(&self, path: &Path, sensor: &Sensor, confidence: f64) -> Result<()> {
        let mut meta = readings::meta(sensor);
        meta.set("torque", self.manner());
        let names = [
            "frequency_hz",
            "torque_n_m_asd",
            "torque_n_m_low",
            "torque_n_m_high",
            "acceleration_m_per_s2_asd",
            "thermal_n_m_asd",
        ];
        let columns = names.map(|name| (name.to_owned(), Kind::Number));
        let mut writer = Writer::create(path, &columns, &meta)?;
        let interval = self.density.amplitude_interval(confidence);
        for ((bin, torque), [low, high]) in
            self.density.bins.iter().zip(self.density.amplitude()).zip(interval)
        {
            let f = bin.frequency_hz;
            let row = [f, torque, low, high, self.pendulum.acceleration(torque), self.thermal(f)];
            writer.push(&row.map(Cell::Number))?;
        }
        writer.finish()
    }

    fn html(&self, sensor: &Sensor, confidence: f64) -> String {
        let interval = self.density.amplitude_interval(confidence);
        let at = |values: Vec<f64>| -> Vec<(f64, f64)> {
            self.density.frequencies().zip(values).collect()
        };
        let curve = |label: &str, colour, points| Curve { label: label.to_owned(), colour, points };
        let grey = (120, 120, 120);
        let torque = Figure {
            title: "torque noise".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: "density / (N m/rtHz)".to_owned(),
            scale: Scale::LogLog,
            curves: vec![
                curve("interval, low", grey, at(interval.iter().map(|i| i[0]).collect())),
                curve("interval, high", grey, at(interval.iter().map(|i| i[1]).collect())),
                curve("torque", BLUE, at(self.density.amplitude())),
                curve(
                    "thermal",
                    ORANGE,
                    at(self.density.frequencies().map(|f| self.thermal(f)).collect()),
                ),
            ],
        };
        let acceleration = Figure {
            title: "equivalent acceleration of one mass".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: "density / (m/s²/rtHz)".to_owned(),
            scale: Scale::LogLog,
            curves: vec![curve(
                "acceleration",
                GREEN,
                at(self
                    .density
                    .amplitude()
                    .iter()
                    .map(|t| self.pendulum.acceleration(*t))
                    .collect()),
            )],
        };
        let body = html! {
            h1 { (sensor.file.name) ": torque" }
            p { (self.swing_text()) }
            (figure(&torque, &format!("{}. Kaiser-Bessel window, a segment length for each frequency.", self.manner())))
            (figure(&acceleration, "Torque over arm and mass."))
        };
        page(&format!("quietgap: {}, torque", sensor.file.name), &body)
    }
}
