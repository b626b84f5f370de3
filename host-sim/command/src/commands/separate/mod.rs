//! `quietgap separate`.

mod show;

use super::outputs::Outputs;
use super::progress;
use super::record::in_range;
use clap::Args;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::meta::Meta;
use quietgap_sim::records::resample::Column;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use quietgap_sim::records::{Record, Source};
use quietgap_sim::separation::align::{Alignment, align};
use quietgap_sim::separation::noise::{Split, frequencies, of_three, of_two};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Record of the first sensor, whose scale and times count: CSV, npy or Parquet
    first: PathBuf,
    /// Record of a second sensor of the same motion
    second: PathBuf,
    /// Record of a third
    third: Option<PathBuf>,
    /// Column of the first's record
    #[arg(long, value_name = "NAME")]
    column: String,
    /// Column of the second's and third's record, one each; the first's name when absent
    #[arg(long, value_name = "NAME")]
    other: Vec<String>,
    /// Rows a second, for files without times
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    rate: Option<f64>,
    /// Also use readings that are flagged as faulty
    #[arg(long)]
    flagged: bool,
    /// Largest delay between the sensors' times that is looked for
    #[arg(long, value_name = "S", default_value_t = 10.0, allow_negative_numbers = true)]
    within: f64,
    /// Highest frequency; 0.35 of the lower rate when absent
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    to_hz: Option<f64>,
    #[command(flatten)]
    outputs: Outputs,
}

/// What was found.
struct Found {
    /// File and column of each sensor.
    names: Vec<String>,
    unit: &'static str,
    /// Of the second and third.
    alignments: Vec<Alignment>,
    seconds: f64,
    split: Split,
    confidence: f64,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--within", options.within, 0.0, 1e4)?;
    let paths: Vec<&Path> = [&options.first, &options.second]
        .into_iter()
        .chain(&options.third)
        .map(PathBuf::as_path)
        .collect();
    options.outputs.check(&paths, &[])?;
    if options.other.len() >= paths.len() {
        return Err(Error::new(format!(
            "--other: given {} times, allowed {}: one for each record but the first",
            options.other.len(),
            paths.len() - 1
        )));
    }
    let (mut records, mut names) = (Vec::new(), Vec::new());
    for (n, path) in paths.iter().enumerate() {
        let column = match n.checked_sub(1) {
            Some(other) => options.other.get(other).unwrap_or(&options.column),
            None => &options.column,
        };
        records.push(read(path, column, options)?);
        names.push(format!("{} {column}", path.display()));
    }
    let bar = progress(records.len() as u64);
    let mut pairs = Vec::new();
    for (record, name) in records[1..].iter().zip(&names[1..]) {
        let [one, two] = [&records[0], record].map(|record| Column { record, n: 0 });
        let pair = align(one, two, options.within)
            .map_err(|e| Error::new(format!("{} and {name}: {e}", names[0])))?;
        pairs.push(pair);
        bar.inc(1);
    }
    bar.finish_and_clear();
    let lowest = records.iter().map(|r| r.rate_hz).fold(f64::INFINITY, f64::min);
    let half = records[0].rate_hz / 2.0;
    let to_hz = match options.to_hz {
        Some(given) => in_range("--to-hz", given, 1e-9, (0.42 * lowest).min(half))?,
        None => (0.35 * lowest).min(half),
    };
    let longest =
        pairs.iter().map(|p| p.runs.iter().map(std::ops::Range::len).max().unwrap_or(0)).min();
    let rate_hz = records[0].rate_hz;
    let longest = longest.unwrap_or(0);
    let split = frequencies(longest, rate_hz, to_hz).and_then(|pitches| match &pairs[..] {
        [one, two] => of_three([one, two], &pitches),
        pairs => of_two(&pairs[0], &pitches),
    });
    let split = split.ok_or_else(|| {
        let seconds = longest as f64 / rate_hz;
        Error::new(format!(
            "{}: the longest stretch that all have is {seconds} s: too short to tell noises apart",
            names.join(" and ")
        ))
    })?;
    let found = Found {
        unit: records[0].unit(0),
        seconds: pairs[0].runs.iter().map(std::ops::Range::len).sum::<usize>() as f64 / rate_hz,
        alignments: pairs.iter().map(|p| p.alignment).collect(),
        names,
        split,
        confidence: options.outputs.confidence,
    };
    options.outputs.finish(
        |path| found.write(path),
        || found.html(),
        || found.json(),
        &found.text(),
    )?;
    Ok(true)
}

fn read(path: &Path, column: &str, options: &Options) -> Result<Record> {
    let source = Source::open(path, options.rate)?;
    let record = source.read(&[column], options.flagged, &|_| {})?;
    if record.series(0).is_constant() {
        let message = format!("column {column} has the same value in all rows: nothing moved");
        return Err(Error::in_file(path, None, message));
    }
    Ok(record)
}

impl Found {
    /// Ends of a noise's interval, as amplitudes: what is below zero by chance is zero.
    fn interval(&self, [power, uncertainty]: [f64; 2]) -> [f64; 3] {
        let wide = show::quantile(self.confidence) * uncertainty;
        [power, power - wide, power + wide].map(|p| p.max(0.0).sqrt())
    }

    fn write(&self, path: &Path) -> Result<()> {
        let mut meta = Meta::new();
        for (n, name) in self.names.iter().enumerate() {
            meta.set(&format!("sensor_{}", n + 1), name);
        }
        let mut columns = vec!["frequency_hz".to_owned(), "coherence".to_owned()];
        columns.extend(["whole_1_asd", "whole_2_asd"].map(str::to_owned));
        for n in 1..=self.names.len() {
            columns.extend(["asd", "low", "high"].map(|what| format!("noise_{n}_{what}")));
        }
        let columns: Vec<(String, Kind)> = columns.into_iter().map(|c| (c, Kind::Number)).collect();
        let mut writer = Writer::create(path, &columns, &meta)?;
        let split = &self.split;
        for (k, bin) in split.bins.iter().enumerate() {
            let whole = [0, 1].map(|n| split.whole[n].power[k].sqrt());
            let noises = split
                .noises
                .iter()
                .flat_map(|noise| self.interval([noise.power[k], noise.uncertainty[k]]));
            let row = [bin.frequency_hz, split.coherence[k]].into_iter().chain(whole).chain(noises);
            writer.push(&row.map(Cell::Number).collect::<Vec<_>>())?;
        }
        writer.finish()
    }
}
