//! **Verification**: core against f64 twin and truth, judged by the limits.

use crate::analysis::density::{Density, Detrend};
use crate::analysis::welch::welch;
use crate::analysis::window::Window;
use crate::error::Result;
use crate::instrument::{AXES, Sensor};
use crate::output::without_nulls;
use crate::readout::limits::{Judged, judge};
use crate::readout::readings::Row;
use crate::readout::run::{Outcome, Source, compare};
use crate::simulation::motion::Motion;
use serde_json::{Value, json};

/// Errors of one axis.
#[derive(Debug, Clone)]
pub struct AxisErrors {
    /// Name, as in the sensor file.
    pub name: &'static str,
    /// m or rad.
    pub unit: &'static str,
    /// Core less twin, every settled reading.
    pub vs_ideal: Vec<f64>,
    /// Core less truth; empty without a truth.
    pub vs_truth: Vec<f64>,
    /// Density of the core's own error over that of an ideal 24-bit converter.
    pub own_density_ratio: Option<f64>,
}

/// Everything a verification found.
#[derive(Debug, Clone)]
pub struct Findings {
    /// Per axis.
    pub axes: Vec<AxisErrors>,
    /// Limits in force, with values.
    pub limits: Vec<Judged>,
    /// The run.
    pub outcome: Outcome,
    /// Settled readings of the core, kept on request.
    pub rows: Vec<Row>,
    /// Truth at the same instants, per axis, kept on request.
    pub truth: Vec<Vec<f64>>,
    /// Seed of the random streams.
    pub seed: u64,
}

/// Step of an axis in the core, m or rad.
pub const STEP: f64 = 1e-18;

fn rms(x: &[f64]) -> f64 {
    (x.iter().map(|x| x * x).sum::<f64>() / x.len().max(1) as f64).sqrt()
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len().max(1) as f64
}

fn largest(x: &[f64]) -> f64 {
    x.iter().fold(0.0, |m, x| m.max(x.abs()))
}

/// Runs and judges. `truth` is how the mass moved; `keep` keeps readings and truth.
///
/// # Errors
/// A failing read.
pub fn verify(
    sensor: &Sensor,
    source: Source<'_>,
    truth: Option<&Motion>,
    seed: u64,
    keep: bool,
    progress: impl Fn(u64),
) -> Result<Findings> {
    let mut axes: Vec<AxisErrors> = sensor
        .axes()
        .iter()
        .map(|a| AxisErrors {
            name: AXES[*a].0,
            unit: AXES[*a].2,
            vs_ideal: Vec::new(),
            vs_truth: Vec::new(),
            own_density_ratio: None,
        })
        .collect();
    let mut rows = Vec::new();
    let mut truths = vec![Vec::new(); axes.len()];
    let rate = sensor.rate_hz();
    let outcome = compare(
        sensor,
        source,
        |pair| {
            let position = truth.map(|motion| motion.at(pair.core.time_s(rate)));
            for (n, axis) in axes.iter_mut().enumerate() {
                axis.vs_ideal.push(pair.core.axes[n] - pair.ideal.axes[n]);
                if let Some(q) = position {
                    axis.vs_truth.push(pair.core.axes[n] - q[sensor.axes()[n]]);
                    if keep {
                        truths[n].push(q[sensor.axes()[n]]);
                    }
                }
            }
            if keep {
                rows.push(pair.core.clone());
            }
        },
        progress,
    )?;
    for (n, axis) in axes.iter_mut().enumerate() {
        axis.own_density_ratio = own_density_ratio(sensor, n, &axis.vs_ideal);
    }
    let limits = judge_all(sensor, &axes);
    Ok(Findings { axes, limits, outcome, rows, truth: truths, seed })
}

/// Density of an ideal 24-bit converter's quantisation noise at the sensor's sample rate and
/// full scale, referred to axis `n`: LSB sqrt(4/(12 f_s)) of in-phase amplitude, through a0, the
/// gap and the axes matrix.
///
/// Source: quantisation noise LSB^2/12 white over half the sample rate (Bennett 1948, recalled);
/// the in-phase amplitude 2 mean(x cos) carries twice the density around the carrier.
#[must_use]
pub fn quantisation_density(sensor: &Sensor, n: usize) -> f64 {
    let lsb = 2f64.powi(sensor.file.converter.bits as i32 - 24);
    let amplitude = lsb * (4.0 / (12.0 * sensor.rate_hz())).sqrt();
    let design = &sensor.design;
    let squares = (0..design.gap_m.len()).map(|b| {
        // At the centre u = a/a0 for a difference bridge, (a1 - a2)/a0 for separate electrodes.
        let channels: f64 =
            if crate::instrument::design::is_difference(&sensor.file, b) { 1.0 } else { 2.0 };
        let slope = design.gap_m[b] / design.calibrated_a0(&sensor.file, b) * channels.sqrt();
        (design.solve[(n, b)] * slope * amplitude).powi(2)
    });
    squares.sum::<f64>().sqrt()
}

/// Longest segment of an error spectrum.
const SEGMENT: usize = 1024;

/// Spectrum of a series of readings, segments as long as leave some averages.
#[must_use]
pub fn density_of(series: &[f64], rate_hz: f64) -> Option<Density> {
    let length = SEGMENT.min((series.len() / 4).max(16).next_power_of_two());
    welch(series, rate_hz, length, Window::HANN, Detrend::Line)
}

fn own_density_ratio(sensor: &Sensor, n: usize, errors: &[f64]) -> Option<f64> {
    let rate = sensor.output_rate_hz();
    let density = density_of(errors, rate)?;
    // From the third bin (past the window's main lobe at zero) up to 0.3 of the rate.
    let lowest = 3.0 * density.bins[1].frequency_hz;
    let own = density.mean_amplitude(lowest, 0.3 * rate)?;
    Some(own / quantisation_density(sensor, n))
}

fn judge_all(sensor: &Sensor, axes: &[AxisErrors]) -> Vec<Judged> {
    let worst = |unit: &str, value: &dyn Fn(&AxisErrors) -> Option<f64>| -> Option<f64> {
        axes.iter().filter(|a| unit.is_empty() || a.unit == unit).filter_map(value).reduce(
            |a, b| {
                // Anything that is not a number stays and fails.
                if a >= b { a } else { b }
            },
        )
    };
    let settled = |x: &Vec<f64>, f: fn(&[f64]) -> f64| (!x.is_empty()).then(|| f(x));
    let mut found = Vec::new();
    let mut add = |name: &str, value: Option<f64>| {
        found.extend(value.and_then(|value| judge(name, value, &sensor.file.limits)));
    };
    for unit in ["m", "rad"] {
        add(&format!("rms_vs_ideal_{unit}"), worst(unit, &|a| settled(&a.vs_ideal, rms)));
        add(&format!("max_vs_ideal_{unit}"), worst(unit, &|a| settled(&a.vs_ideal, largest)));
        add(
            &format!("bias_vs_ideal_{unit}"),
            worst(unit, &|a| settled(&a.vs_ideal, |x| mean(x).abs())),
        );
        add(&format!("rms_vs_truth_{unit}"), worst(unit, &|a| settled(&a.vs_truth, rms)));
    }
    add("own_density_ratio", worst("", &|a| a.own_density_ratio));
    found
}

impl Findings {
    /// Whether every limit holds and there was something to judge.
    #[must_use]
    pub fn pass(&self) -> bool {
        self.axes.iter().all(|a| !a.vs_ideal.is_empty()) && self.limits.iter().all(Judged::pass)
    }

    /// The JSON object of `verify --json`.
    #[must_use]
    pub fn json(&self, sensor: &Sensor, command: &str) -> Value {
        let axes: Vec<Value> = self
            .axes
            .iter()
            .map(|a| {
                json!({
                    "name": a.name,
                    "unit": a.unit,
                    "lsb": STEP,
                    "rms_vs_truth": (!a.vs_truth.is_empty()).then(|| rms(&a.vs_truth)),
                    "rms_vs_ideal": rms(&a.vs_ideal),
                    "max_vs_ideal": largest(&a.vs_ideal),
                    "bias_vs_ideal": mean(&a.vs_ideal),
                    "own_density_ratio": a.own_density_ratio,
                    "readings": a.vs_ideal.len(),
                    "left_out": left_out(a),
                })
            })
            .collect();
        let limits: Vec<Value> = self
            .limits
            .iter()
            .map(|j| {
                json!({
                    "name": j.limit.name,
                    "value": j.value,
                    "limit": j.allowed,
                    "unit": j.limit.unit,
                    "pass": j.pass(),
                    "why": j.limit.why,
                })
            })
            .collect();
        without_nulls(&json!({
            "schema": 1,
            "command": command,
            "sensor": sensor.file.name,
            "samples": self.outcome.samples,
            "channels": sensor.channels(),
            "rate_hz": sensor.rate_hz(),
            "carrier_hz": sensor.file.carrier.frequency_hz,
            "output_rate_hz": sensor.output_rate_hz(),
            "seed": self.seed,
            "axes": axes,
            "limits": limits,
            "health": health_json(&self.outcome.counts),
            "wall_s": self.outcome.wall_time.as_secs_f64(),
            "msamples_per_s": self.outcome.msamples_per_s(sensor.channels()),
            "pass": self.pass(),
        }))
    }

    /// The table of limits for a terminal.
    #[must_use]
    pub fn table(&self) -> String {
        let mut text =
            format!("{:<20} {:>12} {:>12} {:<4} result\n", "limit", "measured", "allowed", "unit");
        for j in &self.limits {
            let result = if j.pass() { "pass" } else { "MISSED" };
            text += &format!(
                "{:<20} {:>12.3e} {:>12.3e} {:<4} {result}\n",
                j.limit.name, j.value, j.allowed, j.limit.unit
            );
        }
        text
    }
}

/// Figures of an axis that have no value, with the reason.
fn left_out(axis: &AxisErrors) -> Option<Value> {
    let mut reasons = serde_json::Map::new();
    if axis.vs_truth.is_empty() {
        reasons.insert("rms_vs_truth".to_owned(), "a capture tells no truth".into());
    }
    if axis.own_density_ratio.is_none() {
        reasons.insert("own_density_ratio".to_owned(), "too few readings for a spectrum".into());
    }
    (!reasons.is_empty()).then_some(Value::Object(reasons))
}

/// Fault counts as JSON: readings, then every fault by name.
#[must_use]
pub fn health_json(counts: &quietgap_core::HealthCounts) -> Value {
    let mut object = serde_json::Map::new();
    object.insert("readings".to_owned(), counts.readings().into());
    for (name, count) in counts.faults() {
        object.insert(name.to_owned(), count.into());
    }
    Value::Object(object)
}
