//! `quietgap filter export`.

use crate::commands::{distinct, say};
use clap::{ArgGroup, Args};
use quietgap_sim::error::{Error, Result, read_text};
use quietgap_sim::filter::export::package::{MARK, package};
use quietgap_sim::filter::export::{first_difference, rust};
use quietgap_sim::filter::integers::Integers;
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::output::write_text;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
#[group(skip)]
#[command(group(ArgGroup::new("written").required(true)))]
pub struct Options {
    /// Plan file, sensor file, or the name of a built-in sensor
    plan: String,
    /// Rust file to write
    #[arg(long, value_name = "FILE", group = "written")]
    rust: Option<PathBuf>,
    /// Folder to write a package to, which has all of a sensor's readout and compiles at its own level
    #[arg(long = "crate", value_name = "DIR", group = "written")]
    package: Option<PathBuf>,
    /// Sensor that tells rate, carrier, code bits and channels where the plan file does not
    #[arg(long, value_name = "SENSOR")]
    sensor: Option<String>,
    /// Writes nothing; says whether the files are what would be written
    #[arg(long)]
    check: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
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
    let files = match (&options.rust, &options.package) {
        (_, Some(folder)) if subject.settings.is_some() => {
            own(folder)?;
            package(&subject).map(|(path, text)| (folder.join(path), text)).to_vec()
        }
        (_, Some(_)) => {
            return Err(Error::new(format!(
                "{}: --crate takes a sensor file, with bridges and axes, not a plan alone",
                options.plan
            )));
        }
        (Some(path), None) => vec![(path.clone(), rust(&subject))],
        (None, None) => vec![],
    };
    let paths: Vec<&Path> = files.iter().map(|(path, _)| path.as_path()).collect();
    distinct(&[Path::new(&options.plan)], &paths)?;
    if let (Some(folder), false) = (&options.package, options.check) {
        std::fs::create_dir_all(folder.join("src"))
            .map_err(|e| Error::new(format!("{}: folder: {e}", folder.display())))?;
    }
    let mut current = true;
    for (path, text) in &files {
        if options.check {
            current &= is_current(path, text)?;
        } else {
            write_text(path, text)?;
            say(false, &format!("{} written\n", path.display()));
        }
    }
    Ok(current)
}

/// Refuses a folder with a package that is not one of these.
fn own(folder: &Path) -> Result<()> {
    let manifest = folder.join("Cargo.toml");
    match std::fs::read_to_string(&manifest) {
        Ok(text) if !text.starts_with(MARK) => Err(Error::new(format!(
            "{}: is not made by `quietgap filter export`, and is not written over: give a folder of its own",
            manifest.display()
        ))),
        _ => Ok(()),
    }
}

/// Says whether a file is what would be written.
fn is_current(path: &Path, text: &str) -> Result<bool> {
    let is = read_text(path, "exported file")?;
    let path = path.display();
    let said = match first_difference(&is, text) {
        None if is == text => format!("{path} is current\n"),
        None => format!("{path}: is not current: line ends differ\n"),
        Some((line, is, should)) => {
            format!("{path}:{line}: is not current: `{is}`, should be `{should}`\n")
        }
    };
    say(false, &said);
    Ok(is == text)
}
