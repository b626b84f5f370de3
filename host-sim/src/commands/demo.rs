//! `quietgap demo`: the main job on the built-in scenario.

use super::{frames, print_json, progress, say};
use crate::error::{Error, Result};
use crate::instrument::Sensor;
use crate::page::output::AtomicFile;
use crate::page::report;
use crate::readout::readings::Writer;
use crate::readout::run::Source;
use crate::readout::verify::verify;
use crate::simulation::plant::{Parts, Plant};
use crate::simulation::scenario;
use clap::Args;
use std::io::Write;
use std::path::PathBuf;

/// The sensor of the demo.
const SENSOR: &str = "vault-two-bridge";

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Folder for readings.csv, accuracy.json and report.html
    #[arg(long, value_name = "DIR", default_value = "quietgap-demo")]
    out: PathBuf,
    /// Length of the run
    #[arg(long, value_name = "S", default_value_t = 120.0, allow_negative_numbers = true)]
    seconds: f64,
    /// Seed of all random streams
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let sensor = Sensor::load(SENSOR)?;
    let count = frames(&sensor, options.seconds, "--seconds")?;
    std::fs::create_dir_all(&options.out)
        .map_err(|e| Error::in_file(&options.out, None, format!("cannot make the folder: {e}")))?;
    let readings = options.out.join("readings.csv");
    // All three open before the run: a path that cannot be written leaves none behind.
    let mut writer = Writer::create(&readings, &sensor)?;
    let mut accuracy_file = AtomicFile::create(&options.out.join("accuracy.json"))?;
    let mut report_file = AtomicFile::create(&options.out.join("report.html"))?;
    let motion = scenario::vault(&sensor, options.seconds, options.seed);
    let plant = Plant::new(&sensor, motion.clone(), Parts::ALL, options.seed);
    let bar = progress(count);
    let source = Source::Plant(Box::new(plant), count);
    let findings =
        verify(&sensor, source, Some(&motion), options.seed, true, |done| bar.set_position(done))?;
    bar.finish_and_clear();
    for row in &findings.rows {
        writer.push(row)?;
    }
    let accuracy = findings.json(&sensor, "demo");
    let pretty = serde_json::to_string_pretty(&accuracy).expect("JSON of numbers and text");
    accuracy_file.write(|out| writeln!(out, "{pretty}"))?;
    let page = report::html(&sensor, &findings);
    report_file.write(|out| out.write_all(page.as_bytes()))?;
    writer.finish()?;
    accuracy_file.finish()?;
    report_file.finish()?;
    if options.json {
        print_json(&accuracy);
    }
    let text = format!(
        "{SENSOR}: {} s at {} kS/s, {} readings\n{}{}: readings.csv, accuracy.json, report.html\n",
        options.seconds,
        sensor.rate_hz() / 1e3,
        findings.rows.len(),
        findings.table(),
        options.out.display()
    );
    say(options.json, &text);
    Ok(findings.pass())
}
