//! Cross-coupling of a sensor file's bridges: of ratios r that the bridges have, amplifiers and wires make (1 + C) r.

use super::check::Source;
use super::design::is_difference;
use super::file::SensorFile;
use crate::error::{Result, nearest};
use nalgebra::DMatrix;

/// Shares of all others that a bridge may have together. Half of that again is as much as the core takes off
/// ([`quietgap_core::coupling::MAX_SHARE`]).
pub const MOST: f64 = 0.25;

/// C, bridges x bridges: share of bridge j's ratio in bridge i's; `None` where there is no coupling.
#[must_use]
pub fn shares(file: &SensorFile) -> Option<DMatrix<f64>> {
    if file.bridges.iter().all(|b| b.cross_coupling.is_empty()) {
        return None;
    }
    let name = |b: usize| file.bridges[b].name.as_str();
    let share = |i: usize, j: usize| file.bridges[i].cross_coupling.get(name(j)).copied();
    let count = file.bridges.len();
    Some(DMatrix::from_fn(count, count, |i, j| share(i, j).unwrap_or(0.0)))
}

/// S = 1 - (1 + C)^-1: what the core takes off; `None` where there is no coupling.
#[must_use]
pub fn taken_off(file: &SensorFile) -> Option<DMatrix<f64>> {
    let shares = shares(file)?;
    let one = DMatrix::identity(shares.nrows(), shares.ncols());
    // Rows add up to a quarter at most: there is an inverse.
    let inverse = (&one + shares).try_inverse()?;
    Some(one - inverse)
}

/// Checks the shares of one bridge, which stand at `at`.
///
/// # Errors
/// A bridge that is not there, is the bridge itself, or is no difference bridge; too large a share.
pub(super) fn check(file: &SensorFile, b: usize, at: &[&str], source: &Source<'_>) -> Result<()> {
    let bridge = &file.bridges[b];
    let key = |name: &str| -> Vec<String> {
        at.iter().chain(&["cross_coupling", name]).map(|key| (*key).to_owned()).collect()
    };
    let fault = |name: &str, message: String| {
        let key = key(name);
        source.fault(&key.iter().map(String::as_str).collect::<Vec<_>>(), message)
    };
    for (name, share) in &bridge.cross_coupling {
        let Some(other) = file.bridges.iter().position(|b| b.name == *name) else {
            let hint = nearest(name, file.bridges.iter().map(|b| b.name.as_str()))
                .map_or(String::new(), |k| format!("; nearest: `{k}`"));
            return Err(fault(name, format!("no bridge `{name}`{hint}")));
        };
        if other == b {
            return Err(fault(name, "the bridge itself, allowed others".to_owned()));
        }
        if !is_difference(file, b) || !is_difference(file, other) {
            let message = "of separate electrodes, allowed between difference bridges";
            return Err(fault(name, message.to_owned()));
        }
        if share.is_nan() {
            return Err(fault(name, "is no number".to_owned()));
        }
    }
    let sum: f64 = bridge.cross_coupling.values().map(|share| share.abs()).sum();
    if sum > MOST {
        let largest = bridge.cross_coupling.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let name = largest.map_or("", |(name, _)| name);
        return Err(fault(name, format!("all shares are {sum} together, allowed 0 to {MOST}")));
    }
    Ok(())
}
