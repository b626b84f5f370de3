//! `quietgap calibrate`.

mod show;

use super::record::in_range;
use super::{distinct, one_standard, print_json, put_page, say, sensor_files};
use clap::Args;
use quietgap_sim::calibration::bridges::{Forward, Found, Point, fit};
use quietgap_sim::calibration::sweep::Swept;
use quietgap_sim::calibration::{reference, steps, sweep};
use quietgap_sim::error::{Error, Result, read_text};
use quietgap_sim::instrument::calibration_file::{date, days, today};
use quietgap_sim::instrument::{AXES, BUILT_IN, Sensor};
use quietgap_sim::output::AtomicFile;
use quietgap_sim::readout::readings;
use quietgap_sim::records::{Record, Source};
use quietgap_sim::separation::align::Alignment;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Readings while a stage stood at place after place: CSV, npy or Parquet
    readings: PathBuf,
    /// Its places: CSV with t_s and the sensor's axes, each row held until the next; with --swept a record of the motion
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
    /// REFERENCE is a record of the same motion while it goes on: CSV, npy or Parquet, of a stage or an interferometer
    #[arg(long, conflicts_with = "settle")]
    swept: bool,
    /// Largest delay between the two records that is looked for
    #[arg(
        long,
        value_name = "S",
        default_value_t = 10.0,
        allow_negative_numbers = true,
        requires = "swept"
    )]
    within: f64,
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
    /// How the times of a reference that was recorded go.
    swept: Option<Alignment>,
    found: Vec<Found>,
    confidence: f64,
    stage_scale: f64,
    settings_checksum: String,
    data_checksum: String,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    in_range("--confidence", options.confidence, 0.01, 0.9999)?;
    in_range("--settle", options.settle, 0.0, 1e6)?;
    in_range("--within", options.within, 0.0, 1e4)?;
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
    // Before the readings, which take longer.
    let reference = if options.swept {
        Reference::Record(motion(&options.reference, &sensor)?)
    } else {
        Reference::Places(reference::read(&options.reference, sensor.axes())?)
    };
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
    let (points, swept, found) = match &reference {
        Reference::Places(places) => {
            let points = stays(&record, axes, places, options.settle)?;
            let found = fit(&sensor, &points, None)?;
            (points, None, found)
        }
        Reference::Record((motion, columns)) => {
            let reference = sweep::Reference { record: motion, columns };
            let swept = sweep::calibrate(&sensor, &record, &reference, options.within);
            let Swept { points, alignment, found } = swept.map_err(|e| {
                let [readings, reference] =
                    [&options.readings, &options.reference].map(|path| path.display());
                Error::new(format!("{readings} and {reference}: {e}"))
            })?;
            (points, Some(alignment), found)
        }
    };
    let found = Calibrated {
        date: day,
        points,
        swept,
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

/// Where the mass was.
enum Reference {
    Places(Vec<(f64, Vec<f64>)>),
    /// Which of the sensor's axes each column is.
    Record((Record, Vec<usize>)),
}

/// A record of a sensor's axes: those that it has.
fn motion(path: &Path, sensor: &Sensor) -> Result<(Record, Vec<usize>)> {
    let source = Source::open(path, None)?;
    let known: Vec<&str> = sensor.axes().iter().map(|a| AXES[*a].1).collect();
    let has = |axis: &usize| source.names().any(|name| name == known[*axis]);
    let columns: Vec<usize> = (0..known.len()).filter(has).collect();
    if columns.is_empty() {
        let message = format!("reference: has none of {}", known.join(", "));
        return Err(Error::in_file(path, None, message));
    }
    let names: Vec<&str> = columns.iter().map(|axis| known[*axis]).collect();
    Ok((source.read(&names, false, &|_| {})?, columns))
}

/// A point of each stay.
fn stays(
    readings: &Record,
    axes: usize,
    places: &[(f64, Vec<f64>)],
    settle_s: f64,
) -> Result<Vec<Point>> {
    let stays = steps::points(readings, places, settle_s)?;
    let point = |p: steps::Point| Point {
        place: p.place,
        read: p.mean[..axes].to_vec(),
        quadrature: p.mean[axes..].to_vec(),
        noise: Some(p.uncertainty[..axes].to_vec()),
    };
    Ok(stays.into_iter().map(point).collect())
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
