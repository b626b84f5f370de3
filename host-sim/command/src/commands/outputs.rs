//! Options of all commands that end with figures, their intervals, and what they write.

use super::record::in_range;
use super::{distinct, one_standard, print_json, put_page, say};
use clap::Args;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::output::AtomicFile;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// What is written, and how sure its intervals are.
#[derive(Args, Debug, Clone)]
pub struct Outputs {
    /// Probability that intervals hold the true value
    #[arg(long, value_name = "P", default_value_t = 0.95, allow_negative_numbers = true)]
    pub(super) confidence: f64,
    /// Result to write: CSV, npy or Parquet; - for standard output
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Page with figures to write
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

impl Outputs {
    /// Refuses a probability that is none, and outputs that are an input or one another; `others` are written
    /// beside these, to files.
    pub(super) fn check(&self, inputs: &[&Path], others: &[&Path]) -> Result<()> {
        in_range("--confidence", self.confidence, 0.01, 0.9999)?;
        if others.contains(&Path::new("-")) {
            return Err(Error::new(
                "only --out can be -, standard output; allowed files for the others",
            ));
        }
        let own = self.out.iter().chain(&self.report).map(PathBuf::as_path);
        distinct(inputs, &own.chain(others.iter().copied()).collect::<Vec<_>>())?;
        one_standard(self.json, self.out.as_deref())
    }

    /// Writes result, page, JSON and text: the page is opened before the result is written.
    pub(super) fn finish(
        &self,
        write: impl FnOnce(&Path) -> Result<()>,
        html: impl FnOnce() -> String,
        json: impl FnOnce() -> Value,
        text: &str,
    ) -> Result<()> {
        let page = self.report.as_deref().map(AtomicFile::create).transpose()?;
        self.out.as_deref().map_or(Ok(()), write)?;
        put_page(page, html)?;
        if self.json {
            print_json(&json());
        }
        say(self.json || self.out.as_deref() == Some(Path::new("-")), text);
        Ok(())
    }
}
