//! `quietgap filter export`.

use crate::commands::{distinct, say};
use crate::error::{Error, Result, read_text};
use crate::filter::export::{first_difference, rust};
use crate::filter::integers::Integers;
use crate::filter::subject::Subject;
use crate::page::output::write_text;
use clap::Args;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Plan file, sensor file, or the name of a built-in sensor
    plan: String,
    /// Rust file to write
    #[arg(long, value_name = "FILE")]
    rust: PathBuf,
    /// Sensor that tells rate, carrier, code bits and channels where the plan file does not
    #[arg(long, value_name = "SENSOR")]
    sensor: Option<String>,
    /// Writes nothing; says whether the file is what would be written
    #[arg(long)]
    check: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    distinct(&[Path::new(&options.plan)], &[&options.rust])?;
    let subject = Subject::load_one(&options.plan, options.sensor.as_deref())?;
    // Firmware shall not get a plan that its core refuses.
    Integers::new(&subject, subject.channels).map_err(|e| {
        let hint = if e.quantity.contains("register") {
            "; pruned_bits makes it need fewer, register_bits = 128 gives it more"
        } else {
            ""
        };
        Error::new(format!("{}: the core refuses this plan: {e}{hint}", options.plan))
    })?;
    let text = rust(&subject);
    let path = &options.rust;
    if options.check {
        let is = read_text(path, "exported file")?;
        return Ok(match first_difference(&is, &text) {
            None if is == text => {
                say(false, &format!("{} is current\n", path.display()));
                true
            }
            None => {
                say(false, &format!("{}: is not current: line ends differ\n", path.display()));
                false
            }
            Some((line, is, should)) => {
                let path = path.display();
                say(
                    false,
                    &format!("{path}:{line}: is not current: `{is}`, should be `{should}`\n"),
                );
                false
            }
        });
    }
    write_text(path, &text)?;
    say(false, &format!("{} written\n", path.display()));
    Ok(true)
}
