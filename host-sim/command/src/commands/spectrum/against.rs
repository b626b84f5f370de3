//! A requirement or an older result beside a density.

use super::Column;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::Source;
use std::path::{Path, PathBuf};

/// Column of frequencies.
const FREQUENCY: &str = "frequency_hz";

/// A line of densities over frequency.
#[derive(Debug)]
pub(in crate::commands) struct Against {
    pub path: PathBuf,
    frequency_hz: Vec<f64>,
    /// Densities by column name.
    lines: Vec<(String, Vec<f64>)>,
    pub compared: Vec<Compared>,
}

/// A column over the line, decade by decade.
#[derive(Debug)]
pub(in crate::commands) struct Compared {
    pub column: String,
    /// The line's own name.
    pub line: String,
    pub points: Vec<(f64, f64)>,
    pub decades: Vec<Decade>,
}

/// What a decade of frequencies (or the part of it that both have) tells.
#[derive(Debug)]
pub(in crate::commands) struct Decade {
    pub from_hz: f64,
    pub to_hz: f64,
    /// Root of the mean ratio of powers.
    pub ratio: f64,
    /// Largest ratio of densities, and where.
    pub worst: f64,
    pub worst_hz: f64,
}

impl Against {
    pub fn read(path: &Path) -> Result<Self> {
        let source = Source::open(path, Some(1.0))?;
        let names: Vec<String> = source.names().map(str::to_owned).collect();
        let fault = |message: &str| Error::in_file(path, None, message);
        if !names.iter().any(|name| name == FREQUENCY) || names.len() < 2 {
            return Err(fault("allowed frequency_hz and one column of densities or more"));
        }
        let mut columns = names.iter().cloned().zip(Source::table(path, &names)?);
        let mut frequency_hz = Vec::new();
        let mut lines = Vec::new();
        for (name, values) in &mut columns {
            if name == FREQUENCY { frequency_hz = values } else { lines.push((name, values)) }
        }
        // A spectrum with a bin at zero is a line from the next on.
        let from = frequency_hz.iter().take_while(|f| **f == 0.0).count();
        frequency_hz.drain(..from);
        lines.iter_mut().for_each(|(_, values)| drop(values.drain(..from)));
        let rises = frequency_hz.windows(2).all(|f| f[0] < f[1]);
        if !rises || frequency_hz.len() < 2 || frequency_hz[0] <= 0.0 {
            return Err(fault("allowed two frequencies or more, above zero and rising"));
        }
        Ok(Self { path: path.to_owned(), frequency_hz, lines, compared: Vec::new() })
    }

    /// Its file and, where one is told, the folder of it.
    pub(super) fn name(&self) -> String {
        let parts: Vec<_> = self.path.iter().map(|part| part.to_string_lossy()).collect();
        parts[parts.len().saturating_sub(2)..].join("/")
    }

    /// Compares every column that has a line of its own name, or all with the only line.
    pub(super) fn compare(&mut self, columns: &[Column]) -> Result<()> {
        let densities: Vec<&(String, Vec<f64>)> =
            self.lines.iter().filter(|(name, _)| name.ends_with("_asd")).collect();
        for column in columns {
            let own = format!("{}_asd", column.name);
            let line = densities
                .iter()
                .copied()
                .chain(&self.lines)
                .find(|(name, _)| *name == own || *name == column.name)
                .or_else(|| (self.lines.len() == 1).then(|| &self.lines[0]));
            if let Some((name, values)) = line {
                self.compared.push(self.one(column, name, values));
            }
        }
        if self.compared.is_empty() {
            let names: Vec<&str> = self.lines.iter().map(|(name, _)| name.as_str()).collect();
            let message = format!("has {}, none of the columns' names", names.join(", "));
            return Err(Error::in_file(&self.path, None, message));
        }
        Ok(())
    }

    /// Points of the line of a column's name, or of the only one.
    pub fn line_of(&self, column: &str) -> Option<Vec<(f64, f64)>> {
        let named = |name: &str| name == column || *name == format!("{column}_asd");
        let (_, values) = self.lines.iter().find(|(name, _)| named(name))?;
        Some(self.frequency_hz.iter().copied().zip(values.iter().copied()).collect())
    }

    fn one(&self, column: &Column, name: &str, values: &[f64]) -> Compared {
        let points: Vec<(f64, f64)> =
            self.frequency_hz.iter().copied().zip(values.iter().copied()).collect();
        let mut decades: Vec<(i32, Vec<(f64, f64)>)> = Vec::new();
        for (bin, power) in column.density.bins.iter().zip(&column.density.power) {
            let f = bin.frequency_hz;
            let Some(line) = at(&points, f).filter(|line| *line > 0.0) else { continue };
            let decade = f.log10().floor() as i32;
            let ratio = (f, power.sqrt() / line);
            match decades.last_mut() {
                Some((last, ratios)) if *last == decade => ratios.push(ratio),
                _ => decades.push((decade, vec![ratio])),
            }
        }
        let decades = decades.into_iter().map(|(_, ratios)| Decade::of(&ratios)).collect();
        Compared { column: column.name.clone(), line: name.to_owned(), points, decades }
    }
}

impl Decade {
    fn of(ratios: &[(f64, f64)]) -> Self {
        let square = ratios.iter().map(|(_, r)| r * r).sum::<f64>() / ratios.len() as f64;
        let worst = ratios
            .iter()
            .copied()
            .fold((0.0, 0.0), |m: (f64, f64), r| if r.1 > m.1 { r } else { m });
        Self {
            from_hz: ratios[0].0,
            to_hz: ratios[ratios.len() - 1].0,
            ratio: square.sqrt(),
            worst: worst.1,
            worst_hz: worst.0,
        }
    }
}

/// A line at a frequency: straight between its points on logarithmic axes, none outside.
pub(in crate::commands) fn at(points: &[(f64, f64)], f: f64) -> Option<f64> {
    let next = points.partition_point(|(x, _)| *x < f);
    let ((x1, y1), (x0, y0)) = match (points.get(next), next.checked_sub(1)) {
        (Some((x, y)), _) if *x == f => return Some(*y),
        (Some(after), Some(before)) => (*after, points[before]),
        _ => return None,
    };
    if y0 <= 0.0 || y1 <= 0.0 {
        return None;
    }
    let part = (f / x0).ln() / (x1 / x0).ln();
    Some((y0.ln() + part * (y1 / y0).ln()).exp())
}
