//! **Compare**: a new plan beside the one in use: what differs, in what both do and in what they read
//! from the same codes, judged line by line by a tolerance.

pub mod rows;
pub mod run;
pub mod show;
pub mod structure;
pub mod tolerance;

use super::check::Check;
use super::subject::Subject;
use crate::error::Result;
use rows::Row;
use run::{Codes, Difference, difference};
use tolerance::Tolerance;

/// Two plans side by side.
#[derive(Debug)]
pub struct Comparison {
    /// The plan in use.
    pub old: Check,
    /// The new one.
    pub new: Check,
    /// How their readings differ; none where they cannot take the same codes, or the core refuses one.
    pub difference: Option<Difference>,
    /// The verdict, line by line.
    pub rows: Vec<Row>,
}

impl Comparison {
    /// Compares; both are held to the old plan's mask where it has one.
    ///
    /// # Errors
    /// A capture that cannot be read or is too short.
    pub fn new(
        old: Subject,
        new: Subject,
        codes: &Codes<'_>,
        tolerance: &Tolerance,
    ) -> Result<Self> {
        let differing = structure::rows(&old, &new, tolerance);
        let mut judged = new.clone();
        if old.plan.mask.is_some() {
            judged.plan.mask.clone_from(&old.plan.mask);
            judged.plan.lines.clone_from(&old.plan.lines);
        }
        let (old, new) = (Check::new(old), Check::new(judged));
        let alike = old.subject.rate_hz == new.subject.rate_hz
            && old.subject.carrier_hz == new.subject.carrier_hz;
        let taken = old.refused.is_none() && new.refused.is_none();
        let difference = if alike && taken {
            let output = old.subject.output_rate_hz().min(new.subject.output_rate_hz());
            let mask = old.subject.plan.mask.as_ref();
            let pass_hz = mask.map_or(0.3 * output, |m| m.pass_hz);
            Some(difference([&old.subject, &new.subject], codes, pass_hz)?)
        } else {
            None
        };
        let mut rows = differing;
        rows.extend(rows::numbers(&old, &new, difference.as_ref(), tolerance));
        Ok(Self { old, new, difference, rows })
    }

    /// Whether all lines pass.
    #[must_use]
    pub fn pass(&self) -> bool {
        self.rows.iter().all(|r| r.pass)
    }
}
