//! **Readings** as records: the motion's columns, then quadrature and health.

use crate::error::Result;
use crate::instrument::{AXES, Sensor};
use crate::records::meta::{Meta, RATE};
use crate::records::write::{self, Cell, Kind};
use crate::records::{HEALTH, TIME};
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

/// Name of faults that have none here.
const UNKNOWN: &str = "unknown";

/// Names of faults joined by `+`, or `ok`.
#[must_use]
pub fn health_text(health: Health) -> String {
    let unknown = (u32::from(health.bits()) >> Health::NAMES.len() != 0).then_some(UNKNOWN);
    let names: Vec<&str> = health.names().chain(unknown).collect();
    if names.is_empty() { "ok".to_owned() } else { names.join("+") }
}

/// The number that stands for such a text; of faults without a name it knows nothing.
#[must_use]
pub fn health_bits(text: &str) -> u16 {
    let of = |name| Health::NAMES.iter().find(|(_, n)| *n == name).map_or(0, |(f, _)| f.bits());
    text.split('+').map(of).fold(0, |bits, one| bits | one)
}

/// Whether a column of readings that is not motion: read over when readings serve as motion.
#[must_use]
pub fn is_beside_motion(column: &str) -> bool {
    column.ends_with("_quadrature") || ["residual_m", "health", "sample"].contains(&column)
}

/// Sum over the settings that a sensor's readings are made with.
#[must_use]
pub fn settings_checksum(sensor: &Sensor) -> String {
    format!("{:#010x}", sensor.checksum)
}

/// What a record of this sensor's readings tells of itself.
#[must_use]
pub fn meta(sensor: &Sensor) -> Meta {
    let mut meta = Meta::new();
    meta.set("sensor", &sensor.file.name);
    meta.set(RATE, sensor.output_rate_hz());
    meta.set("sample_rate_hz", sensor.rate_hz());
    meta.set("settings_checksum", settings_checksum(sensor));
    let design =
        sensor.file.bridges.iter().all(|b| b.a0_code.is_none() && b.alignment_rad.is_none());
    meta.set("calibration", if design { "by design" } else { "in the sensor file" });
    meta
}

/// Writes readings; a file appears when it is complete, standard output (`-`) as it comes.
#[derive(Debug)]
pub struct Writer {
    file: write::Writer,
    rate_hz: f64,
}

impl Writer {
    /// Starts a file with its columns, in the format of its extension.
    ///
    /// # Errors
    /// The path is not writable.
    pub fn create(path: &Path, sensor: &Sensor) -> Result<Self> {
        let mut columns = vec![(TIME.to_owned(), Kind::Plain)];
        let mut numbers = |name: String| columns.push((name, Kind::Number));
        sensor.axes().iter().for_each(|a| numbers(AXES[*a].1.to_owned()));
        sensor.file.bridges.iter().for_each(|b| numbers(format!("{}_quadrature", b.name)));
        numbers("residual_m".to_owned());
        columns.push((HEALTH.to_owned(), Kind::Text));
        columns.push(("sample".to_owned(), Kind::Plain));
        let file = write::Writer::create(path, &columns, &meta(sensor))?;
        Ok(Self { file, rate_hz: sensor.rate_hz() })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// A failing write.
    pub fn push(&mut self, row: &Row) -> Result<()> {
        let numbers = row.axes.iter().chain(&row.quadrature).chain([&row.residual_m]);
        let cells: Vec<Cell> = std::iter::once(Cell::Number(row.time_s(self.rate_hz)))
            .chain(numbers.map(|x| Cell::Number(*x)))
            .chain([
                Cell::Text(health_text(row.health), f64::from(row.health.bits())),
                Cell::Number(row.half_samples as f64 / 2.0),
            ])
            .collect();
        self.file.push(&cells)
    }

    /// Puts the file in its place.
    ///
    /// # Errors
    /// The path is not writable.
    pub fn finish(self) -> Result<()> {
        self.file.finish()
    }
}
