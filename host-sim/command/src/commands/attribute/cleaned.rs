//! The reading without what is explained.

use super::{Found, Options};
use quietgap_sim::error::Result;
use quietgap_sim::records::meta::{Meta, RATE};
use quietgap_sim::records::resample::{Column, Interpolation};
use quietgap_sim::records::write::{Cell, Kind, Writer};
use quietgap_sim::records::{LeftOut, Record, Source, TIME};
use std::path::Path;

impl Found {
    /// The reading's own rows, each with what is explained there.
    fn cleaned(&self, reading: &Record) -> Vec<[f64; 3]> {
        let together = &self.together;
        let explained: Vec<f64> = (0..together.reading.len())
            .map(|n| self.parts.iter().map(|part| part[n]).sum())
            .collect();
        let starts_s = together.runs.iter().map(|run| together.times_s[run.start]).collect();
        let slow = Record {
            names: vec![String::new()],
            columns: vec![explained],
            runs: together.runs.clone(),
            starts_s,
            rate_hz: together.rate_hz,
            left_out: LeftOut::default(),
        };
        let (column, table) = (Column { record: &slow, n: 0 }, Interpolation::new());
        let mut rows = Vec::new();
        for (run, start_s) in reading.runs.iter().zip(&reading.starts_s) {
            for k in run.clone() {
                let t = start_s + (k - run.start) as f64 / reading.rate_hz;
                if let Some(explained) = column.at(&table, t) {
                    rows.push([t, reading.columns[0][k] - explained, explained]);
                }
            }
        }
        rows
    }

    pub(super) fn write_cleaned(
        &self,
        path: &Path,
        source: &Source,
        options: &Options,
        reading: &Record,
    ) -> Result<()> {
        let mut meta = Meta::new();
        for (key, value) in source.meta.iter() {
            meta.set(&format!("readings_{key}"), value);
        }
        meta.set(RATE, reading.rate_hz);
        meta.set("cleaned_of", options.record.file.display());
        let files: Vec<String> =
            options.auxiliary.iter().map(|file| file.display().to_string()).collect();
        meta.set("cleaned_by", files.join(", "));
        for (n, term) in self.choice.terms.iter().enumerate() {
            let value = format!(
                "{} {:e} {}",
                self.term_name(term),
                self.fit.values[n],
                self.coefficient_unit(term)
            );
            meta.set(&format!("taken_off_{}", n + 1), value);
        }
        let columns = [
            (TIME.to_owned(), Kind::Plain),
            (self.reading.clone(), Kind::Number),
            (format!("explained_{}", self.reading), Kind::Number),
        ];
        let mut writer = Writer::create(path, &columns, &meta)?;
        for row in self.cleaned(reading) {
            writer.push(&row.map(Cell::Number))?;
        }
        writer.finish()
    }
}
