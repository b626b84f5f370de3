//! The file of a campaign: analyses, each one command of this program.

use crate::error::{Error, Result, nearest, read_text};
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// A campaign.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Campaign {
    /// Its name.
    pub name: String,
    /// Folder of the last campaign's results, from this one's: `{last}` stands for it.
    #[serde(default)]
    pub last: Option<PathBuf>,
    /// In the order in which they run.
    #[serde(default, rename = "analysis")]
    pub analyses: Vec<Analysis>,
}

/// One analysis.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Analysis {
    /// Name: that of its folder.
    pub name: String,
    /// What it is for, above its figures.
    #[serde(default)]
    pub title: Option<String>,
    /// A command and its arguments. `{own}` is its own folder, `{NAME}` that of an earlier one, `{last}` that of the last
    /// campaign.
    pub run: Vec<String>,
}

/// Name of an analysis' own folder.
pub const OWN: &str = "own";
/// Name of the last campaign's folder.
pub const LAST: &str = "last";

/// Commands that give the same files for the same input, and whether they write a page.
const COMMANDS: [(&str, bool); 12] = [
    ("simulate", false),
    ("demodulate", false),
    ("fringes", true),
    ("spectrum", true),
    ("stability", true),
    ("torque", true),
    ("budget", true),
    ("separate", true),
    ("calibrate", true),
    ("attribute", true),
    ("response", true),
    ("events", true),
];

impl Campaign {
    /// Reads a campaign.
    ///
    /// # Errors
    /// Not there, no TOML, unknown keys, names twice, commands that are none, folders of analyses that come later.
    pub fn read(path: &Path) -> Result<Self> {
        let text = read_text(path, "campaign")?;
        let parsed: Self = toml::from_str(&text).map_err(|e| {
            let line = e.span().map(|span| text[..span.start].lines().count().max(1));
            Error::in_file(path, line, e.message().replace('\n', "; "))
        })?;
        if parsed.analyses.is_empty() {
            return Err(Error::in_file(path, None, "has no [[analysis]], allowed one or more"));
        }
        for (n, analysis) in parsed.analyses.iter().enumerate() {
            analysis.check(&parsed.analyses[..n], parsed.last.is_some()).map_err(|message| {
                let message = format!("analysis {} `{}`: {message}", n + 1, analysis.name);
                Error::in_file(path, None, message)
            })?;
        }
        Ok(parsed)
    }
}

impl Analysis {
    fn check(&self, earlier: &[Self], has_last: bool) -> std::result::Result<(), String> {
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if self.name.is_empty()
            || [OWN, LAST].contains(&&*self.name)
            || !self.name.chars().all(plain)
        {
            return Err("name: allowed a to z, 0 to 9 and -, and not `own` nor `last`".to_owned());
        }
        if earlier.iter().any(|other| other.name == self.name) {
            return Err("name: an earlier analysis has it".to_owned());
        }
        let Some(command) = self.run.first() else {
            return Err("run: is empty, allowed a command and its arguments".to_owned());
        };
        let known = COMMANDS.iter().map(|(name, _)| *name);
        if !known.clone().any(|name| name == command) {
            let hint = nearest(command, known.clone())
                .map_or(String::new(), |name| format!("; nearest: `{name}`"));
            let known: Vec<&str> = known.collect();
            return Err(format!("run: `{command}`, allowed {}{hint}", known.join(", ")));
        }
        if let Some(given) = self.run.iter().find(|arg| *arg == "--json" || *arg == "-") {
            return Err(format!("run: `{given}` is set by the campaign, allowed files"));
        }
        for arg in &self.run {
            for folder in folders(arg) {
                if folder == LAST && !has_last {
                    return Err("run: {last} wants the campaign's key `last`".to_owned());
                }
                let named = [OWN, LAST].contains(&folder);
                if !named && !earlier.iter().any(|other| other.name == folder) {
                    return Err(format!("run: {{{folder}}} is no earlier analysis"));
                }
            }
        }
        Ok(())
    }

    /// Whether its command writes a page and is not told to write one.
    #[must_use]
    pub fn wants_page(&self) -> bool {
        let writes = COMMANDS
            .iter()
            .any(|(name, page)| *page && self.run.first().is_some_and(|c| c == name));
        writes && !self.run.iter().any(|arg| arg == "--report" || arg.starts_with("--report="))
    }
}

/// Names within braces.
pub fn folders(arg: &str) -> impl Iterator<Item = &str> {
    arg.split('{').skip(1).filter_map(|rest| rest.split_once('}').map(|(name, _)| name))
}
