//! **Together**: a reading and auxiliary channels of other recorders at the same instants, each through a filter that lets
//! nothing fold and delays nothing.

use crate::error::{Error, Result};
use crate::records::resample::{Column, Interpolation, fewer};
use crate::records::{Record, unit};
use std::ops::Range;

/// Highest frequency, of the lowest rate, that all filters leave alone.
pub const BAND: f64 = 0.35;

/// End of the name of a channel that is another's square.
pub const SQUARED: &str = " squared";

/// A channel.
#[derive(Debug)]
pub struct Channel {
    /// Name of its column, with its file's where two have it.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// At the common instants.
    pub values: Vec<f64>,
    /// By itself, at its own instants.
    record: Record,
}

/// All at the reading's instants, or every so many of them.
#[derive(Debug)]
pub struct Together {
    /// Rows a second.
    pub rate_hz: f64,
    /// Rows that follow each other, of which everything is known.
    pub runs: Vec<Range<usize>>,
    /// Times of all rows.
    pub times_s: Vec<f64>,
    /// The reading.
    pub reading: Vec<f64>,
    /// The others.
    pub channels: Vec<Channel>,
    /// Highest frequency that is looked at.
    pub to_hz: f64,
    table: Interpolation,
}

impl Together {
    /// Brings the first column of `reading` and all columns of the others together. A channel is wanted at times up to
    /// `within_s` from the reading's. The band ends at `to_hz`, or at [`BAND`] of the lowest rate.
    ///
    /// # Errors
    /// A band that the rates do not carry; nothing in common.
    pub fn new(
        reading: &Record,
        others: &[(String, Record)],
        to_hz: Option<f64>,
        within_s: f64,
    ) -> Result<Self> {
        let rates = others.iter().map(|(_, r)| r.rate_hz);
        let most = BAND * rates.fold(reading.rate_hz, f64::min);
        let to_hz = to_hz.unwrap_or(most);
        if !(to_hz > 0.0 && to_hz <= most * (1.0 + 1e-9)) {
            return Err(Error::new(format!(
                "--to-hz {to_hz}: allowed above 0, to {most} ({BAND} of the lowest rate)"
            )));
        }
        // A rate is brought down in whole steps, to no less than the band wants.
        let ratio = |rate: f64| (rate * BAND / to_hz * (1.0 + 1e-9)).floor().max(1.0) as usize;
        let reading = fewer(reading, ratio(reading.rate_hz));
        let table = Interpolation::new();
        let times_s = reading.times_s();
        let mut channels = Vec::new();
        for (file, record) in others {
            let record = fewer(record, ratio(record.rate_hz));
            for n in 0..record.names.len() {
                let one = Record {
                    names: vec![record.names[n].clone()],
                    columns: vec![record.columns[n].clone()],
                    ..record.clone()
                };
                let same = others.iter().flat_map(|(_, r)| &r.names);
                let name = &record.names[n];
                let twice = same.filter(|other| *other == name).count() > 1;
                channels.push(Channel {
                    name: if twice { format!("{file}:{name}") } else { name.clone() },
                    unit: match name.strip_suffix(SQUARED) {
                        Some(root) => format!("{}²", unit(root)),
                        None => unit(name).to_owned(),
                    },
                    values: Vec::new(),
                    record: one,
                });
            }
        }
        for channel in &mut channels {
            let column = Column { record: &channel.record, n: 0 };
            let at = |t: &f64| column.at(&table, *t).unwrap_or(f64::NAN);
            channel.values = times_s.iter().map(at).collect();
        }
        let wide = (within_s * reading.rate_hz).ceil() as usize;
        let known = |k: usize| channels.iter().all(|c| c.values[k].is_finite());
        let mut runs = Vec::new();
        for run in &reading.runs {
            let mut from = None;
            for k in run.clone() {
                match (known(k), from) {
                    (true, None) => from = Some(k),
                    (false, Some(start)) => {
                        runs.push(start..k);
                        from = None;
                    }
                    _ => {}
                }
            }
            runs.extend(from.map(|start| start..run.end));
        }
        let runs: Vec<_> = runs
            .into_iter()
            .filter(|run| run.len() > 2 * wide)
            .map(|run| run.start + wide..run.end - wide)
            .collect();
        if runs.is_empty() {
            return Err(Error::new(
                "the records have no stretch of time in common that all filters reach: nothing to compare",
            ));
        }
        let Record { rate_hz, mut columns, .. } = reading;
        let reading = columns.swap_remove(0);
        Ok(Self { rate_hz, runs, times_s, reading, channels, to_hz, table })
    }

    /// A channel, so much earlier.
    #[must_use]
    pub fn delayed(&self, channel: usize, delay_s: f64) -> Vec<f64> {
        let channel = &self.channels[channel];
        if delay_s == 0.0 {
            return channel.values.clone();
        }
        let column = Column { record: &channel.record, n: 0 };
        let mut out = vec![f64::NAN; self.times_s.len()];
        for k in self.runs.iter().flat_map(Clone::clone) {
            out[k] = column.at(&self.table, self.times_s[k] - delay_s).unwrap_or(f64::NAN);
        }
        out
    }

    /// Keeps the rows from a time to a time.
    ///
    /// # Errors
    /// None is left.
    pub fn between(&mut self, from_s: f64, to_s: f64) -> Result<()> {
        let inside = |k: &usize| self.times_s[*k] >= from_s && self.times_s[*k] <= to_s;
        let cut = |run: &Range<usize>| {
            let first = run.clone().find(inside)?;
            let last = run.clone().rev().find(inside)?;
            (first < last).then(|| first..last + 1)
        };
        self.runs = self.runs.iter().filter_map(cut).collect();
        if self.runs.is_empty() {
            return Err(Error::new(format!("no two rows from {from_s} to {to_s} s, as asked for")));
        }
        Ok(())
    }

    /// Seconds that all have.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.runs.iter().map(Range::len).sum::<usize>() as f64 / self.rate_hz
    }

    /// The same, of one half of every run: the first or the second.
    #[must_use]
    pub fn half(&self, second: bool) -> Vec<Range<usize>> {
        let cut = |run: &Range<usize>| {
            let middle = usize::midpoint(run.start, run.end);
            if second { middle..run.end } else { run.start..middle }
        };
        self.runs.iter().map(cut).collect()
    }
}
