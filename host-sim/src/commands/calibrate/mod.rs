//! `quietgap calibrate`.

mod show;

use super::record::in_range;
use super::{distinct, one_standard, print_json, put_page, say, sensor_files};
use crate::calibration::bridges::{Forward, Found, Point, fit};
use crate::calibration::{reference, steps};
use crate::error::{Error, Result, read_text};
use crate::instrument::calibration_file::{date, days, today};
use crate::instrument::{AXES, BUILT_IN, Sensor};
use crate::page::output::AtomicFile;
use crate::readout::readings;
use crate::records::Source;
use clap::Args;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Readings while a stage stood at place after place: CSV, npy or Parquet
    readings: PathBuf,
    /// Its places: CSV with t_s and the sensor's axes, each row held until the next
    reference: PathBuf,
    /// Sensor that the readings were made with: a file, or the name of a built-in sensor
    #[arg(long)]
    sensor: String,
    /// Sensor file to write: the one given, and a [calibration]
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Seconds after each move that are left out
    #[arg(long, value_name = "S", default_value_t = 1.0, allow_negative_numbers = true)]
    settle: f64,
    /// Relative standard uncertainty of the stage's scale
    #[arg(long, value_name = "U", default_value_t = 0.0, allow_negative_numbers = true)]
    stage_scale: f64,
    /// Rows a second, for readings without times
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    rate: Option<f64>,
    /// Probability that intervals hold the true value
    #[arg(long, value_name = "P", default_value_t = 0.95, allow_negative_numbers = true)]
    confidence: f64,
    /// Day to write down; today when absent
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// Page with figures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

/// What was found.
struct Calibrated {
    sensor: Sensor,
    date: String,
    points: Vec<Point>,
    found: Vec<Found>,
    confidence: f64,
    stage_scale: f64,
    settings_checksum: String,
    data_checksum: String,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--confidence", options.confidence, 0.01, 0.9999)?;
    in_range("--settle", options.settle, 0.0, 1e6)?;
    in_range("--stage-scale", options.stage_scale, 0.0, 1.0)?;
    one_standard(options.json, Some(&options.out))?;
    let day = match &options.date {
        Some(given) if days(given).is_some() => given.clone(),
        Some(given) => {
            return Err(Error::new(format!("--date {given}: allowed a day as 2026-11-27")));
        }
        None => date(today()),
    };
    let sensor = Sensor::load(&options.sensor)?;
    let files = sensor_files(&options.sensor, &sensor);
    let mut inputs: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    inputs.extend([options.readings.as_path(), options.reference.as_path()]);
    let outputs: Vec<&Path> =
        std::iter::once(&options.out).chain(&options.report).map(PathBuf::as_path).collect();
    distinct(&inputs, &outputs)?;
    let folder = |path: &Path| path.parent().map(Path::to_owned).unwrap_or_default();
    if let Some(plan) = &sensor.file.plan_file
        && folder(&options.out) != folder(Path::new(&options.sensor))
    {
        let message = format!(
            "stands in another folder than the sensor file, whose plan is `{plan}` beside it"
        );
        return Err(Error::in_file(&options.out, None, message));
    }
    Forward::new(&sensor)?;
    let places = reference::read(&options.reference, sensor.axes())?;
    let source = Source::open(&options.readings, options.rate)?;
    let settings_checksum = readings::settings_checksum(&sensor);
    if let Some(made_with) =
        source.meta.get("settings_checksum").filter(|sum| *sum != settings_checksum)
    {
        let message = format!(
            "was made with settings of checksum {made_with}, those of {} have {settings_checksum}: another sensor, plan or \
             calibration",
            options.sensor
        );
        return Err(Error::in_file(&options.readings, None, message));
    }
    let mut columns: Vec<String> = sensor.axes().iter().map(|a| AXES[*a].1.to_owned()).collect();
    columns.extend(sensor.file.bridges.iter().map(|b| format!("{}_quadrature", b.name)));
    let record = source.read(&columns, false, &|_| {})?;
    let axes = sensor.axes().len();
    let points: Vec<Point> = steps::points(&record, &places, options.settle)?
        .into_iter()
        .map(|p| Point {
            place: p.place,
            read: p.mean[..axes].to_vec(),
            quadrature: p.mean[axes..].to_vec(),
            noise: p.uncertainty[..axes].to_vec(),
        })
        .collect();
    let found = fit(&sensor, &points)?;
    let found = Calibrated {
        date: day,
        points,
        found,
        confidence: options.confidence,
        stage_scale: options.stage_scale,
        settings_checksum,
        data_checksum: sum_of(&[&options.readings, &options.reference])?,
        sensor: sensor.clone(),
    };
    let wrong = found.wrong();
    if !wrong.is_empty() {
        return Err(Error::new(wrong.join("; ")));
    }
    let text = found.sensor_text(options)?;
    // What is written is what will be read.
    Sensor::parse(Path::new(&options.sensor), &text)?;
    let page = options.report.as_deref().map(AtomicFile::create).transpose()?;
    let mut out = AtomicFile::create(&options.out)?;
    out.write(|file| file.write_all(text.as_bytes()))?;
    out.finish()?;
    put_page(page, || found.html())?;
    if options.json {
        print_json(&found.json());
    }
    say(options.json || options.out == Path::new("-"), &found.text());
    Ok(true)
}

/// Start of what is written behind a sensor file; an older calibration from here on is replaced.
const MARK: &str =
    "# Calibration, written by `quietgap calibrate`. Keep it last: the next one replaces it.";

impl Calibrated {
    /// The sensor file, with this calibration in place of one before.
    fn sensor_text(&self, options: &Options) -> Result<String> {
        let built_in = BUILT_IN.iter().find(|(name, _)| *name == options.sensor);
        let text = match built_in {
            Some((_, text)) => (*text).to_owned(),
            None => read_text(Path::new(&options.sensor), "sensor file")?,
        };
        let before = text.split(MARK).next().unwrap_or(&text).trim_end().to_owned();
        let name = |path: &Path| -> String {
            path.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned())
        };
        let mut out = format!(
            "{before}\n\n{MARK}\n[calibration]\nsensor = {:?}\ndate = {:?}\nreadings = {:?}\nreference = {:?}\n\
             data_checksum = {:?}\nsettings_checksum = {:?}\n",
            self.sensor.file.name,
            self.date,
            name(&options.readings),
            name(&options.reference),
            self.data_checksum,
            self.settings_checksum
        );
        for constants in self.constants() {
            out += &constants.toml();
        }
        Ok(out)
    }
}

/// FNV-1a of 64 bits over all files, one behind the other.
fn sum_of(paths: &[&Path]) -> Result<String> {
    let mut sum = 0xcbf2_9ce4_8422_2325_u64;
    for path in paths {
        let bytes = std::fs::read(path).map_err(|e| Error::in_file(path, None, e))?;
        for byte in bytes {
            sum = (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    Ok(format!("{sum:#018x}"))
}
