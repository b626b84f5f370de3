//! `quietgap filter check`.

use crate::commands::{distinct, print_json, say};
use crate::page::filter as page;
use clap::Args;
use quietgap_sim::error::Result;
use quietgap_sim::filter::check::Check;
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::output::write_text;
use std::path::PathBuf;

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Plan file, sensor file, or the name of a built-in sensor
    plan: String,
    /// Sensor that tells rate, carrier, code bits and channels where the plan file does not
    #[arg(long, value_name = "SENSOR")]
    sensor: Option<String>,
    /// Page with pictures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let inputs = [PathBuf::from(&options.plan)];
    let outputs: Vec<_> = options.report.iter().map(PathBuf::as_path).collect();
    distinct(&inputs.each_ref().map(PathBuf::as_path), &outputs)?;
    let check = Check::new(Subject::load_one(&options.plan, options.sensor.as_deref())?);
    if let Some(path) = &options.report {
        write_text(path, &page::of_check(&check))?;
    }
    if options.json {
        print_json(&check.json());
    }
    say(options.json, &check.text());
    Ok(check.pass())
}
