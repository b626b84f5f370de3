//! `quietgap demodulate`.

use super::recorded::RecordedOptions;
use super::{one_standard, print_json, progress, say, unchanging_text};
use clap::Args;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::calibration_file::today;
use quietgap_sim::readout::demodulate::{Options as Run, run as demodulate};
use quietgap_sim::readout::verify::health_json;
use serde_json::json;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    recorded: RecordedOptions,
    /// Readings to write (CSV); - for standard output
    #[arg(long, value_name = "READINGS")]
    out: PathBuf,
    /// The f64 twin instead of the firmware's code
    #[arg(long)]
    ideal: bool,
    /// Also write readings whose filters still hold the time before the start
    #[arg(long)]
    settling: bool,
    /// Threads; the bits do not depend on it
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64))]
    threads: u16,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let sensor = options.recorded.sensor()?;
    let to_standard = options.out == Path::new("-");
    one_standard(options.json, Some(&options.out))?;
    let capture = options.recorded.capture(&sensor)?;
    if capture.is_pipe() && options.threads > 1 {
        let given = options.threads;
        return Err(Error::new(format!("--threads {given}: allowed 1 for standard input")));
    }
    options.recorded.distinct_from(&sensor, &options.out)?;
    let unchanging = capture.unchanging()?;
    let bar = progress(capture.layout.frames);
    let settings =
        Run { ideal: options.ideal, settling: options.settling, threads: options.threads.into() };
    let outcome =
        demodulate(&sensor, &capture, &options.out, settings, |done| bar.set_position(done))?;
    bar.finish_and_clear();
    let wall_s = outcome.wall_time.as_secs_f64();
    let rate = outcome.codes as f64 / wall_s.max(1e-9) / 1e6;
    if options.json {
        print_json(&json!({
            "schema": 1, "command": "demodulate", "sensor": sensor.file.name, "rows": outcome.rows,
            "health": health_json(&outcome.counts), "wall_s": wall_s, "msamples_per_s": rate,
            "unchanging_channels": (!unchanging.is_empty()).then_some(&unchanging),
        }));
    }
    let faults: Vec<String> = outcome
        .counts
        .faults()
        .filter(|(_, n)| *n > 0)
        .map(|(name, n)| format!("{name} {n}"))
        .collect();
    let faults = if faults.is_empty() { "none".to_owned() } else { faults.join(", ") };
    let text = format!(
        "{}: {} readings in {wall_s:.2} s ({rate:.0} million samples a second); faults: {faults}\n",
        options.out.display(),
        outcome.rows
    );
    let old = sensor.file.calibration.as_ref().and_then(|c| c.days_too_old(today()));
    let old = old.map_or(String::new(), |days| {
        format!("NOTE: the calibration is {days} days older than it should be\n")
    });
    say(options.json || to_standard, &(text + &unchanging_text(&unchanging) + &old));
    Ok(unchanging.is_empty())
}
