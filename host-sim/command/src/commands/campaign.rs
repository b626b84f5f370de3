//! `quietgap campaign`.

use super::{print_json, say};
use crate::page::campaign as page;
use clap::Args;
use quietgap_sim::campaign::example;
use quietgap_sim::campaign::list::Campaign;
use quietgap_sim::campaign::store::{Done, run as run_all};
use quietgap_sim::error::{Error, Result};
use quietgap_sim::output::write_text;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Campaign: TOML with [[analysis]]
    #[arg(required_unless_present = "example", conflicts_with = "example")]
    file: Option<PathBuf>,
    /// Folder of all results, from the campaign's own folder; its name with -results when absent
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write the slate quarry's campaign into a folder, and run nothing
    #[arg(long, value_name = "DIR")]
    example: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    if let Some(folder) = &options.example {
        return write_example(folder, options.json);
    }
    let Some(file) = &options.file else {
        return Err(Error::new("a campaign's file is wanted"));
    };
    let out = match &options.out {
        Some(out) => out.clone(),
        None => {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy();
            PathBuf::from(format!("{stem}-results"))
        }
    };
    let (done, results) = whole(file, &out)?;
    if options.json {
        let mut told = results;
        let kept = done.iter().map(|d| json!({ "name": d.analysis.name, "kept": d.kept }));
        told["runs"] = kept.collect();
        print_json(&told);
    }
    let mut text = String::new();
    for d in &done {
        let what = if d.kept { "kept" } else { "run" };
        let _ = writeln!(text, "{:<20} {what}", d.analysis.name);
    }
    let folder = file.parent().unwrap_or(Path::new("")).join(&out);
    let _ = writeln!(text, "{}: {PAGE}, {RESULTS}", folder.display());
    say(options.json, &text);
    Ok(true)
}

/// Page of a campaign.
pub(super) const PAGE: &str = "campaign.html";
/// Its results.
const RESULTS: &str = "campaign.json";

/// Runs what is not there of a campaign, and writes page and results; `out` is from the campaign's folder.
pub(super) fn whole(file: &Path, out: &Path) -> Result<(Vec<Done>, Value)> {
    let campaign = Campaign::read(file)?;
    let folder = file.parent().unwrap_or(Path::new(""));
    let program = std::env::current_exe()
        .map_err(|e| Error::new(format!("this program cannot find itself: {e}")))?;
    let done = run_all(&campaign, &program, folder, out, &|name| eprintln!("{name} ..."))?;
    write_text(&folder.join(out).join(PAGE), &page::html(&campaign, folder, &done))?;
    let results = results(&campaign, &done);
    let pretty = serde_json::to_string_pretty(&results).expect("JSON");
    write_text(&folder.join(out).join(RESULTS), &format!("{pretty}\n"))?;
    Ok((done, results))
}

/// All results, the same for the same input.
fn results(campaign: &Campaign, done: &[Done]) -> Value {
    let analyses: Vec<Value> = done
        .iter()
        .map(|d| {
            let files: serde_json::Map<String, Value> =
                d.files.iter().map(|(name, sum)| (name.clone(), sum.as_str().into())).collect();
            json!({
                "name": d.analysis.name, "run": d.analysis.run, "key": d.key, "files": files, "result": d.result,
            })
        })
        .collect();
    json!({
        "schema": 1, "command": "campaign", "name": campaign.name,
        "software": concat!("quietgap ", env!("CARGO_PKG_VERSION")), "analyses": analyses,
    })
}

fn write_example(folder: &Path, as_json: bool) -> Result<bool> {
    std::fs::create_dir_all(folder)
        .map_err(|e| Error::in_file(folder, None, format!("cannot be made: {e}")))?;
    let files = example::files(example::HOURS);
    if let Some((name, _)) = files.iter().find(|(name, _)| folder.join(name).exists()) {
        return Err(Error::in_file(
            &folder.join(name),
            None,
            "is there already, allowed an empty folder",
        ));
    }
    for (name, text) in &files {
        write_text(&folder.join(name), text)?;
    }
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    if as_json {
        print_json(&json!({ "schema": 1, "command": "campaign", "example": names }));
    }
    say(
        as_json,
        &format!(
            "{}: {}\nquietgap campaign {} runs it\n",
            folder.display(),
            names.join(", "),
            folder.join(example::CAMPAIGN).display()
        ),
    );
    Ok(true)
}
