//! Options of all commands whose figures run over time: events to mark there.

use crate::page::figure::Marks;
use clap::Args;
use quietgap_sim::error::Result;
use quietgap_sim::records::Source;
use std::path::PathBuf;

/// Events that were found before.
#[derive(Args, Debug, Clone)]
pub struct MarkOptions {
    /// Events to mark on figures over time: a table of `events --out`
    #[arg(long, value_name = "FILE")]
    events: Option<PathBuf>,
}

impl MarkOptions {
    /// The file, where one is given.
    pub(super) fn file(&self) -> Option<&PathBuf> {
        self.events.as_ref()
    }

    /// What is to be marked.
    ///
    /// # Errors
    /// Not there, no table of events.
    pub(super) fn read(&self) -> Result<Vec<Marks>> {
        let Some(path) = &self.events else { return Ok(Vec::new()) };
        let ends = Source::table(path, &["from_s", "to_s"])?;
        let spans = ends[0].iter().zip(&ends[1]).map(|(from, to)| [*from, *to]);
        Ok(vec![Marks { label: "events".to_owned(), spans: spans.collect() }])
    }
}
