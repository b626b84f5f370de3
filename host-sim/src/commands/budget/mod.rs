//! `quietgap budget`.

mod page;

use super::record::in_range;
use super::spectrum::against::Against;
use super::{distinct, print_json, progress, say, sensor_files};
use crate::analysis::density::Detrend;
use crate::analysis::log_spaced::{self, Weighing, Wish, pitches};
use crate::analysis::series::Series;
use crate::analysis::window::Window;
use crate::budget::measure::{self, Trial, Trials};
use crate::budget::{Budget, Enters, gain_of_halving, predict};
use crate::error::{Error, Result, nearest};
use crate::instrument::{AXES, Sensor};
use crate::page::output::AtomicFile;
use crate::pendulum::Pendulum;
use crate::pendulum::torque::{Coefficients, torques};
use crate::readout::readings;
use crate::records::Source;
use crate::records::write::{Cell, Kind, Writer};
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::Write as _;
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
    /// Probability that intervals hold the true value
    #[arg(long, value_name = "P", default_value_t = 0.95, allow_negative_numbers = true)]
    confidence: f64,
    /// Densities to write: CSV, npy or Parquet
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Page with figures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

/// Frequencies a decade.
const PER_DECADE: f64 = 20.0;

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--confidence", options.confidence, 0.01, 0.9999)?;
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
    let outputs: Vec<&Path> =
        options.out.iter().chain(&options.report).map(PathBuf::as_path).collect();
    distinct(&inputs, &outputs)?;
    let against =
        options.against.iter().map(|path| Against::read(path)).collect::<Result<Vec<_>>>()?;
    let budget = predict(&sensor, &grid(options.from_hz, to_hz), place);
    let trials = if options.measure {
        let trials = Trials {
            carrier_s: options.seconds,
            phasor_s: 100.0 * options.seconds,
            confidence: options.confidence,
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
        Some(path) => recorded(&sensor, path, place, options.confidence)?,
        None => (Vec::new(), None),
    };
    let found = Found { sensor, budget, band, place, trials, recorded, torque, against };
    let page = options.report.as_deref().map(AtomicFile::create).transpose()?;
    if let Some(out) = &options.out {
        found.write(out)?;
    }
    if let Some(mut page) = page {
        let text = found.html();
        page.write(|file| file.write_all(text.as_bytes()))?;
        page.finish()?;
    }
    if options.json {
        print_json(&found.json());
    }
    let to_standard = options.out.as_deref() == Some(Path::new("-"));
    say(options.json || to_standard, &found.text());
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

/// A recorded density beside its prediction.
pub(super) struct Recorded {
    pub axis: usize,
    pub frequency_hz: Vec<f64>,
    pub measured: Vec<f64>,
    pub interval: Vec<[f64; 2]>,
    pub predicted: Vec<f64>,
}

impl Recorded {
    /// What is left beyond the prediction where the whole interval lies above it.
    pub fn unexplained(&self) -> Vec<Option<f64>> {
        let each = self.measured.iter().zip(&self.interval).zip(&self.predicted);
        each.map(|((m, [low, _]), p)| (low > p).then(|| (m * m - p * p).max(0.0).sqrt())).collect()
    }
}

/// Every axis of a record, and the torque of the one that swings.
fn recorded(
    sensor: &Sensor,
    path: &Path,
    place: [f64; 6],
    confidence: f64,
) -> Result<(Vec<Recorded>, Option<Recorded>)> {
    let source = Source::open(path, None)?;
    let pendulum = Pendulum::new(&sensor.file);
    let (mut out, mut torque) = (Vec::new(), None);
    for (n, axis) in sensor.axes().iter().enumerate() {
        let name = AXES[*axis].1;
        let record = source.read(&[name], false, &|_| {})?;
        let series = record.series(0);
        let rate = record.rate_hz;
        if (rate / sensor.output_rate_hz() - 1.0).abs() > 1e-3 {
            let message = format!(
                "has {rate} rows a second, {} gives {}",
                sensor.file.name,
                sensor.output_rate_hz()
            );
            return Err(Error::in_file(path, None, message));
        }
        let longest = series.longest();
        if series.is_constant() || longest < 64 {
            let message =
                format!("column {name}: {longest} rows without a gap that change, allowed 64");
            return Err(Error::in_file(path, None, message));
        }
        let beside = |series: &Series<'_>, predicted: &dyn Fn(&[f64]) -> Vec<f64>| {
            let window = Window::BLACKMAN_HARRIS;
            let (longest, lobe, overlap) = (series.longest(), window.lobe_bins(), window.overlap);
            let from_hz = lobe * rate / longest as f64;
            let wish = Wish { from_hz, to_hz: rate / 2.0, count: 200, averages: 50, overlap, lobe };
            let weighing = Weighing { window, overlap, detrend: Detrend::Line };
            let density = log_spaced::auto(series, &pitches(longest, rate, &wish), weighing);
            let frequency_hz: Vec<f64> = density.frequencies().collect();
            let predicted = predicted(&frequency_hz);
            let interval = density.amplitude_interval(confidence);
            Recorded { axis: n, measured: density.amplitude(), frequency_hz, interval, predicted }
        };
        out.push(beside(&series, &|f| predict(sensor, f, place).total(n)));
        if let Some(p) = pendulum.as_ref().filter(|p| p.axis == *axis) {
            let c = Coefficients {
                inertia: p.inertia,
                damping: p.fibre_damping() + p.damping,
                stiffness: p.stiffness(),
            };
            let (values, runs) = torques(&series, c);
            let series = Series { values: &values, runs, rate_hz: rate };
            torque = Some(beside(&series, &|f| {
                let budget = predict(sensor, f, place);
                budget.torque(&budget.total(n)).expect("it has a pendulum")
            }));
        }
    }
    Ok((out, torque))
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
    let (recorded, torque) = recorded(sensor, record, place, 0.95)?;
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

impl Found {
    /// What the demo says of it: an axis, a frequency, recorded and predicted densities there.
    pub(super) fn figures(&self, frequency_hz: f64) -> Vec<(String, f64, f64)> {
        let at = |r: &Recorded| {
            // The mean power of a third of a decade around.
            let near = |f: &f64| (f / frequency_hz).ln().abs() < 0.38;
            let picked =
                || r.frequency_hz.iter().enumerate().filter(|(_, f)| near(f)).map(|(k, _)| k);
            let mean = |values: &[f64]| {
                let sum: f64 = picked().map(|k| values[k] * values[k]).sum();
                (sum / picked().count().max(1) as f64).sqrt()
            };
            (mean(&r.measured), mean(&r.predicted))
        };
        let mut out: Vec<(String, f64, f64)> = Vec::new();
        for r in &self.recorded {
            let (measured, predicted) = at(r);
            out.push((Budget::axis(&self.sensor, r.axis).0.to_owned(), measured, predicted));
        }
        if let (Some(r), Some(p)) = (&self.torque, &self.budget.pendulum) {
            let (measured, predicted) = at(r);
            out.push((
                "acceleration_m_per_s2".to_owned(),
                p.acceleration(measured),
                p.acceleration(predicted),
            ));
        }
        out
    }

    fn text(&self) -> String {
        let at: Vec<String> = self
            .sensor
            .axes()
            .iter()
            .map(|a| format!("{} = {:e}", AXES[*a].1, self.place[*a]))
            .collect();
        let mut text =
            format!("{}: predicted noise, the mass at {}\n", self.sensor.file.name, at.join(", "));
        let [from, to] = self.band;
        for n in 0..self.sensor.axes().len() {
            let (column, unit) = Budget::axis(&self.sensor, n);
            let total = self.budget.total(n);
            let _ = writeln!(text, "{column}: total and largest contributor");
            let mut next = 0.0;
            for (k, f) in self.budget.frequency_hz.iter().enumerate() {
                if *f < next {
                    continue;
                }
                next = f * 9.999;
                let _ = write!(text, "  {f:>9.2e} Hz  {:.3e} {unit}/rtHz", total[k]);
                if self.budget.swings == Some(n) {
                    let torque = self.budget.torque(&total).expect("it swings")[k];
                    let p = self.budget.pendulum.as_ref().expect("it swings");
                    let _ = write!(
                        text,
                        "  {torque:.3e} N m/rtHz  {:.3e} m/s^2/rtHz",
                        p.acceleration(torque)
                    );
                }
                text.push('\n');
            }
            let _ = writeln!(
                text,
                "  of the power from {from} to {to} Hz (gain in the total if one is halved):"
            );
            for (which, share) in
                self.budget.ranked(n, from, to).iter().take(5).filter(|(_, s)| *s > 1e-4)
            {
                let _ = writeln!(
                    text,
                    "    {:>5.1} %  {} ({:.1} %)",
                    share * 100.0,
                    self.budget.contributors[*which].name,
                    gain_of_halving(*share) * 100.0
                );
            }
        }
        if !self.trials.is_empty() {
            text += "simulated beside predicted:\n";
        }
        for t in &self.trials {
            let [low, high] = t.allowed;
            let _ = writeln!(
                text,
                "  {:<26} {:<12} {:.3e} / {:.3e} = {:.3} (by chance {low:.3} to {high:.3}){}",
                t.name,
                t.quantity,
                t.measured,
                t.predicted,
                t.ratio(),
                if t.holds() { "" } else { "  UNEXPLAINED" }
            );
        }
        for r in &self.recorded {
            let (column, unit) = Budget::axis(&self.sensor, r.axis);
            let unexplained = r.unexplained();
            let count = unexplained.iter().flatten().count();
            let _ = writeln!(
                text,
                "{column}: recorded noise is above the prediction at {count} of {} frequencies",
                r.frequency_hz.len()
            );
            let mut next = 0.0;
            for (k, f) in r.frequency_hz.iter().enumerate() {
                if *f < next {
                    continue;
                }
                next = f * 10f64.sqrt();
                let rest = unexplained[k]
                    .map_or("explained".to_owned(), |x| format!("{x:.3e} unexplained"));
                let _ = writeln!(
                    text,
                    "  {f:>9.2e} Hz  {:.3e} {unit}/rtHz recorded, {:.3e} predicted: {rest}",
                    r.measured[k], r.predicted[k]
                );
            }
        }
        text
    }

    fn json(&self) -> Value {
        let [from, to] = self.band;
        let axes: Vec<Value> = (0..self.sensor.axes().len())
            .map(|n| {
                let (column, unit) = Budget::axis(&self.sensor, n);
                let total = self.budget.total(n);
                let name = |which: usize| self.budget.contributors[which].name;
                let swings = self.budget.swings == Some(n);
                let torque = swings.then(|| self.budget.torque(&total)).flatten();
                let p = self.budget.pendulum.as_ref();
                let acceleration: Option<Vec<f64>> = torque.as_ref().zip(p).map(|(torque, p)| {
                    torque.iter().map(|t| p.acceleration(*t)).collect()
                });
                let densities: serde_json::Map<String, Value> = self
                    .budget
                    .contributors
                    .iter()
                    .map(|c| (c.name.to_owned(), json!(c.density[n])))
                    .collect();
                let ranked: Vec<Value> = self
                    .budget
                    .ranked(n, from, to)
                    .iter()
                    .map(|(which, share)| json!({
                        "contributor": name(*which), "share": share, "gain_if_halved": gain_of_halving(*share),
                    }))
                    .collect();
                let dominated: Vec<Value> = self
                    .budget
                    .dominated(n)
                    .iter()
                    .map(|(from, to, which)| json!({ "from_hz": from, "to_hz": to, "contributor": name(*which) }))
                    .collect();
                json!({
                    "name": column, "unit": unit, "total_asd": total, "torque_asd": torque,
                    "acceleration_asd": acceleration, "contributors": densities, "ranked": ranked,
                    "dominated": dominated,
                })
            })
            .collect();
        let notes: serde_json::Map<String, Value> =
            self.budget.contributors.iter().map(|c| (c.name.to_owned(), json!(c.note))).collect();
        let forces: Vec<&str> = self
            .budget
            .contributors
            .iter()
            .filter(|c| c.enters == Enters::Force)
            .map(|c| c.name)
            .collect();
        let trials: Vec<Value> = self
            .trials
            .iter()
            .map(|t| json!({
                "name": t.name, "quantity": t.quantity, "from_hz": t.from_hz, "to_hz": t.to_hz,
                "measured": t.measured, "predicted": t.predicted, "ratio": t.ratio(), "allowed": t.allowed,
                "holds": t.holds(),
            }))
            .collect();
        let recorded: Vec<Value> = self
            .recorded
            .iter()
            .map(|r| json!({
                "name": Budget::axis(&self.sensor, r.axis).0, "frequency_hz": r.frequency_hz,
                "measured": r.measured, "predicted": r.predicted,
                "unexplained": r.unexplained().iter().map(|x| x.unwrap_or(0.0)).collect::<Vec<_>>(),
            }))
            .collect();
        json!({
            "schema": 1, "command": "budget", "sensor": self.sensor.file.name,
            "frequency_hz": self.budget.frequency_hz, "band_hz": self.band, "axes": axes, "notes": notes,
            "forces": forces, "trials": (!trials.is_empty()).then_some(trials),
            "recorded": (!recorded.is_empty()).then_some(recorded),
            "recorded_torque": self.torque.as_ref().map(|r| json!({
                "frequency_hz": r.frequency_hz, "measured": r.measured, "predicted": r.predicted,
            })),
            "pass": self.trials.iter().all(Trial::holds),
        })
    }

    pub(super) fn write(&self, path: &Path) -> Result<()> {
        let mut meta = readings::meta(&self.sensor);
        meta.set("budget", "predicted one-sided amplitude densities");
        let mut columns = vec![("frequency_hz".to_owned(), Kind::Number)];
        let mut values: Vec<Vec<f64>> = Vec::new();
        for n in 0..self.sensor.axes().len() {
            let (column, _) = Budget::axis(&self.sensor, n);
            columns.push((format!("{column}_asd"), Kind::Number));
            values.push(self.budget.total(n));
            for c in &self.budget.contributors {
                let plain: String = c
                    .name
                    .chars()
                    .map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '_' })
                    .collect();
                columns.push((format!("{column}_{plain}"), Kind::Number));
                values.push(c.density[n].clone());
            }
        }
        let mut writer = Writer::create(path, &columns, &meta)?;
        for (k, f) in self.budget.frequency_hz.iter().enumerate() {
            let row: Vec<Cell> = std::iter::once(Cell::Number(*f))
                .chain(values.iter().map(|v| Cell::Number(v[k])))
                .collect();
            writer.push(&row)?;
        }
        writer.finish()
    }

    pub(super) fn html(&self) -> String {
        let of = |column: &'static str, n: usize| -> Vec<page::Line> {
            let one = |a: &Against| {
                let name = a.path.file_name().map(|f| f.to_string_lossy().into_owned());
                Some((name.unwrap_or_default(), n, a.line_of(column)?))
            };
            self.against.iter().filter_map(one).collect()
        };
        let axes = 0..self.sensor.axes().len();
        let lines: Vec<page::Line> =
            axes.flat_map(|n| of(Budget::axis(&self.sensor, n).0, n)).collect();
        page::html(self, &lines, &of("acceleration_m_per_s2", 0))
    }
}
