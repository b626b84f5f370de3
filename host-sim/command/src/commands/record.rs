//! Options of all commands that take a record.

use super::progress;
use clap::Args;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::{Record, Source};
use std::path::PathBuf;

/// Largest file whose wanted columns are all kept in memory at once.
const AT_ONCE_BYTES: u64 = 256 << 20;

/// A file and what is wanted of it.
#[derive(Args, Debug, Clone)]
pub struct RecordOptions {
    /// Readings, or any record: CSV or Parquet with times (t_s), npy with --rate
    #[arg(value_name = "READINGS")]
    pub(super) file: PathBuf,
    /// Column to work on, again for more; the motion's columns when absent
    #[arg(long, value_name = "NAME")]
    pub(super) column: Vec<String>,
    /// Rows a second, for a file without times
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    pub(super) rate: Option<f64>,
    /// Also use readings that are flagged as faulty
    #[arg(long)]
    pub(super) flagged: bool,
}

impl RecordOptions {
    pub(super) fn open(&self) -> Result<Source> {
        Source::open(&self.file, self.rate)
    }

    /// Columns that are wanted.
    pub(super) fn columns(&self, source: &Source) -> Vec<String> {
        if self.column.is_empty() { source.usual() } else { self.column.clone() }
    }

    /// The one column that is wanted, for `what`.
    pub(super) fn one(&self, source: &Source, what: &str) -> Result<String> {
        match self.columns(source).as_slice() {
            [one] => Ok(one.clone()),
            all => {
                let all = all.join(", ");
                Err(Error::new(format!("--column: wanted once, {what}: {all}")))
            }
        }
    }

    /// Columns in groups, each of which fits into memory.
    pub(super) fn groups(&self, columns: &[String]) -> Vec<Vec<String>> {
        let bytes = std::fs::metadata(&self.file).map_or(0, |m| m.len());
        let size = if bytes > AT_ONCE_BYTES { 1 } else { columns.len().max(1) };
        columns.chunks(size).map(<[String]>::to_vec).collect()
    }

    /// Reads columns with a bar, and refuses those that say nothing.
    pub(super) fn read(&self, source: &Source, columns: &[String]) -> Result<Record> {
        let bar = progress(1000);
        let record =
            source.read(columns, self.flagged, &|done| bar.set_position((done * 1e3) as u64))?;
        bar.finish_and_clear();
        for (n, name) in record.names.iter().enumerate() {
            if record.series(n).is_constant() {
                let message =
                    format!("column {name} has the same value in all rows: nothing to analyse");
                return Err(Error::in_file(&self.file, None, message));
            }
        }
        Ok(record)
    }
}

/// A fraction from the command line.
pub(super) fn in_range(name: &str, value: f64, low: f64, high: f64) -> Result<f64> {
    if value >= low && value <= high {
        return Ok(value);
    }
    Err(Error::new(format!("{name} {value}: allowed {low} to {high}")))
}
