//! `quietgap filter compare`.

use crate::commands::{distinct, print_json, say};
use crate::page::filter as page;
use clap::Args;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::filter::compare::Comparison;
use quietgap_sim::filter::compare::run::Codes;
use quietgap_sim::filter::compare::tolerance::Tolerance;
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::output::write_text;
use quietgap_sim::readout::capture::{Capture, Wanted};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Plan in use: plan file, sensor file, or the name of a built-in sensor
    old: String,
    /// New plan
    new: String,
    /// Sensor that tells rate, carrier, code bits and channels where a plan file does not
    #[arg(long, value_name = "SENSOR")]
    sensor: Option<String>,
    /// Recorded codes for both plans, instead of seeded ones
    #[arg(long, value_name = "FILE", conflicts_with = "seed")]
    capture: Option<PathBuf>,
    /// Seed of the codes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Changes that are allowed; none where not given
    #[arg(long, value_name = "FILE")]
    tolerance: Option<PathBuf>,
    /// Table for a review to write
    #[arg(long, value_name = "FILE")]
    markdown: Option<PathBuf>,
    /// Page with pictures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let files = [&options.capture, &options.tolerance].into_iter().flatten();
    let mut inputs: Vec<&Path> = files.map(PathBuf::as_path).collect();
    inputs.extend([Path::new(&options.old), Path::new(&options.new)]);
    let outputs = [&options.markdown, &options.report].into_iter().flatten();
    let outputs: Vec<&Path> = outputs.map(PathBuf::as_path).collect();
    distinct(&inputs, &outputs)?;
    let sensor = options.sensor.as_deref();
    let old = Subject::load(&options.old, sensor)?;
    let new = Subject::load(&options.new, sensor)?;
    let tolerance = options.tolerance.as_deref().map(Tolerance::load).transpose()?;
    let capture = options
        .capture
        .as_deref()
        .map(|path| {
            let Subject { channels, code_bits: bits, rate_hz, .. } = old;
            Capture::open(path, Wanted { channels, bits, rate_hz, words: None })
        })
        .transpose()?;
    if capture.as_ref().is_some_and(Capture::is_pipe) {
        let message = "--capture -: standard input can be read but once, allowed a file";
        return Err(Error::new(message));
    }
    let codes = capture.as_ref().map_or(Codes::Seeded(options.seed), Codes::Recorded);
    let comparison = Comparison::new(old, new, &codes, &tolerance.unwrap_or_default())?;
    if let Some(path) = &options.markdown {
        write_text(path, &comparison.markdown())?;
    }
    if let Some(path) = &options.report {
        write_text(path, &page::of_comparison(&comparison))?;
    }
    if options.json {
        print_json(&comparison.json());
    }
    say(options.json, &comparison.text());
    Ok(comparison.pass())
}
