//! **Board**: what its messages come to: columns and rows of a record, told by its own settings.

use super::clock::Clock;
use crate::instrument::AXES;
use crate::records::meta::{Meta, RATE};
use crate::records::write::{Cell, Kind};
use crate::records::{HEALTH, TIME};
use quietgap_core::Health;
use quietgap_telemetry::message::{Reading, Settings, TimeMark};
use serde_json::{Map, Value};

/// Column of the pulse's seconds.
pub const PULSE: &str = "pulse_s";

/// A board whose settings are known.
#[derive(Debug, Clone)]
pub struct Board {
    settings: Settings,
    clock: Clock,
    columns: Vec<(String, Kind)>,
}

impl Board {
    /// By what it says of itself; `None` where that makes no sense: no rate, no axis, an axis that is none or comes twice.
    #[must_use]
    pub fn new(settings: Settings) -> Option<Self> {
        let known = settings.axes.iter().all(|a| usize::from(*a) < AXES.len());
        let rising = settings.axes.windows(2).all(|a| a[0] < a[1]);
        let sound = settings.rate_millihertz > 0 && settings.interval > 0;
        (sound && known && rising && !settings.axes.is_empty()).then(|| {
            let columns = columns(&settings);
            Self { settings, clock: Clock::default(), columns }
        })
    }

    /// Its settings.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Samples a second, as it says.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.settings.rate_millihertz as f64 / 1e3
    }

    /// Takes a time mark.
    pub fn mark(&mut self, mark: TimeMark) {
        self.clock.mark(mark);
    }

    /// By its marks.
    #[must_use]
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Columns of its record: those of readings, and the pulse's seconds.
    #[must_use]
    pub fn columns(&self) -> &[(String, Kind)] {
        &self.columns
    }

    /// A row as an object; what has no value is left out.
    #[must_use]
    pub fn json(&self, row: &[Cell]) -> Value {
        let mut object = Map::new();
        object.insert("kind".to_owned(), "reading".into());
        for ((name, _), cell) in self.columns.iter().zip(row) {
            let value = match cell {
                Cell::Text(text, _) => text.as_str().into(),
                Cell::Number(x) if x.is_nan() => continue,
                Cell::Number(x) => (*x).into(),
            };
            object.insert(name.clone(), value);
        }
        Value::Object(object)
    }

    /// What its record tells of itself.
    #[must_use]
    pub fn meta(&self) -> Meta {
        let mut meta = Meta::new();
        meta.set("sensor", &self.settings.name);
        meta.set(RATE, self.rate_hz() / self.settings.interval as f64);
        meta.set("sample_rate_hz", self.rate_hz());
        meta.set("board_checksum", format!("{:#010x}", self.settings.checksum));
        meta.set("board_starts", self.settings.starts);
        meta
    }

    /// A row of its record; `None` for a reading with other axes or bridges than its settings say.
    #[must_use]
    pub fn row(&self, reading: &Reading) -> Option<Vec<Cell>> {
        let fits = reading.axes.len() == self.settings.axes.len()
            && reading.quadratures.len() == usize::from(self.settings.bridges);
        if !fits {
            return None;
        }
        let time_s = reading.half_samples as f64 / (2.0 * self.rate_hz());
        let axes = reading.axes.iter().map(|x| *x as f64 * 1e-18);
        let quadratures = reading.quadratures.iter().map(|q| *q as f64 / 2f64.powi(62));
        let numbers = axes.chain(quadratures).chain([reading.residual_am as f64 * 1e-18]);
        let pulse_s = self.clock.seconds(reading.half_samples).unwrap_or(f64::NAN);
        let health = Health::from_bits(reading.health);
        let text = crate::readout::readings::health_text(health);
        let row = std::iter::once(Cell::Number(time_s)).chain(numbers.map(Cell::Number)).chain([
            Cell::Text(text, f64::from(reading.health)),
            Cell::Number(reading.half_samples as f64 / 2.0),
            Cell::Number(pulse_s),
        ]);
        Some(row.collect())
    }
}

fn columns(settings: &Settings) -> Vec<(String, Kind)> {
    let axes = settings.axes.iter().map(|a| AXES[usize::from(*a)].1.to_owned());
    let bridges = (1..=settings.bridges).map(|n| format!("bridge_{n}_quadrature"));
    let numbers = axes.chain(bridges).chain(["residual_m".to_owned()]);
    std::iter::once((TIME.to_owned(), Kind::Plain))
        .chain(numbers.map(|name| (name, Kind::Number)))
        .chain([
            (HEALTH.to_owned(), Kind::Text),
            ("sample".to_owned(), Kind::Plain),
            (PULSE.to_owned(), Kind::Plain),
        ])
        .collect()
}
