//! `quietgap demo`: the main job on the built-in scenario, to the noise figure.

use super::{frames, print_json, progress, say};
use crate::page::report;
use clap::Args;
use quietgap_sim::campaign::example;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::output::{AtomicFile, write_text};
use quietgap_sim::readout::readings::Writer;
use quietgap_sim::readout::run::Source;
use quietgap_sim::readout::verify::verify;
use quietgap_sim::simulation::phasor::outside::Disturbances;
use quietgap_sim::simulation::phasor::swing::{Mover, Swinging};
use quietgap_sim::simulation::phasor::{Simulation, step_hz};
use quietgap_sim::simulation::plant::{Parts, Plant};
use quietgap_sim::simulation::scenario;
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// The sensor of the demo.
const SENSOR: &str = "vault-two-bridge";

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Folder for the readings, accuracy, noise figure, a small campaign and pages
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
    let noise = noise(&sensor, options)?;
    let mut accuracy = findings.json(&sensor, "demo");
    accuracy["noise"] = noise
        .iter()
        .map(|(hertz, name, measured, predicted)| {
            json!({
                "frequency_hz": hertz, "name": name, "measured_asd": measured, "predicted_asd": predicted,
            })
        })
        .collect();
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
    let mut text = format!(
        "{SENSOR}: {} s at {} kS/s, {} readings\n{}",
        options.seconds,
        sensor.rate_hz() / 1e3,
        findings.rows.len(),
        findings.table(),
    );
    let campaign = campaign(options)?;
    let hours = options.seconds * HOURS_PER_SECOND / 3600.0;
    text += &format!(
        "noise, {hours:.2} h of the pendulum without the carrier (per rtHz, measured / predicted):\n"
    );
    for (hertz, name, measured, predicted) in &noise {
        text += &format!("  {hertz:>6} Hz  {name:<22} {measured:.3e} / {predicted:.3e}\n");
    }
    text += &format!(
        "{}: readings.csv, accuracy.json, report.html; hours.parquet, requirement.csv, noise.csv, noise.html\n",
        options.out.display()
    );
    text += &format!(
        "{}: what the torque follows, the charge, events, stability\n",
        campaign.display()
    );
    say(options.json, &text);
    Ok(findings.pass())
}

/// The example's campaign in small, in a folder of its own; its page.
fn campaign(options: &Options) -> Result<PathBuf> {
    let folder = options.out.join("campaign");
    std::fs::create_dir_all(&folder)
        .map_err(|e| Error::in_file(&folder, None, format!("cannot make the folder: {e}")))?;
    for (name, text) in example::files(example::FEWEST_HOURS) {
        write_text(&folder.join(name), &text)?;
    }
    let results = Path::new("results");
    super::campaign::whole(&folder.join(example::CAMPAIGN), results)?;
    Ok(folder.join(results).join(super::campaign::PAGE))
}

/// Seconds of the long run for each of the short one: eight hours of two minutes.
const HOURS_PER_SECOND: f64 = 240.0;

/// The long run, its densities beside the budget, a requirement line: frequency, name, measured, predicted.
fn noise(sensor: &Sensor, options: &Options) -> Result<Vec<(f64, String, f64, f64)>> {
    let at = |name: &str| options.out.join(name);
    let (record, requirement) = (at("hours.parquet"), at("requirement.csv"));
    let step_hz = step_hz(sensor);
    let swing = Swinging::new(sensor, [0.0; 2], Disturbances::ALL, step_hz, options.seed);
    let swing = swing.expect("the demo's sensor has a pendulum");
    let mover = Mover::Swing(Box::new(swing));
    let mut simulation = Simulation::new(sensor, mover, Parts::ALL, options.seed)?;
    let mut writer = Writer::create(&record, sensor)?;
    let count = (options.seconds * HOURS_PER_SECOND * sensor.output_rate_hz()) as u64;
    for _ in 0..count {
        writer.push(&simulation.reading().0)?;
    }
    writer.finish()?;
    write_text(&requirement, &scenario::requirement())?;
    let found = super::budget::of_demo(sensor, &record, &requirement)?;
    found.write(&at("noise.csv"))?;
    write_text(&at("noise.html"), &found.html())?;
    let told = [1e-3, 1e-2, 0.3].into_iter().flat_map(|hertz| {
        let figures = found.figures(hertz).into_iter();
        figures.map(move |(name, measured, predicted)| (hertz, name, measured, predicted))
    });
    // The shortest runs do not reach the lowest frequency.
    Ok(told.filter(|(.., measured, _)| *measured > 0.0).collect())
}
