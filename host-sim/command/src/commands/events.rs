//! `quietgap events`.

use super::outputs::Outputs;
use super::record::{RecordOptions, in_range};
use crate::page::figure::{Curve, Figure, Marks, Scale};
use crate::page::report::{BLUE, figure, page};
use clap::Args;
use maud::html;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::events::{Event, find};
use quietgap_sim::records::meta::{Meta, RATE};
use quietgap_sim::records::write::{Cell, Kind, Writer};
use quietgap_sim::records::{Record, Source, TIME};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    record: RecordOptions,
    /// False alarms that may be expected in every column of a record in which nothing happened
    #[arg(long, value_name = "COUNT", default_value_t = 0.1, allow_negative_numbers = true)]
    false_alarms: f64,
    /// Longest excursion that is looked for, and stretch that a step's level is told from
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    longest: Option<f64>,
    /// Record without the rows of events, to write: CSV, npy or Parquet
    #[arg(long, value_name = "FILE")]
    kept: Option<PathBuf>,
    #[command(flatten)]
    outputs: Outputs,
}

/// What was found.
struct Found {
    record: Record,
    /// Of each column.
    events: Vec<Vec<Event>>,
    times_s: Vec<f64>,
    /// What lies between runs: from, to.
    between: Vec<[f64; 2]>,
    false_alarms: f64,
    kept: Option<(u64, u64)>,
}

/// Rows that events are looked for in where no time is given.
const LONGEST_ROWS: usize = 256;

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--false-alarms", options.false_alarms, 1e-9, 1e6)?;
    let beside: Vec<&Path> = options.kept.iter().map(PathBuf::as_path).collect();
    options.outputs.check(&[&options.record.file], &beside)?;
    let source = options.record.open()?;
    let columns = options.record.columns(&source);
    let record = options.record.read(&source, &columns)?;
    let longest = match options.longest {
        Some(longest) => {
            let seconds = record.seconds();
            in_range("--longest", longest, 1.0 / record.rate_hz, seconds)?;
            (longest * record.rate_hz) as usize
        }
        None => LONGEST_ROWS,
    };
    let events = (0..columns.len())
        .map(|n| find(&record.series(n), options.false_alarms, longest))
        .collect();
    let mut found = Found {
        times_s: record.times_s(),
        between: between(&record),
        record,
        events,
        false_alarms: options.false_alarms,
        kept: None,
    };
    if let Some(path) = &options.kept {
        found.kept = Some(found.keep(path, &source, &options.record.file)?);
    }
    options.outputs.finish(
        |path| found.write(path),
        || found.html(),
        || found.json(),
        &found.text(),
    )?;
    Ok(true)
}

/// Stretches that are not there, or not used.
fn between(record: &Record) -> Vec<[f64; 2]> {
    let ends = record.runs.iter().zip(&record.starts_s);
    let ends: Vec<f64> =
        ends.map(|(run, start)| start + run.len() as f64 / record.rate_hz).collect();
    ends.iter().zip(record.starts_s.iter().skip(1)).map(|(end, next)| [*end, *next]).collect()
}

impl Found {
    fn count(&self) -> usize {
        self.events.iter().map(Vec::len).sum()
    }

    /// First and last time of an event.
    fn when(&self, event: &Event) -> [f64; 2] {
        let last = if event.kind == quietgap_sim::events::Kind::Step {
            event.rows.start
        } else {
            event.rows.end - 1
        };
        [self.times_s[event.rows.start], self.times_s[last]]
    }

    fn text(&self) -> String {
        let mut text = format!(
            "{:.0} s in {} stretches; {} false alarms may be expected in a column\n",
            self.record.seconds(),
            self.record.runs.len(),
            self.false_alarms
        );
        for [from, to] in &self.between {
            let _ = writeln!(
                text,
                "  {from:.3} to {to:.3} s: left out (flagged, no number, or not there)"
            );
        }
        for (n, events) in self.events.iter().enumerate() {
            let (name, unit) = (&self.record.names[n], self.record.unit(n));
            if events.is_empty() {
                let _ = writeln!(text, "{name}: nothing happened");
            }
            for e in events {
                let [from, to] = self.when(e);
                let _ = writeln!(
                    text,
                    "{name}: {} at {from:.3} to {to:.3} s, {:.3e} {unit}, {:.1} times its noise ({:.1} allowed)",
                    e.kind.name(),
                    e.size,
                    e.sigma,
                    e.threshold
                );
            }
        }
        if let Some((kept, gone)) = self.kept {
            let _ = writeln!(
                text,
                "kept {kept} rows without the {gone} of events; the level behind a step stays as it is"
            );
        }
        text
    }

    fn json(&self) -> Value {
        let columns: Vec<Value> = self
            .events
            .iter()
            .enumerate()
            .map(|(n, events)| {
                let events: Vec<Value> = events
                    .iter()
                    .map(|e| {
                        let [from, to] = self.when(e);
                        json!({
                            "kind": e.kind.name(), "from_s": from, "to_s": to, "size": e.size, "over_noise": e.sigma,
                            "allowed": e.threshold,
                        })
                    })
                    .collect();
                json!({ "name": self.record.names[n], "unit": self.record.unit(n), "events": events })
            })
            .collect();
        let left_out = &self.record.left_out;
        json!({
            "schema": 1, "command": "events", "seconds": self.record.seconds(), "rate_hz": self.record.rate_hz,
            "false_alarms": self.false_alarms, "columns": columns, "events": self.count(),
            "left_out": { "flagged": left_out.flagged, "missing": left_out.missing, "gaps": left_out.gaps },
            "between_s": self.between, "kept_rows": self.kept.map(|k| k.0), "rows_of_events": self.kept.map(|k| k.1),
        })
    }

    /// Events as rows.
    fn write(&self, path: &Path) -> Result<()> {
        let mut meta = Meta::new();
        meta.set("false_alarms", self.false_alarms);
        let columns = [
            ("column", Kind::Text),
            ("kind", Kind::Text),
            ("from_s", Kind::Plain),
            ("to_s", Kind::Plain),
            ("size", Kind::Number),
            ("over_noise", Kind::Number),
        ]
        .map(|(name, kind)| (name.to_owned(), kind));
        let mut writer = Writer::create(path, &columns, &meta)?;
        for (n, events) in self.events.iter().enumerate() {
            for e in events {
                let [from, to] = self.when(e);
                writer.push(&[
                    Cell::Text(self.record.names[n].clone(), n as f64),
                    Cell::Text(e.kind.name().to_owned(), f64::from(e.kind as u8)),
                    Cell::Number(from),
                    Cell::Number(to),
                    Cell::Number(e.size),
                    Cell::Number(e.sigma),
                ])?;
            }
        }
        writer.finish()
    }

    /// Writes the rows that no event of any column reaches: how many, and how many others.
    fn keep(&self, path: &Path, source: &Source, of: &Path) -> Result<(u64, u64)> {
        let mut gone = vec![false; self.times_s.len()];
        for event in self.events.iter().flatten() {
            for k in event.reach() {
                if let Some(gone) = gone.get_mut(k) {
                    *gone = true;
                }
            }
        }
        let mut meta = Meta::new();
        for (key, value) in source.meta.iter() {
            meta.set(&format!("readings_{key}"), value);
        }
        meta.set(RATE, self.record.rate_hz);
        meta.set("kept_of", of.display());
        meta.set("events_left_out", self.count());
        let names = self.record.names.iter().map(|name| (name.clone(), Kind::Number));
        let columns: Vec<(String, Kind)> =
            std::iter::once((TIME.to_owned(), Kind::Plain)).chain(names).collect();
        let mut writer = Writer::create(path, &columns, &meta)?;
        let (mut kept, mut left) = (0, 0);
        for k in self.record.runs.iter().flat_map(Clone::clone) {
            if gone[k] {
                left += 1;
                continue;
            }
            let values = self.record.columns.iter().map(|column| column[k]);
            let row = std::iter::once(self.times_s[k]).chain(values).map(Cell::Number);
            writer.push(&row.collect::<Vec<_>>())?;
            kept += 1;
        }
        if kept == 0 {
            return Err(Error::new("--kept: no row is left without events"));
        }
        writer.finish()?;
        Ok((kept, left))
    }

    fn html(&self) -> String {
        let body = html! {
            h1 { "Events: " (self.count()) }
            @for n in 0..self.events.len() { (figure(&self.figure(n), "The reading, least and most of each stretch; every event is shaded.")) }
            div.wide { pre { (self.text()) } }
        };
        page("quietgap: events", &body)
    }

    fn figure(&self, n: usize) -> Figure {
        /// Points of a curve over time that a page holds.
        const POINTS: usize = 2000;
        let column = &self.record.columns[n];
        let rows: Vec<usize> = self.record.runs.iter().flat_map(Clone::clone).collect();
        let every = rows.len().div_ceil(POINTS).max(1);
        // Of every stretch the least and the most, so that a spike is seen.
        let points = rows.chunks(2 * every).flat_map(|chunk| {
            let by = |a: &&usize, b: &&usize| column[**a].total_cmp(&column[**b]);
            let mut both: Vec<usize> = chunk
                .iter()
                .min_by(by)
                .into_iter()
                .chain(chunk.iter().max_by(by))
                .copied()
                .collect();
            both.sort_unstable();
            both
        });
        let points: Vec<(f64, f64)> = points.map(|k| (self.times_s[k], column[k])).collect();
        Figure {
            title: self.record.names[n].clone(),
            x: "time / s".to_owned(),
            y: format!("{} / {}", self.record.names[n], self.record.unit(n)),
            scale: Scale::Linear,
            curves: vec![Curve::new("reading", BLUE, points)],
            marks: vec![Marks {
                label: "events".to_owned(),
                spans: self.events[n].iter().map(|e| self.when(e)).collect(),
            }],
            ..Figure::default()
        }
    }
}
