//! Results of a campaign on disk. An analysis has a folder that appears whole: it is filled under another name and moved to its
//! place, so that whatever ends a run leaves what is done and nothing half.
//!
//! A result is kept as long as its key stays the same and its files have the sums that were written down: the key is a
//! SHA-256 over this program's version, the arguments, and the content of every file that they name, results of
//! earlier analyses among them.

use super::list::{Analysis, Campaign, LAST, OWN, folders};
use crate::error::{Error, Result};
use crate::instrument::Sensor;
use crate::output::write_text;
use crate::records::meta::Meta;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// File in each folder that says what it depended on and what is in it.
const DONE: &str = "done.json";
/// What the command said.
const RESULT: &str = "result.json";
/// Page of an analysis.
pub const REPORT: &str = "report.html";
/// Figures that differ from run to run.
const OF_THE_MACHINE: [&str; 2] = ["wall_s", "msamples_per_s"];
/// Start of names of folders being filled.
const RUNNING: &str = ".running-";

/// A result.
#[derive(Debug, Clone)]
pub struct Done {
    /// Of which analysis.
    pub analysis: Analysis,
    /// Its key.
    pub key: String,
    /// What the command said.
    pub result: Value,
    /// Files and their sums, in alphabetical order.
    pub files: Vec<(String, String)>,
    /// Its folder.
    pub folder: PathBuf,
    /// Whether it was there already.
    pub kept: bool,
}

/// Runs what is not there, in order. `program` is this one; relative paths are those of `folder`, the campaign's own;
/// results go to `out`; `progress` is told of each that is run.
///
/// # Errors
/// An analysis that fails, a folder that cannot be written.
pub fn run(
    campaign: &Campaign,
    program: &Path,
    folder: &Path,
    out: &Path,
    progress: &dyn Fn(&str),
) -> Result<Vec<Done>> {
    let whole = folder.join(out);
    std::fs::create_dir_all(&whole)
        .map_err(|e| Error::in_file(&whole, None, format!("cannot be made: {e}")))?;
    sweep(&whole);
    let places = Places { folder, out, last: campaign.last.as_deref() };
    let mut done = Vec::new();
    for analysis in &campaign.analyses {
        let place = whole.join(&analysis.name);
        let key = key(analysis, &places)?;
        let found = match there(analysis, &place, &key) {
            Some(found) => found,
            None => {
                progress(&analysis.name);
                make(analysis, program, &places, &key)?;
                let mut made = there(analysis, &place, &key).ok_or_else(|| {
                    Error::in_file(
                        &place,
                        None,
                        "changed while it was written: is another run at work?",
                    )
                })?;
                made.kept = false;
                made
            }
        };
        done.push(found);
    }
    sweep(&whole);
    Ok(done)
}

/// Takes away what runs that were ended left half. What such a run started may still be at work there, in a folder that no
/// other run uses: what cannot be taken away yet is left to the next.
fn sweep(whole: &Path) {
    for entry in std::fs::read_dir(whole).into_iter().flatten().flatten() {
        if entry.file_name().to_string_lossy().starts_with(RUNNING) {
            let _ = std::fs::remove_dir_all(entry.path());
        }
    }
}

fn remove(path: &Path) -> Result<()> {
    match std::fs::remove_dir_all(path) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
            Err(Error::in_file(path, None, format!("cannot be removed: {e}")))
        }
        _ => Ok(()),
    }
}

/// Where a campaign's files are.
struct Places<'a> {
    /// The campaign's own folder, which relative paths are from.
    folder: &'a Path,
    /// Results, from there.
    out: &'a Path,
    /// Results of the last campaign, from there.
    last: Option<&'a Path>,
}

impl Places<'_> {
    /// An argument with folders in place of names in braces.
    fn filled(&self, arg: &str, own: &str) -> String {
        let names: Vec<String> = folders(arg).map(str::to_owned).collect();
        names.iter().fold(arg.to_owned(), |arg, name| {
            let folder = match (name.as_str(), self.last) {
                (LAST, Some(last)) => last.to_owned(),
                (OWN, _) => self.out.join(own),
                (name, _) => self.out.join(name),
            };
            arg.replace(&format!("{{{name}}}"), &folder.to_string_lossy())
        })
    }
}

/// Sum of a file's content.
fn sum(path: &Path) -> Result<String> {
    let fault = |e: std::io::Error| Error::in_file(path, None, format!("cannot be read: {e}"));
    let mut file = std::fs::File::open(path).map_err(fault)?;
    let (mut hash, mut block) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        let read = file.read(&mut block).map_err(fault)?;
        if read == 0 {
            return Ok(hex(&hash.finalize()));
        }
        hash.update(&block[..read]);
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// What an analysis depends on.
fn key(analysis: &Analysis, places: &Places) -> Result<String> {
    let mut hash = Sha256::new();
    // Lengths first, so that no two lists of texts are the same bytes.
    let mut add = |text: &str| {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    };
    add(concat!("quietgap ", env!("CARGO_PKG_VERSION")));
    for arg in &analysis.run {
        add(arg);
        if folders(arg).any(|name| name == OWN) {
            continue;
        }
        let filled = places.filled(arg, "");
        // An option may stand with its file in one argument.
        let name = filled.rsplit_once('=').map_or(filled.as_str(), |(_, name)| name);
        let path = places.folder.join(name);
        if !path.is_file() {
            if folders(arg).next().is_some() {
                return Err(Error::new(format!(
                    "analysis `{}`: {arg} is no file that was written before",
                    analysis.name
                )));
            }
            continue;
        }
        add(&sum(&path)?);
        let beside = Meta::path_beside(&path);
        if beside.is_file() {
            add(&sum(&beside)?);
        }
        let plan = path.extension().is_some_and(|e| e == "toml").then(|| {
            let sensor = Sensor::load(&path.to_string_lossy()).ok()?;
            sensor.file.plan_file.map(|plan| path.parent().unwrap_or(places.folder).join(plan))
        });
        if let Some(plan) = plan.flatten() {
            add(&sum(&plan)?);
        }
    }
    Ok(hex(&hash.finalize()))
}

/// A result that is there, whole and of this key.
fn there(analysis: &Analysis, place: &Path, key: &str) -> Option<Done> {
    let text = std::fs::read_to_string(place.join(DONE)).ok()?;
    let told: Value = serde_json::from_str(&text).ok()?;
    if told.get("key")?.as_str()? != key {
        return None;
    }
    let mut files = Vec::new();
    for (name, expected) in told.get("files")?.as_object()? {
        if sum(&place.join(name)).ok()? != expected.as_str()? {
            return None;
        }
        files.push((name.clone(), expected.as_str()?.to_owned()));
    }
    let result = std::fs::read_to_string(place.join(RESULT)).ok()?;
    Some(Done {
        analysis: analysis.clone(),
        key: key.to_owned(),
        result: serde_json::from_str(&result).ok()?,
        files,
        folder: place.to_owned(),
        kept: true,
    })
}

/// Runs an analysis and puts its folder in place.
fn make(analysis: &Analysis, program: &Path, places: &Places, key: &str) -> Result<()> {
    let Places { folder, out, .. } = *places;
    let own = format!("{RUNNING}{}-{}", analysis.name, std::process::id());
    let running = folder.join(out).join(&own);
    remove(&running)?;
    std::fs::create_dir_all(&running)
        .map_err(|e| Error::in_file(&running, None, format!("cannot be made: {e}")))?;
    let mut command = Command::new(program);
    command.args(analysis.run.iter().map(|arg| places.filled(arg, &own))).arg("--json");
    if analysis.wants_page() {
        command.arg("--report").arg(out.join(&own).join(REPORT));
    }
    // Run in the campaign's folder: its paths are those of the file.
    let place = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let output = command
        .current_dir(place)
        .stdin(Stdio::null())
        .output()
        .map_err(|e| Error::new(format!("analysis `{}`: cannot be run: {e}", analysis.name)))?;
    if !output.status.success() {
        let said = String::from_utf8_lossy(&output.stderr);
        let last = said.lines().rfind(|line| !line.trim().is_empty()).unwrap_or("");
        let last = last.strip_prefix("error: ").unwrap_or(last);
        remove(&running)?;
        return Err(Error::new(format!("analysis `{}`: {last}", analysis.name)));
    }
    let said: Value = serde_json::from_slice(&output.stdout).map_err(|e| {
        Error::new(format!("analysis `{}`: its result is no JSON: {e}", analysis.name))
    })?;
    let result = serde_json::to_string_pretty(&of_no_machine(said)).expect("JSON");
    write_text(&running.join(RESULT), &format!("{result}\n"))?;
    let mut files = Map::new();
    let mut names: Vec<String> = std::fs::read_dir(&running)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort_unstable();
    for name in names {
        let sum = sum(&running.join(&name))?;
        files.insert(name, Value::from(sum));
    }
    let told = json!({
        "key": key, "software": concat!("quietgap ", env!("CARGO_PKG_VERSION")), "run": analysis.run, "files": files,
    });
    let told = serde_json::to_string_pretty(&told).expect("JSON");
    write_text(&running.join(DONE), &format!("{told}\n"))?;
    let place = folder.join(out).join(&analysis.name);
    remove(&place)?;
    std::fs::rename(&running, &place)
        .map_err(|e| Error::in_file(&place, None, format!("cannot be put in its place: {e}")))
}

/// A result without what is of this machine and this run.
fn of_no_machine(value: Value) -> Value {
    match value {
        Value::Object(object) => {
            let kept =
                object.into_iter().filter(|(key, _)| !OF_THE_MACHINE.contains(&key.as_str()));
            Value::Object(kept.map(|(key, value)| (key, of_no_machine(value))).collect())
        }
        other => other,
    }
}
