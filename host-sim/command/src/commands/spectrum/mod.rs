//! `quietgap spectrum`.

pub(super) mod against;
mod page;
mod pair;
mod show;

use super::outputs::Outputs;
use super::record::{RecordOptions, in_range};
use against::Against;
use clap::{Args, ValueEnum};
use quietgap_sim::analysis::density::{Cross, Density, Detrend};
use quietgap_sim::analysis::log_spaced::{self, Pitch, Weighing, Wish};
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::welch::{self, Cut};
use quietgap_sim::analysis::window::Window;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::records::{LeftOut, Record};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    record: RecordOptions,
    /// Frequencies: evenly spaced on a logarithmic axis, or those of one segment length
    #[arg(long, value_enum, default_value = "log-spaced")]
    method: Method,
    /// Window: rectangle, hann, hamming, blackman-harris, kaiser-2 to kaiser-4, or a flat top (hft70 to
    /// hft248d, sft3f to sft5m)
    #[arg(long, value_name = "NAME", default_value = "hann")]
    window: String,
    /// Overlap of segments; the window's own when absent
    #[arg(long, value_name = "FRACTION", allow_negative_numbers = true)]
    overlap: Option<f64>,
    /// What is taken off every segment
    #[arg(long, value_enum, default_value = "mean")]
    detrend: Trend,
    /// Length of a segment (welch); an eighth of the longest stretch without a gap when absent
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    segment_s: Option<f64>,
    /// Frequencies, about (log-spaced)
    #[arg(long, value_name = "N", default_value_t = 300, value_parser = clap::value_parser!(u32).range(2..=100_000))]
    frequencies: u32,
    /// Segments averaged where the record is long enough (log-spaced)
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    averages: u32,
    /// Lowest frequency
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    from_hz: Option<f64>,
    /// Highest frequency
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    to_hz: Option<f64>,
    /// Also the rms between two frequencies, LOW:HIGH in Hz; again for more
    #[arg(long, value_name = "LOW:HIGH")]
    band: Vec<String>,
    /// Also coherence and transfer function of two columns, INPUT:OUTPUT; again for more
    #[arg(long, value_name = "INPUT:OUTPUT")]
    pair: Vec<String>,
    /// Requirement or older result to lay over it (frequency_hz and a density); again for more
    #[arg(long, value_name = "FILE")]
    against: Vec<PathBuf>,
    #[command(flatten)]
    outputs: Outputs,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum Method {
    /// Each frequency with segments as long as suits it.
    LogSpaced,
    /// Averaged periodograms of one length.
    Welch,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum Trend {
    /// The mean.
    Mean,
    /// The straight line through it.
    Line,
    /// Nothing.
    None,
}

/// How densities are made.
#[derive(Debug, Clone, Copy)]
struct How {
    method: Method,
    weighing: Weighing,
    options: Limits,
}

/// Choices that need a record to become numbers.
#[derive(Debug, Clone, Copy)]
struct Limits {
    segment_s: Option<f64>,
    frequencies: u32,
    averages: u32,
    from_hz: Option<f64>,
    to_hz: Option<f64>,
    confidence: f64,
}

/// A column's density.
struct Column {
    name: String,
    unit: &'static str,
    density: Density,
    /// From, to, rms, relative standard uncertainty.
    bands: Vec<[f64; 4]>,
}

/// Two columns.
struct Pair {
    names: [String; 2],
    units: [&'static str; 2],
    cross: Cross,
}

/// All that a run found.
struct Found {
    path: PathBuf,
    how: How,
    rate_hz: f64,
    seconds: f64,
    runs: usize,
    left_out: LeftOut,
    columns: Vec<Column>,
    pairs: Vec<Pair>,
    against: Vec<Against>,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let how = options.how()?;
    let bands = options.band.iter().map(|text| band(text)).collect::<Result<Vec<_>>>()?;
    let inputs: Vec<&Path> = std::iter::once(&options.record.file)
        .chain(&options.against)
        .map(PathBuf::as_path)
        .collect();
    options.outputs.check(&inputs, &[])?;
    let mut against =
        options.against.iter().map(|path| Against::read(path)).collect::<Result<Vec<_>>>()?;
    let source = options.record.open()?;
    let names = options.record.columns(&source);
    let (mut columns, mut pairs, mut seen) = (Vec::new(), Vec::new(), None);
    for group in options.record.groups(&names) {
        let record = options.record.read(&source, &group)?;
        for n in 0..group.len() {
            columns.push(how.column(&record, n, &bands, source.path())?);
        }
        seen = Some((record.rate_hz, record.seconds(), record.runs.len(), record.left_out));
    }
    for text in &options.pair {
        let both: Vec<String> = text.split(':').map(str::to_owned).collect();
        let [_, _] = both.as_slice() else {
            return Err(Error::new(format!("--pair {text}: allowed INPUT:OUTPUT, two columns")));
        };
        let record = options.record.read(&source, &both)?;
        pairs.push(how.pair(&record, source.path())?);
    }
    let Some((rate_hz, seconds, runs, left_out)) = seen else {
        return Err(Error::in_file(source.path(), None, "has no column that can be analysed"));
    };
    against.iter_mut().try_for_each(|line| line.compare(&columns))?;
    let path = options.record.file.clone();
    let found = Found { path, how, rate_hz, seconds, runs, left_out, columns, pairs, against };
    options.outputs.finish(
        |out| found.write(out, &source.meta),
        || found.html(),
        || found.json(),
        &found.text(),
    )?;
    Ok(true)
}

impl Options {
    fn how(&self) -> Result<How> {
        let window = Window::named(&self.window).ok_or_else(|| {
            let known = Window::ALL.map(|w| w.name).join(", ");
            Error::new(format!("--window {}: no such window, allowed {known}", self.window))
        })?;
        let overlap = in_range("--overlap", self.overlap.unwrap_or(window.overlap), 0.0, 0.99)?;
        let detrend = match self.detrend {
            Trend::Mean => Detrend::Mean,
            Trend::Line => Detrend::Line,
            Trend::None => Detrend::None,
        };
        for (name, value) in
            [("--from-hz", self.from_hz), ("--to-hz", self.to_hz), ("--segment-s", self.segment_s)]
        {
            in_range(name, value.unwrap_or(1.0), 1e-12, 1e12)?;
        }
        Ok(How {
            method: self.method,
            weighing: Weighing { window, overlap, detrend },
            options: Limits {
                segment_s: self.segment_s,
                frequencies: self.frequencies,
                averages: self.averages,
                from_hz: self.from_hz,
                to_hz: self.to_hz,
                confidence: self.outputs.confidence,
            },
        })
    }
}

/// LOW:HIGH.
pub(super) fn band(text: &str) -> Result<[f64; 2]> {
    let ends: Option<Vec<f64>> = text.split(':').map(|part| part.trim().parse().ok()).collect();
    match ends.as_deref() {
        Some([low, high]) if *low >= 0.0 && high > low && high.is_finite() => Ok([*low, *high]),
        _ => Err(Error::new(format!("--band {text}: allowed LOW:HIGH in Hz, rising"))),
    }
}

impl How {
    fn column(&self, record: &Record, n: usize, bands: &[[f64; 2]], path: &Path) -> Result<Column> {
        let series = record.series(n);
        let density = match self.method {
            Method::Welch => welch::auto(&series, self.cut(&series, path)?),
            Method::LogSpaced => {
                Some(log_spaced::auto(&series, &self.pitches(&series, path)?, self.weighing))
            }
        };
        let density = self.limited(density.expect("lengths fit the longest run"));
        let rms = |[from, to]: &[f64; 2]| {
            let (rms, uncertainty) = density.rms(*from, *to).ok_or_else(|| {
                let [first, last] = ends(&density);
                Error::new(format!("--band {from}:{to}: allowed within {first} to {last} Hz"))
            })?;
            Ok([*from, *to, rms, uncertainty])
        };
        let bands = bands.iter().map(rms).collect::<Result<_>>()?;
        Ok(Column { name: record.names[n].clone(), unit: record.unit(n), density, bands })
    }

    fn pair(&self, record: &Record, path: &Path) -> Result<Pair> {
        let [x, y] = [record.series(0), record.series(1)];
        let cross = match self.method {
            Method::Welch => welch::cross(&x, &y, self.cut(&x, path)?),
            Method::LogSpaced => log_spaced::cross(&x, &y, &self.pitches(&x, path)?, self.weighing),
        };
        Ok(Pair {
            names: [0, 1].map(|n| record.names[n].clone()),
            units: [0, 1].map(|n| record.unit(n)),
            cross: cross.expect("columns of one record share their times"),
        })
    }

    /// Segments of one length.
    fn cut(&self, series: &Series<'_>, path: &Path) -> Result<Cut> {
        let longest = series.longest();
        let length = match self.options.segment_s {
            Some(seconds) => (seconds * series.rate_hz).round() as usize,
            None => (longest / 8).max(2),
        };
        let least = 2.0 * self.weighing.window.lobe_bins();
        if (length as f64) < least || length > longest {
            let [low, high] = [least / series.rate_hz, longest as f64 / series.rate_hz];
            let given = length as f64 / series.rate_hz;
            let message = format!(
                "a segment of {given} s: allowed {low} s (the window's lobe) to {high} s (the longest stretch \
                 without a gap)"
            );
            return Err(Error::in_file(path, None, message));
        }
        let Weighing { window, overlap, detrend } = self.weighing;
        let hop = (((1.0 - overlap) * length as f64).round() as usize).max(1);
        Ok(Cut { length, hop, window, detrend })
    }

    /// Frequencies of the log-spaced estimate.
    fn pitches(&self, series: &Series<'_>, path: &Path) -> Result<Vec<Pitch>> {
        let lobe = self.weighing.window.lobe_bins();
        let (longest, rate) = (series.longest(), series.rate_hz);
        let lowest = lobe * rate / longest as f64;
        let from_hz = self.options.from_hz.unwrap_or(lowest);
        let to_hz = self.options.to_hz.unwrap_or(rate / 2.0);
        // Two lobes of room make a spectrum.
        if from_hz < lowest * (1.0 - 1e-9) || to_hz > rate / 2.0 || from_hz * 2.0 > to_hz {
            let message = format!(
                "frequencies {from_hz} to {to_hz} Hz: allowed {lowest} Hz (the longest stretch without a gap, \
                 {longest} rows) to {} Hz, an octave at least",
                rate / 2.0
            );
            return Err(Error::in_file(path, None, message));
        }
        let wish = Wish {
            from_hz,
            to_hz,
            count: self.options.frequencies as usize,
            averages: self.options.averages as usize,
            overlap: self.weighing.overlap,
            lobe,
        };
        Ok(log_spaced::pitches(longest, rate, &wish))
    }

    /// Without the frequencies that were not asked for.
    fn limited(&self, density: Density) -> Density {
        let keep = |f: f64| {
            self.options.from_hz.is_none_or(|from| f >= from)
                && self.options.to_hz.is_none_or(|to| f <= to)
        };
        let kept =
            density.bins.iter().zip(&density.power).filter(|(bin, _)| keep(bin.frequency_hz));
        let (bins, power) = kept.map(|(bin, power)| (*bin, *power)).unzip();
        Density { bins, power, window: density.window }
    }
}

/// Lowest and highest frequency.
fn ends(density: &Density) -> [f64; 2] {
    let end = |bin: Option<&quietgap_sim::analysis::density::Bin>| {
        bin.map_or(f64::NAN, |b| b.frequency_hz)
    };
    [end(density.bins.first()), end(density.bins.last())]
}
