//! **Series**: evenly spaced values, with the runs of them that follow each other without a gap.

use super::tables;
use std::ops::Range;

/// Values at one rate. Nothing is interpolated: what lies between two runs is not looked at.
#[derive(Debug, Clone)]
pub struct Series<'a> {
    /// All values, those outside the runs are not looked at.
    pub values: &'a [f64],
    /// Indices of values that follow each other by one interval, in rising order.
    pub runs: Vec<Range<usize>>,
    /// Values a second.
    pub rate_hz: f64,
}

impl<'a> Series<'a> {
    /// Values without a gap.
    #[must_use]
    pub fn whole(values: &'a [f64], rate_hz: f64) -> Self {
        Self { values, runs: std::iter::once(0..values.len()).collect(), rate_hz }
    }

    /// Values in all runs.
    #[must_use]
    pub fn count(&self) -> usize {
        self.runs.iter().map(Range::len).sum()
    }

    /// Longest run.
    #[must_use]
    pub fn longest(&self) -> usize {
        self.runs.iter().map(Range::len).max().unwrap_or(0)
    }

    /// Mean over the runs.
    #[must_use]
    pub fn mean(&self) -> f64 {
        let sum: f64 = self.runs.iter().map(|run| tables::sum(&self.values[run.clone()])).sum();
        sum / self.count() as f64
    }

    /// Whether all values of the runs are the same: there is nothing to analyse.
    #[must_use]
    pub fn is_constant(&self) -> bool {
        let mut values = self.runs.iter().flat_map(|run| &self.values[run.clone()]);
        let first = values.next();
        values.all(|x| Some(x) == first)
    }

    /// Starts of segments of `length`, `hop` apart, that lie within a run: from each run's first value on.
    #[must_use]
    pub fn segments(&self, length: usize, hop: usize) -> Vec<Vec<usize>> {
        self.runs
            .iter()
            .filter(|run| run.len() >= length)
            .map(|run| (run.start..=run.end - length).step_by(hop.max(1)).collect())
            .collect()
    }
}
