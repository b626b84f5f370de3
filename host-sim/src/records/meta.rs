//! **What is told of a record** beside its numbers: sensor, rate, checksum of the plan, calibration,
//! version. Key-values in a Parquet file; for CSV and npy a JSON file beside it, named as it is with `.json`
//! added, so that any program reads the numbers as they are.

use crate::error::{Error, Result, read_text};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Keys and their texts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Meta(BTreeMap<String, String>);

/// Rows a second.
pub const RATE: &str = "rate_hz";
/// Names of an npy file's columns, separated by commas.
pub const COLUMNS: &str = "columns";

impl Meta {
    /// With the version of this software.
    #[must_use]
    pub fn new() -> Self {
        let mut meta = Self::default();
        meta.set("software", concat!("quietgap ", env!("CARGO_PKG_VERSION")));
        meta
    }

    /// Sets a key.
    pub fn set(&mut self, key: &str, value: impl ToString) {
        self.0.insert(key.to_owned(), value.to_string());
    }

    /// The text of a key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&str> {
        self.0.get(key).map(String::as_str)
    }

    /// All, in alphabetical order.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(key, value)| (key.as_str(), value.as_str()))
    }

    pub(super) fn extend(&mut self, pairs: Vec<(String, String)>) {
        self.0.extend(pairs);
    }

    pub(super) fn rate_hz(&self) -> Option<f64> {
        self.get(RATE)?.parse().ok().filter(|rate: &f64| *rate > 0.0 && rate.is_finite())
    }

    pub(super) fn columns(&self) -> Option<Vec<String>> {
        Some(self.get(COLUMNS)?.split(',').map(str::to_owned).collect())
    }

    /// The file beside a record.
    #[must_use]
    pub fn path_beside(record: &Path) -> PathBuf {
        let mut name = record.as_os_str().to_owned();
        name.push(".json");
        name.into()
    }

    /// What stands beside a record; nothing where there is no such file.
    ///
    /// # Errors
    /// One that is no JSON object of texts and numbers.
    pub fn beside(record: &Path) -> Result<Self> {
        let path = Self::path_beside(record);
        if !path.is_file() {
            return Ok(Self::default());
        }
        let text = read_text(&path, "file beside a record")?;
        let parsed: serde_json::Value =
            serde_json::from_str(&text).map_err(|e| Error::in_file(&path, Some(e.line()), e))?;
        let object = parsed.as_object().ok_or_else(|| {
            Error::in_file(&path, None, "is no JSON object, allowed keys with texts or numbers")
        })?;
        let told = object.iter().map(|(key, value)| {
            let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            (key.clone(), text)
        });
        Ok(Self(told.collect()))
    }

    /// As JSON.
    #[must_use]
    pub fn json(&self) -> serde_json::Value {
        self.0
            .iter()
            .map(|(key, value)| (key.clone(), serde_json::Value::from(value.as_str())))
            .collect()
    }
}
