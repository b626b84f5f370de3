//! `quietgap stability`.

use super::outputs::Outputs;
use super::record::RecordOptions;
use crate::page::figure::{Band, Curve, Figure, Scale};
use crate::page::report::{BLUE, figure, page};
use clap::Args;
use maud::html;
use quietgap_sim::analysis::stability::{Deviation, Point, over_times, times};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::meta::Meta;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use quietgap_sim::records::{Record, Source};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    record: RecordOptions,
    /// Deviation: allan, modified, hadamard, time, total, allan-apart, hadamard-apart; again for more
    #[arg(long, value_name = "KIND", default_value = "allan")]
    deviation: Vec<String>,
    /// The column is the integral of what is averaged (a phase)
    #[arg(long)]
    integrated: bool,
    /// Averaging times in a decade
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u32).range(1..=100))]
    per_decade: u32,
    #[command(flatten)]
    outputs: Outputs,
}

/// One deviation of one column.
struct Line {
    column: String,
    unit: &'static str,
    deviation: Deviation,
    points: Vec<Point>,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let deviations = options.deviation.iter().map(|n| named(n)).collect::<Result<Vec<_>>>()?;
    options.outputs.check(&[&options.record.file], &[])?;
    let source = options.record.open()?;
    let (mut lines, mut about) = (Vec::new(), String::new());
    for group in options.record.groups(&options.record.columns(&source)) {
        let record = options.record.read(&source, &group)?;
        for n in 0..group.len() {
            for deviation in &deviations {
                lines.push(options.line(&record, n, *deviation, source.path())?);
            }
        }
        let left_out = record.left_out.text();
        about = format!(
            "{}: {:.1} s at {} Hz{}{left_out}",
            source.path().display(),
            record.seconds(),
            record.rate_hz,
            if left_out.is_empty() { "" } else { "; " }
        );
    }
    if lines.is_empty() {
        return Err(Error::in_file(source.path(), None, "has no column that can be analysed"));
    }
    let confidence = options.outputs.confidence;
    let told = || {
        json!({
            "schema": 1, "command": "stability", "file": source.path().display().to_string(),
            "integrated": options.integrated, "confidence": confidence,
            "deviations": lines.iter().map(Line::json).collect::<Vec<Value>>(),
        })
    };
    let text: String = lines.iter().map(Line::text).collect();
    options.outputs.finish(
        |out| write(out, &lines, &source),
        || html(&lines, &about, confidence),
        told,
        &format!("{about}\n{text}"),
    )?;
    Ok(true)
}

fn named(name: &str) -> Result<Deviation> {
    Deviation::ALL.iter().find(|(_, n)| *n == name).map(|(d, _)| *d).ok_or_else(|| {
        let known = Deviation::ALL.map(|(_, n)| n).join(", ");
        Error::new(format!("--deviation {name}: no such deviation, allowed {known}"))
    })
}

impl Options {
    fn line(&self, record: &Record, n: usize, deviation: Deviation, path: &Path) -> Result<Line> {
        let series = record.series(n);
        if deviation == Deviation::Total && series.runs.len() > 1 {
            let message = format!(
                "--deviation total: the record has {} stretches, allowed one, as it is continued beyond its ends",
                series.runs.len()
            );
            return Err(Error::in_file(path, None, message));
        }
        let times = times(&series, deviation, self.per_decade.into());
        let points =
            over_times(&series, self.integrated, deviation, &times, self.outputs.confidence);
        if points.is_empty() {
            let message = format!(
                "the longest stretch without a gap has {} rows, allowed {} for --deviation {}",
                series.longest(),
                deviation.averages() + 1,
                deviation.name()
            );
            return Err(Error::in_file(path, None, message));
        }
        Ok(Line { column: record.names[n].clone(), unit: record.unit(n), deviation, points })
    }
}

/// Kinds of noise by the exponent of the density of what is averaged.
fn noise(exponent: Option<i32>) -> &'static str {
    match exponent {
        Some(2) => "f^2",
        Some(1) => "f",
        Some(0) => "white",
        Some(-1) => "1/f",
        Some(-2) => "random walk (1/f^2)",
        Some(-3) => "1/f^3",
        Some(_) => "1/f^4",
        None => "not told",
    }
}

impl Line {
    /// The time deviation is a deviation times a second.
    fn unit(&self) -> String {
        if self.deviation == Deviation::Time {
            format!("{} s", self.unit)
        } else {
            self.unit.to_owned()
        }
    }

    fn text(&self) -> String {
        let mut text =
            format!("{}: {} deviation ({})\n", self.column, self.deviation.name(), self.unit());
        for p in &self.points {
            let interval =
                p.interval.map_or("no interval: too few averages".to_owned(), |[low, high]| {
                    format!("[{low:.3e}, {high:.3e}]")
                });
            let _ = writeln!(
                text,
                "  {:>10.3e} s  {:>10.3e}  {interval}  {}",
                p.tau_s,
                p.deviation,
                noise(p.exponent)
            );
        }
        text
    }

    fn json(&self) -> Value {
        let points: Vec<Value> = self
            .points
            .iter()
            .map(|p| {
                json!({
                    "tau_s": p.tau_s, "deviation": p.deviation, "differences": p.differences,
                    "low": p.interval.map(|i| i[0]), "high": p.interval.map(|i| i[1]),
                    "degrees_of_freedom": p.degrees, "noise_exponent": p.exponent,
                })
            })
            .collect();
        json!({
            "column": self.column, "unit": self.unit(), "deviation": self.deviation.name(), "points": points,
        })
    }
}

/// A row for each averaging time of each deviation; deviations are told by their place in the list.
fn write(path: &Path, lines: &[Line], source: &Source) -> Result<()> {
    let mut meta = Meta::new();
    meta.set("source", source.path().display());
    for (n, line) in lines.iter().enumerate() {
        meta.set(&format!("line_{n}"), format!("{} of {}", line.deviation.name(), line.column));
    }
    let numbers = ["tau_s", "deviation", "low", "high", "degrees_of_freedom", "noise_exponent"];
    let mut columns = vec![("line".to_owned(), Kind::Text)];
    columns.extend(numbers.map(|name| (name.to_owned(), Kind::Number)));
    let mut writer = Writer::create(path, &columns, &meta)?;
    for (n, line) in lines.iter().enumerate() {
        for p in &line.points {
            let or_none = |x: Option<f64>| Cell::Number(x.unwrap_or(f64::NAN));
            let name = format!("{}_{}", line.column, line.deviation.name());
            writer.push(&[
                Cell::Text(name, n as f64),
                Cell::Number(p.tau_s),
                Cell::Number(p.deviation),
                or_none(p.interval.map(|i| i[0])),
                or_none(p.interval.map(|i| i[1])),
                or_none(p.degrees),
                or_none(p.exponent.map(f64::from)),
            ])?;
        }
    }
    writer.finish()
}

fn html(lines: &[Line], about: &str, confidence: f64) -> String {
    let figures = lines.iter().map(|line| {
        let drawn = Figure {
            title: format!("{}: {} deviation", line.column, line.deviation.name()),
            x: "averaging time / s".to_owned(),
            y: format!("deviation / {}", line.unit()),
            scale: Scale::LogLog,
            curves: vec![
                Curve::new(&line.column, BLUE, line.points.iter().map(|p| (p.tau_s, p.deviation)).collect()),
            ],
            bands: vec![Band::interval(confidence, BLUE, (line.points.iter())
                    .filter_map(|p| p.interval.map(|[low, high]| [p.tau_s, low, high]))
                    .collect())],
 ..Figure::default()
 };
        let caption = format!(
            "Intervals of {} % from the noise found at each averaging time (Greenhall and Riley 2003).",
            confidence * 100.0
        );
        figure(&drawn, &caption)
    });
    let body = html! {
        h1 { "Stability" }
        p { (about) "." }
        @for drawn in figures { (drawn) }
    };
    page("quietgap: stability", &body)
}
