//! **Records**: columns of numbers over time, in CSV, npy or Parquet, chosen by the file's extension.
//! Readings of the core, and what any other recorder writes, go through the same door.
//!
//! `csv`, `npy` and `parquet` hand rows on one by one; `grid` turns their times into runs without a gap;
//! [`resample`] gives values between rows, and fewer rows; [`mod@write`] writes all three; [`meta`] is what is told of a file beside its numbers.

mod csv;
pub mod footer;
mod grid;
pub mod meta;
mod npy;
mod parquet;
pub mod resample;
pub mod write;

use crate::analysis::series::Series;
use crate::error::{Error, Result, nearest};
use grid::Grid;
use meta::Meta;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Format of a file, by its extension: `.npy`, `.parquet`, and CSV for all others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Text, cells separated by commas, names in the first line.
    Csv,
    /// NumPy's format, one or two dimensions.
    Npy,
    /// Apache Parquet.
    Parquet,
}

impl Format {
    /// That of a path.
    #[must_use]
    pub fn of(path: &Path) -> Self {
        match path.extension().and_then(|e| e.to_str()) {
            Some(e) if e.eq_ignore_ascii_case("npy") => Self::Npy,
            Some(e) if e.eq_ignore_ascii_case("parquet") => Self::Parquet,
            _ => Self::Csv,
        }
    }
}

/// Column of times.
pub const TIME: &str = "t_s";
/// Column of faults: `ok` or names, or bits of which none is set.
pub const HEALTH: &str = "health";

/// A row of the wanted columns.
#[derive(Debug)]
struct Row<'a> {
    /// For messages, counted from 1.
    line: u64,
    time_s: Option<f64>,
    flagged: bool,
    values: &'a [f64],
}

/// A file whose columns are known.
#[derive(Debug)]
pub struct Source {
    path: PathBuf,
    format: Format,
    columns: Vec<String>,
    /// What is told of it.
    pub meta: Meta,
    rate_hz: Option<f64>,
}

/// Which columns a reader picks.
struct Picked {
    time: Option<usize>,
    health: Option<usize>,
    values: Vec<usize>,
}

impl Source {
    /// Opens a file. `rate_hz` is for one without a column of times; one that has times must fit.
    ///
    /// # Errors
    /// Not there, not of its format, no columns, neither times nor a rate.
    pub fn open(path: &Path, rate_hz: Option<f64>) -> Result<Self> {
        if let Some(rate) = rate_hz.filter(|rate| !(*rate > 0.0 && rate.is_finite())) {
            return Err(Error::new(format!("--rate {rate}: allowed above 0")));
        }
        let format = Format::of(path);
        let mut meta = Meta::beside(path)?;
        let columns = match format {
            Format::Csv => csv::columns(path)?,
            Format::Npy => npy::columns(path, &meta)?,
            Format::Parquet => {
                let (columns, told) = parquet::columns(path)?;
                meta.extend(told);
                columns
            }
        };
        let rate_hz = rate_hz.or_else(|| meta.rate_hz());
        if rate_hz.is_none() && !columns.iter().any(|c| c == TIME) {
            let message = format!("has no column {TIME}: allowed with --rate");
            return Err(Error::in_file(path, None, message));
        }
        Ok(Self { path: path.to_owned(), format, columns, meta, rate_hz })
    }

    /// Columns that can be analysed: all but times, faults and counters.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let beside = [TIME, HEALTH, "sample"];
        self.columns.iter().map(String::as_str).filter(move |c| !beside.contains(c))
    }

    /// Columns that are motion of the mass, or all that can be analysed where none is.
    #[must_use]
    pub fn usual(&self) -> Vec<String> {
        let motion = |c: &&str| crate::instrument::AXES.iter().any(|(_, column, _)| column == c);
        let axes: Vec<String> = self.names().filter(motion).map(str::to_owned).collect();
        if axes.is_empty() { self.names().map(str::to_owned).collect() } else { axes }
    }

    /// Reads columns by name. Rows that are flagged (unless `flagged` lets them in), and those in which one
    /// of the columns is no number, end a run, as does a step of time beyond one interval.
    ///
    /// # Errors
    /// A column that is not there, a cell that is no number, times that do not rise or are uneven.
    pub fn read(
        &self,
        names: &[impl AsRef<str>],
        flagged: bool,
        progress: &dyn Fn(f64),
    ) -> Result<Record> {
        let picked = self.pick(names)?;
        let mut grid = Grid::new(&self.path, self.rate_hz);
        let mut columns = vec![Vec::new(); names.len()];
        let mut take = |row: &Row<'_>| -> Result<()> {
            let known = row.values.iter().all(|x| x.is_finite());
            grid.push(row.line, row.time_s, row.flagged && !flagged, known)?;
            columns.iter_mut().zip(row.values).for_each(|(column, x)| column.push(*x));
            Ok(())
        };
        self.rows(&picked, &mut take, progress)?;
        let grid = grid.finish()?;
        // What was set aside for growing is given back: a column of a month has 200 MB.
        columns.iter_mut().for_each(Vec::shrink_to_fit);
        Ok(Record {
            names: names.iter().map(|n| n.as_ref().to_owned()).collect(),
            columns,
            runs: grid.runs,
            starts_s: grid.starts_s,
            rate_hz: grid.rate_hz,
            left_out: grid.left_out,
        })
    }

    /// Reads columns of a table by name, whose rows are no instants: any number of them, all of their cells as they are.
    ///
    /// # Errors
    /// As of [`Self::open`]; a column that is not there, a cell that is no number.
    pub fn table(path: &Path, names: &[impl AsRef<str>]) -> Result<Vec<Vec<f64>>> {
        // Rows are counted.
        let source = Self::open(path, Some(1.0))?;
        let picked = source.pick(names)?;
        let mut columns = vec![Vec::new(); names.len()];
        let mut take = |row: &Row<'_>| -> Result<()> {
            columns.iter_mut().zip(row.values).for_each(|(column, x)| column.push(*x));
            Ok(())
        };
        source.rows(&picked, &mut take, &|_| {})?;
        Ok(columns)
    }

    /// Finds columns by name.
    fn pick(&self, names: &[impl AsRef<str>]) -> Result<Picked> {
        let at = |name: &str| self.columns.iter().position(|c| c == name);
        let find = |name: &str| {
            at(name).ok_or_else(|| {
                let hint = nearest(name, self.names())
                    .map_or(String::new(), |n| format!("; nearest: `{n}`"));
                let known: Vec<&str> = self.names().collect();
                let message = format!("has no column `{name}`{hint}; it has {}", known.join(", "));
                Error::in_file(&self.path, None, message)
            })
        };
        let values = names.iter().map(|n| find(n.as_ref())).collect::<Result<Vec<_>>>()?;
        Ok(Picked { time: at(TIME), health: at(HEALTH), values })
    }

    /// Gives every row to `take`.
    fn rows(
        &self,
        picked: &Picked,
        take: &mut dyn FnMut(&Row<'_>) -> Result<()>,
        progress: &dyn Fn(f64),
    ) -> Result<()> {
        match self.format {
            Format::Csv => csv::rows(&self.path, picked, take, progress),
            Format::Npy => npy::rows(&self.path, picked, take, progress),
            Format::Parquet => parquet::rows(&self.path, picked, take, progress),
        }
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// What was not used, for people to be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LeftOut {
    /// Rows with a fault.
    pub flagged: u64,
    /// Rows with a cell that is no number.
    pub missing: u64,
    /// Steps of time beyond one interval.
    pub gaps: u64,
}

impl LeftOut {
    /// In words, or nothing where there was nothing.
    #[must_use]
    pub fn text(&self) -> String {
        let parts = [
            (self.flagged, "flagged rows"),
            (self.missing, "rows without a number"),
            (self.gaps, "gaps in time"),
        ];
        let said: Vec<String> =
            parts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}")).collect();
        if said.is_empty() { String::new() } else { format!("left out: {}", said.join(", ")) }
    }
}

/// Columns in memory.
#[derive(Debug, Clone)]
pub struct Record {
    /// Names.
    pub names: Vec<String>,
    /// A list of all rows' values for each name.
    pub columns: Vec<Vec<f64>>,
    /// Rows that follow each other.
    pub runs: Vec<Range<usize>>,
    /// Time of each run's first row.
    pub starts_s: Vec<f64>,
    /// Rows a second.
    pub rate_hz: f64,
    /// What lies between the runs.
    pub left_out: LeftOut,
}

impl Record {
    /// One column.
    #[must_use]
    pub fn series(&self, n: usize) -> Series<'_> {
        Series { values: &self.columns[n], runs: self.runs.clone(), rate_hz: self.rate_hz }
    }

    /// Times of all rows within runs; none of the others.
    #[must_use]
    pub fn times_s(&self) -> Vec<f64> {
        let mut times_s = vec![f64::NAN; self.columns.first().map_or(0, Vec::len)];
        for (run, start) in self.runs.iter().zip(&self.starts_s) {
            for k in run.clone() {
                times_s[k] = start + (k - run.start) as f64 / self.rate_hz;
            }
        }
        times_s
    }

    /// Unit of a column, from the end of its name.
    #[must_use]
    pub fn unit(&self, n: usize) -> &'static str {
        unit(&self.names[n])
    }

    /// Seconds in all runs.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.runs.iter().map(Range::len).sum::<usize>() as f64 / self.rate_hz
    }
}

/// Unit of a column, from the end of its name; longest first, as one can be another's end.
#[must_use]
pub fn unit(name: &str) -> &'static str {
    const UNITS: [(&str, &str); 16] = [
        ("_m_per_s2", "m/s²"),
        ("_rad_per_s2", "rad/s²"),
        ("_rad_per_s", "rad/s"),
        ("_m_per_s", "m/s"),
        ("_n_m", "N m"),
        ("_rad", "rad"),
        ("_deg", "°"),
        ("_pa", "Pa"),
        ("_hz", "Hz"),
        ("_m", "m"),
        ("_n", "N"),
        ("_k", "K"),
        ("_v", "V"),
        ("_a", "A"),
        ("_w", "W"),
        ("_s", "s"),
    ];
    UNITS.iter().find(|(end, _)| name.ends_with(end)).map_or("unit", |(_, unit)| unit)
}
