//! `quietgap response`.

mod found;
mod page;
mod show;

use super::marks::MarkOptions;
use super::optional_sensor;
use super::outputs::Outputs;
use super::record::{RecordOptions, in_range};
use crate::page::figure::Marks;
use clap::Args;
use num_complex::Complex64;
use quietgap_sim::attribution::together::{BAND, Together};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::modulation::drive::frequency;
use quietgap_sim::modulation::lines::{APART_BINS, Line, Rows};
use quietgap_sim::modulation::parts::{Part, Repeated};
use quietgap_sim::pendulum::Pendulum;
use quietgap_sim::records::{LeftOut, Record, Source};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    record: RecordOptions,
    /// Record of what drives: CSV, npy or Parquet; a sine of --frequency-hz when absent
    #[arg(long, value_name = "FILE", requires = "drive_column")]
    drive: Option<PathBuf>,
    /// Its column
    #[arg(long, value_name = "NAME")]
    drive_column: Option<String>,
    /// Rows a second of a drive's file without times
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    drive_rate: Option<f64>,
    /// Frequency of the drive, again for more; found in its record when absent
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    frequency_hz: Vec<f64>,
    /// Amplitude of a drive that is no record: amplitude sin(2 pi f t + phase)
    #[arg(long, default_value_t = 1.0, allow_negative_numbers = true)]
    amplitude: f64,
    /// Its phase at time 0
    #[arg(long, value_name = "RAD", default_value_t = 0.0, allow_negative_numbers = true)]
    phase_rad: f64,
    /// Its unit
    #[arg(long, value_name = "UNIT", default_value = "unit")]
    unit: String,
    /// Harmonics of every frequency that are looked at
    #[arg(long, default_value_t = 2)]
    harmonics: usize,
    /// Distance of sidebands that are looked at on both sides of every frequency, again for more
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    sideband_hz: Vec<f64>,
    /// Another line of the reading that is fitted with these, so that they stay clear of it; again for more. The sensor
    /// file's pendulum is one
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    also_hz: Vec<f64>,
    /// First moment that counts, when what was switched on has settled
    #[arg(long, value_name = "S", default_value_t = f64::NEG_INFINITY, hide_default_value = true, allow_negative_numbers = true)]
    from: f64,
    /// Last moment that counts
    #[arg(long, value_name = "S", default_value_t = f64::INFINITY, hide_default_value = true, allow_negative_numbers = true)]
    to: f64,
    /// Sensor file whose budget and geometry are told beside, or the name of a built-in sensor
    #[arg(long, value_name = "SENSOR")]
    sensor: Option<String>,
    #[command(flatten)]
    marks: MarkOptions,
    #[command(flatten)]
    outputs: Outputs,
}

/// A line with what drives it.
struct Response {
    line: Line,
    /// Which of the drive's frequencies, by which factor, and how far beside.
    harmonic: usize,
    sideband_hz: f64,
    /// Over the drive's own line here, where it has one: value, standard uncertainty of both parts.
    linear: Option<(Complex64, f64)>,
    /// Over the line of the drive's square.
    squared: Option<(Complex64, f64)>,
    repeated: Option<Repeated>,
    /// Amplitude density that the budget predicts.
    predicted: Option<f64>,
}

/// A charge by a torque per volt.
struct Charge {
    coulomb: f64,
    uncertainty: f64,
    degrees: f64,
    /// Growth, C/s, and its standard uncertainty.
    rate: Option<[f64; 2]>,
    /// What a volt of stray voltage on the driven electrode would look like.
    per_stray_volt: f64,
}

/// What was found.
struct Found {
    reading: String,
    unit: &'static str,
    drive: String,
    drive_unit: String,
    frequencies_hz: Vec<f64>,
    found_frequency: bool,
    seconds: f64,
    cycles: f64,
    parts: Vec<Part>,
    responses: Vec<Response>,
    charge: Option<Charge>,
    warnings: Vec<String>,
    marks: Vec<Marks>,
    left_out: LeftOut,
    confidence: f64,
}

/// Band beyond the highest line, over its frequency.
const ABOVE: f64 = 1.6;
/// Fewest rows that a record is brought down to: filters reach beyond some tens of them at each end.
const ROWS: f64 = 2500.0;
/// A drive's line counts that is beyond so many of its uncertainties, and this part of its largest.
const SEEN: [f64; 2] = [5.0, 1e-6];

pub(super) fn run(options: &Options) -> Result<bool> {
    let (sensor, files) = optional_sensor(options.sensor.as_deref())?;
    let given = std::iter::once(&options.record.file)
        .chain(&options.drive)
        .chain(&files)
        .chain(options.marks.file());
    options.outputs.check(&given.map(PathBuf::as_path).collect::<Vec<&Path>>(), &[])?;
    in_range("--harmonics", options.harmonics as f64, 1.0, 20.0)?;
    if options.drive.is_none() && options.frequency_hz.is_empty() {
        return Err(Error::new("--frequency-hz: wanted where no --drive tells it"));
    }
    for f in options.frequency_hz.iter().chain(&options.sideband_hz).chain(&options.also_hz) {
        in_range("a frequency", *f, 1e-9, 1e6)?;
    }
    if options.amplitude == 0.0 || !options.amplitude.is_finite() {
        return Err(Error::new(format!(
            "--amplitude {}: allowed a number but 0",
            options.amplitude
        )));
    }
    let marks = options.marks.read()?;
    let source = options.record.open()?;
    let column = options.record.one(&source, "the reading that responds")?;
    let reading = options.record.read(&source, std::slice::from_ref(&column))?;
    let drive = drive(options)?;
    let (frequencies, found_frequency) = frequencies(options, drive.as_ref())?;
    let places = places(&frequencies, options);
    let highest = places.iter().map(|p| p.0).fold(0.0, f64::max);
    let lowest_rate = drive.iter().map(|d| d.rate_hz).fold(reading.rate_hz, f64::min);
    // No lower a rate than keeps most of the record within reach of all filters.
    let to_hz = (ABOVE * highest).max(BAND * ROWS / reading.seconds());
    if highest > BAND * lowest_rate {
        return Err(Error::new(format!(
            "a line at {highest} Hz: allowed up to {} Hz, {BAND} of the lowest rate; fewer --harmonics bring it down",
            BAND * lowest_rate
        )));
    }
    let others: Vec<(String, Record)> =
        drive.into_iter().map(|drive| ("drive".to_owned(), drive)).collect();
    let mut together = Together::new(&reading, &others, Some(to_hz.min(BAND * lowest_rate)), 0.0)?;
    together.between(options.from, options.to)?;
    let others = others_than(&places, options, sensor.as_ref(), &together);
    let mut found = Found::new(options, &together, column, frequencies, (&places, &others))?;
    found.found_frequency = found_frequency;
    found.left_out = reading.left_out;
    found.marks = marks;
    if let Some(sensor) = &sensor {
        found.compare(sensor);
    }
    found.warn();
    options.outputs.finish(
        |path| found.write(path),
        || found.html(),
        || found.json(),
        &found.text(),
    )?;
    Ok(true)
}

fn drive(options: &Options) -> Result<Option<Record>> {
    let (Some(path), Some(column)) = (&options.drive, &options.drive_column) else {
        return Ok(None);
    };
    let source = Source::open(path, options.drive_rate)?;
    let record = source.read(std::slice::from_ref(column), options.record.flagged, &|_| {})?;
    if record.series(0).is_constant() {
        let message = format!("column {column} has the same value in all rows: it drives nothing");
        return Err(Error::in_file(path, None, message));
    }
    Ok(Some(record))
}

/// The drive's frequencies, and whether its record told them.
fn frequencies(options: &Options, drive: Option<&Record>) -> Result<(Vec<f64>, bool)> {
    let Some(drive) = drive.filter(|_| options.frequency_hz.is_empty()) else {
        return Ok((options.frequency_hz.clone(), false));
    };
    let rows = Rows {
        values: &drive.columns[0],
        times_s: &drive.times_s(),
        runs: &drive.runs,
        rate_hz: drive.rate_hz,
    };
    let found = frequency(&rows).ok_or_else(|| {
        Error::new("the drive goes through less than three cycles: allowed with --frequency-hz")
    })?;
    Ok((vec![found], true))
}

/// Frequencies of all lines, each with its harmonic and its distance from that.
fn places(frequencies: &[f64], options: &Options) -> Vec<(f64, usize, f64)> {
    let harmonics = frequencies.iter().flat_map(|f| {
        (1..=options.harmonics).map(move |harmonic| (f * harmonic as f64, harmonic, 0.0))
    });
    let sidebands = frequencies.iter().flat_map(|f| {
        options.sideband_hz.iter().flat_map(move |s| [*s, -s].map(|s| (f + s, 1, s)))
    });
    let mut out: Vec<(f64, usize, f64)> = Vec::new();
    for place in harmonics.chain(sidebands) {
        // One line serves two that fall together.
        let new = out.iter().all(|other| (other.0 - place.0).abs() > 1e-9 * place.0.abs());
        if place.0 > 0.0 && new {
            out.push(place);
        }
    }
    out
}

/// Lines that are fitted and not told: those asked for, and the free swing where the band holds it and it stands clear.
fn others_than(
    places: &[(f64, usize, f64)],
    options: &Options,
    sensor: Option<&Sensor>,
    together: &Together,
) -> Vec<f64> {
    let swing = sensor.and_then(|s| Pendulum::new(&s.file)).map(|p| 1.0 / p.period_s());
    let longest = together.runs.iter().map(std::ops::Range::len).max().unwrap_or(0).max(1);
    let bin = together.rate_hz / longest as f64;
    let clear = |f: &f64| {
        *f < together.to_hz && places.iter().all(|p| (p.0 - f).abs() > 2.0 * APART_BINS * bin)
    };
    let inside = options.also_hz.iter().copied().filter(|f| *f < together.rate_hz / 2.0);
    inside.chain(swing.filter(clear)).collect()
}
