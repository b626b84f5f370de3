//! `quietgap fringes`.

mod show;

use super::record::in_range;
use super::{Words, distinct, one_standard, print_json, progress, put_page, say, sensor_files};
use clap::{Args, ValueEnum};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::file::InterferometerFile;
use quietgap_sim::instrument::{AXES, Sensor};
use quietgap_sim::interferometer::geometry::Geometry;
use quietgap_sim::interferometer::readings::{FAULTS, Readings, Row, Seen};
use quietgap_sim::interferometer::track::{Manner, Track, tracks};
use quietgap_sim::output::AtomicFile;
use quietgap_sim::readout::capture::{Capture, Wanted};
use quietgap_sim::records::meta::{Meta, RATE};
use quietgap_sim::records::write::{Cell, Kind, Writer};
use quietgap_sim::records::{HEALTH, TIME};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Sensor file with an [interferometer], or the name of a built-in sensor
    sensor: String,
    /// Record of the detectors: npy (int32 or int16) or WAV/RF64 (16, 24 or 32 bits)
    detectors: PathBuf,
    /// Words of a record without a header; or 16-bit npy that holds a wider converter's codes
    #[arg(long, value_enum)]
    words: Option<Words>,
    /// How the ellipse of the two signals is found
    #[arg(long, value_enum, default_value = "geometric")]
    ellipse: EllipseWish,
    /// Length of the stretches that an ellipse is fitted to; it is taken as straight between
    #[arg(long, value_name = "S", default_value_t = 60.0, allow_negative_numbers = true)]
    stretch: f64,
    /// Readings to write: CSV, npy or Parquet; - for standard output
    #[arg(long, value_name = "READINGS")]
    out: PathBuf,
    /// Page with figures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

/// How the ellipse is found.
#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
enum EllipseWish {
    /// Least distances of the points.
    Geometric,
    /// Its conic, noise's part taken off.
    Algebraic,
    /// As the sensor file says.
    Given,
}

impl EllipseWish {
    fn manner(self) -> Manner {
        match self {
            Self::Geometric => Manner::Geometric,
            Self::Algebraic => Manner::Algebraic,
            Self::Given => Manner::Given,
        }
    }
}

/// What was found.
struct Found {
    file: InterferometerFile,
    geometry: Geometry,
    tracks: Vec<Track>,
    seen: Vec<Seen>,
    rows: u64,
    frames: u64,
    /// Readings with each of [`FAULTS`].
    faults: [u64; FAULTS.len()],
    wall_s: f64,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let started = std::time::Instant::now();
    in_range("--stretch", options.stretch, 0.01, 1e6)?;
    one_standard(options.json, Some(&options.out))?;
    let sensor = Sensor::load(&options.sensor)?;
    let file = sensor.file.interferometer.clone().ok_or_else(|| {
        Error::new(format!("{}: has no [interferometer], wanted for fringes", sensor.file.name))
    })?;
    if options.detectors == Path::new("-") {
        let message = "detectors -: allowed a file, which is looked through before it is read";
        return Err(Error::new(message));
    }
    let wanted = Wanted {
        channels: 4 * file.beams.len(),
        bits: file.bits,
        rate_hz: file.rate_hz,
        words: options.words.map(Words::word),
    };
    let capture = Capture::open(&options.detectors, wanted)?;
    let files = sensor_files(&options.sensor, &sensor);
    let mut inputs: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    inputs.push(&options.detectors);
    let outputs: Vec<&Path> =
        std::iter::once(&options.out).chain(&options.report).map(PathBuf::as_path).collect();
    distinct(&inputs, &outputs)?;
    let still = capture.unchanging()?;
    if !still.is_empty() {
        let message =
            format!("the codes of channels {still:?} never change: no light is seen there");
        return Err(Error::in_file(&options.detectors, None, message));
    }
    let tracks = tracks(&capture, &file, options.stretch, options.ellipse.manner())?;
    let geometry = Geometry::new(&file).expect("a checked section");
    let mut readings = Readings::new(&file, tracks.clone());
    if capture.layout.frames < readings.span() {
        let message = format!(
            "holds {} frames, allowed {} (the filters) or more",
            capture.layout.frames,
            readings.span()
        );
        return Err(Error::in_file(&options.detectors, None, message));
    }
    let page = options.report.as_deref().map(AtomicFile::create).transpose()?;
    let mut writer = create(&options.out, &sensor, &file, &geometry)?;
    let bar = progress(capture.layout.frames);
    let mut faults = [0; FAULTS.len()];
    let mut rows = 0;
    let mut points = Vec::new();
    readings.run(
        &capture,
        |row| {
            for (count, (bit, _)) in faults.iter_mut().zip(FAULTS) {
                *count += u64::from(row.faults & bit != 0);
            }
            rows += 1;
            if page.is_some() {
                points.push((row.half_frames as f64 / (2.0 * file.rate_hz), row.axes.clone()));
                if points.len() > 4000 {
                    let mut keep = false;
                    points.retain(|_| {
                        keep = !keep;
                        keep
                    });
                }
            }
            writer.push(&cells(&row, file.rate_hz))
        },
        &|done| bar.set_position(done),
    )?;
    bar.finish_and_clear();
    let found = Found {
        seen: readings.seen(),
        frames: readings.frames(),
        wall_s: started.elapsed().as_secs_f64(),
        file,
        geometry,
        tracks,
        rows,
        faults,
    };
    writer.finish()?;
    put_page(page, || found.html(&sensor.file.name, &points))?;
    if options.json {
        print_json(&found.json(&sensor.file.name));
    }
    say(options.json || options.out == Path::new("-"), &found.text());
    Ok(found.is_sound())
}

fn create(
    path: &Path,
    sensor: &Sensor,
    file: &InterferometerFile,
    geometry: &Geometry,
) -> Result<Writer> {
    let mut columns = vec![(TIME.to_owned(), Kind::Plain)];
    let mut numbers = |name: String| columns.push((name, Kind::Number));
    geometry.axes.iter().for_each(|a| numbers(AXES[*a].1.to_owned()));
    file.beams.iter().for_each(|b| numbers(format!("beam_{}_m", b.name)));
    numbers("residual_m".to_owned());
    columns.push((HEALTH.to_owned(), Kind::Text));
    columns.push(("sample".to_owned(), Kind::Plain));
    let mut meta = Meta::new();
    meta.set("sensor", &sensor.file.name);
    meta.set("readout", "interferometer");
    meta.set(RATE, file.output_rate_hz);
    meta.set("sample_rate_hz", file.rate_hz);
    meta.set("wavelength_m", file.wavelength_m);
    meta.set("refractive_index", geometry.index);
    Writer::create(path, &columns, &meta)
}

fn cells(row: &Row, rate_hz: f64) -> Vec<Cell> {
    let numbers = row.axes.iter().chain(&row.beams_m).chain([&row.residual_m]);
    std::iter::once(Cell::Number(row.half_frames as f64 / (2.0 * rate_hz)))
        .chain(numbers.map(|x| Cell::Number(*x)))
        .chain([
            Cell::Text(row.health(), f64::from(row.faults)),
            Cell::Number(row.half_frames as f64 / 2.0),
        ])
        .collect()
}
