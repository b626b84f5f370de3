//! **Steps**: a stage holds the mass's housing at place after place; readings while it does, and the settling after
//! each move cut out, make one point each.

use crate::error::{Error, Result};
use crate::records::Record;

/// Readings at one place of the stage.
#[derive(Debug, Clone)]
pub struct Point {
    /// Where it says the mass is, a value for each of its columns.
    pub place: Vec<f64>,
    /// Mean of the readings there, a value for each of their columns.
    pub mean: Vec<f64>,
    /// Standard uncertainty of each mean, by four parts of the stay: drifts and slow noise count as they do.
    pub uncertainty: Vec<f64>,
}

/// Parts of a stay that its uncertainty is told from.
const PARTS: usize = 4;
/// Fewest readings of a part.
const LEAST: usize = 2;

/// Points of `readings` at the rows of `reference`: each holds from its time until the next one's, the last as long as
/// the one before it; `settle_s` after each move are cut out.
///
/// # Errors
/// A stay with too few readings: which.
pub fn points(
    readings: &Record,
    reference: &[(f64, Vec<f64>)],
    settle_s: f64,
) -> Result<Vec<Point>> {
    let mut found = Vec::new();
    for (row, (from, place)) in reference.iter().enumerate() {
        let until = match (reference.get(row + 1), row.checked_sub(1)) {
            (Some(next), _) => next.0,
            (None, Some(before)) => from + (from - reference[before].0),
            (None, None) => f64::INFINITY,
        };
        let rows = within(readings, from + settle_s, until);
        if rows.len() < PARTS * LEAST {
            return Err(Error::new(format!(
                "row {} of the reference: {} readings from {settle_s} s after {from} s to {until} s, allowed {} or more",
                row + 1,
                rows.len(),
                PARTS * LEAST
            )));
        }
        let of = |column: &[f64]| {
            let mean =
                |rows: &[usize]| rows.iter().map(|k| column[*k]).sum::<f64>() / rows.len() as f64;
            let whole = mean(&rows);
            let parts: Vec<f64> = (0..PARTS)
                .map(|n| mean(&rows[n * rows.len() / PARTS..(n + 1) * rows.len() / PARTS]))
                .collect();
            let square: f64 = parts.iter().map(|p| (p - whole).powi(2)).sum();
            [whole, (square / (PARTS * (PARTS - 1)) as f64).sqrt()]
        };
        let all: Vec<[f64; 2]> = readings.columns.iter().map(|column| of(column)).collect();
        found.push(Point {
            place: place.clone(),
            mean: all.iter().map(|a| a[0]).collect(),
            uncertainty: all.iter().map(|a| a[1]).collect(),
        });
    }
    Ok(found)
}

/// Rows of a record from one time to before another.
fn within(record: &Record, from_s: f64, until_s: f64) -> Vec<usize> {
    let mut rows = Vec::new();
    for (run, start_s) in record.runs.iter().zip(&record.starts_s) {
        let at =
            |t: f64| (((t - start_s) * record.rate_hz).ceil().max(0.0) as usize).min(run.len());
        rows.extend(run.start + at(from_s)..run.start + at(until_s).max(at(from_s)));
    }
    rows
}
