//! **Readings** as files: CSV with the motion's columns, then quadrature and health.

use crate::error::Result;
use crate::instrument::{AXES, Sensor};
use crate::page::output::Output;
use quietgap_core::{Health, Reading};
use std::path::Path;

/// One row, in SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Half sample periods since sample 0.
    pub half_samples: i64,
    /// Axes of the sensor, metres and radians.
    pub axes: Vec<f64>,
    /// Quadrature of each bridge, as a fraction of a0.
    pub quadrature: Vec<f64>,
    /// Largest disagreement of a bridge with the axes.
    pub residual_m: f64,
    /// Faults.
    pub health: Health,
}

impl Row {
    /// From the core's integers: attometres and attoradians, exact to f64.
    #[must_use]
    pub fn of(reading: &Reading) -> Self {
        Self {
            half_samples: reading.half_samples,
            axes: reading.axes.iter().map(|x| *x as f64 * 1e-18).collect(),
            quadrature: reading.bridges.iter().map(|b| b.quadrature.to_num()).collect(),
            residual_m: reading.residual_am as f64 * 1e-18,
            health: reading.health,
        }
    }

    /// Its instant.
    #[must_use]
    pub fn time_s(&self, rate_hz: f64) -> f64 {
        self.half_samples as f64 / (2.0 * rate_hz)
    }
}

/// Names of faults joined by `+`, or `ok`.
#[must_use]
pub fn health_text(health: Health) -> String {
    let names: Vec<&str> =
        Health::NAMES.iter().filter(|(f, _)| health.has(*f)).map(|(_, n)| *n).collect();
    if names.is_empty() { "ok".to_owned() } else { names.join("+") }
}

/// Whether a column of readings that is not motion: read over when readings serve as motion.
#[must_use]
pub fn is_beside_motion(column: &str) -> bool {
    column.ends_with("_quadrature") || ["residual_m", "health", "sample"].contains(&column)
}

/// Writes readings; a file appears when it is complete, standard output (`-`) as it comes.
#[derive(Debug)]
pub struct Writer {
    file: Output,
    rate_hz: f64,
}

impl Writer {
    /// Starts a file with its header.
    ///
    /// # Errors
    /// The path is not writable.
    pub fn create(path: &Path, sensor: &Sensor) -> Result<Self> {
        let mut file = Output::create(path)?;
        let mut columns = vec!["t_s".to_owned()];
        columns.extend(sensor.axes().iter().map(|a| AXES[*a].1.to_owned()));
        columns.extend(sensor.file.bridges.iter().map(|b| format!("{}_quadrature", b.name)));
        columns.extend(["residual_m", "health", "sample"].map(str::to_owned));
        file.write(format_args!("{}\n", columns.join(",")))?;
        Ok(Self { file, rate_hz: sensor.rate_hz() })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// A failing write.
    pub fn push(&mut self, row: &Row) -> Result<()> {
        let mut line = row.time_s(self.rate_hz).to_string();
        for value in row.axes.iter().chain(&row.quadrature).chain([&row.residual_m]) {
            line += &format!(",{value:e}");
        }
        let (health, sample) = (health_text(row.health), row.half_samples as f64 / 2.0);
        self.file.write(format_args!("{line},{health},{sample}\n"))
    }

    /// Puts the file in its place.
    ///
    /// # Errors
    /// The path is not writable.
    pub fn finish(self) -> Result<()> {
        self.file.finish()
    }
}
