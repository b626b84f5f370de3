//! The `[calibration]` section of a sensor file, as `calibrate` writes it at the file's end: constants of bridges that
//! stand in place of those above, with their uncertainties and where they come from.

use super::check::Source;
use super::file::SensorFile;
use crate::error::Result;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::time::{SystemTime, UNIX_EPOCH};

/// What a calibration found.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationFile {
    /// Name of the sensor that it is of.
    pub sensor: String,
    /// Day that it was made, as in 2026-11-27.
    pub date: String,
    /// Readings and reference that it was made from.
    pub readings: String,
    /// See [`Self::readings`].
    pub reference: String,
    /// Sum over both files' bytes.
    pub data_checksum: String,
    /// Checksum of the settings that the readings were made with.
    pub settings_checksum: String,
    /// Days after which it is told to be old.
    #[serde(default = "year")]
    pub valid_days: u32,
    /// Bridges.
    #[serde(rename = "bridge")]
    pub bridges: Vec<CalibratedBridgeFile>,
}

fn year() -> u32 {
    366
}

/// Constants of a bridge, and their standard uncertainties.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibratedBridgeFile {
    /// Name of the bridge.
    pub name: String,
    /// Code amplitude a0.
    pub a0_code: f64,
    /// Relative.
    pub a0_uncertainty: f64,
    /// Phase of an in-phase signal.
    pub alignment_rad: f64,
    /// See [`Self::alignment_rad`].
    pub alignment_uncertainty_rad: f64,
    /// Capacitance in parallel to electrodes 1 and 2.
    pub stray_f: [f64; 2],
    /// Of their difference.
    pub stray_uncertainty_f: f64,
    /// Shares of other bridges, by their names; those of the file hold when absent.
    pub cross_coupling: Option<BTreeMap<String, f64>>,
    /// Of each share.
    #[serde(default)]
    pub cross_coupling_uncertainty: BTreeMap<String, f64>,
    /// Degrees of freedom of all three.
    pub degrees: f64,
}

/// Checks the section and puts its constants in place.
///
/// # Errors
/// Another sensor's, a bridge that is not there or given twice, numbers out of their range.
pub(super) fn apply(file: &mut SensorFile, source: &Source<'_>) -> Result<()> {
    let Some(calibration) = file.calibration.clone() else { return Ok(()) };
    if calibration.sensor != file.name {
        let message = format!("is of `{}`, this sensor is `{}`", calibration.sensor, file.name);
        return Err(source.fault(&["calibration", "sensor"], message));
    }
    if days(&calibration.date).is_none() {
        let message = format!("is `{}`, allowed a day as 2026-11-27", calibration.date);
        return Err(source.fault(&["calibration", "date"], message));
    }
    for (n, bridge) in calibration.bridges.iter().enumerate() {
        let number = n.to_string();
        let at = |key| ["calibration", "bridge", &number, key];
        source.range(&at("a0_code"), bridge.a0_code, 1e-3, 1e12)?;
        source.range(&at("alignment_rad"), bridge.alignment_rad, -10.0, 10.0)?;
        for stray in bridge.stray_f {
            source.range(&at("stray_f"), stray, -1e-9, 1e-9)?;
        }
        let given = calibration.bridges[..n].iter().any(|before| before.name == bridge.name);
        let place = file.bridges.iter().position(|b| b.name == bridge.name);
        let Some(b) = place.filter(|_| !given) else {
            let message = format!("`{}`, allowed the name of a bridge, each once", bridge.name);
            return Err(source.fault(&at("name"), message));
        };
        let place = &mut file.bridges[b];
        place.a0_code = Some(bridge.a0_code);
        place.alignment_rad = Some(bridge.alignment_rad);
        place.stray_f = bridge.stray_f;
        if let Some(shares) = &bridge.cross_coupling {
            place.cross_coupling.clone_from(shares);
            super::coupling::check(file, b, &["calibration", "bridge", &number], source)?;
        }
    }
    Ok(())
}

impl CalibrationFile {
    /// Days that it is older than it should be on a day (since 1970); `None` while it is not.
    #[must_use]
    pub fn days_too_old(&self, today: i64) -> Option<i64> {
        let over = today - days(&self.date)? - i64::from(self.valid_days);
        (over > 0).then_some(over)
    }
}

/// Today, days since 1970.
#[must_use]
pub fn today() -> i64 {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    (seconds / 86_400) as i64
}

/// Days since 1970 of a day as in 2026-11-27 (the civil calendar, by eras of 400 years).
#[must_use]
pub fn days(date: &str) -> Option<i64> {
    let mut parts = date.split('-').map(str::parse::<i64>);
    let (Some(Ok(y)), Some(Ok(m)), Some(Ok(d)), None) =
        (parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return None;
    };
    if !((1970..=9999).contains(&y) && (1..=12).contains(&m) && (1..=31).contains(&d)) {
        return None;
    }
    let year = if m <= 2 { y - 1 } else { y };
    let (era, of_era) = (year / 400, year % 400);
    let of_year = (153 * (m + if m > 2 { -3 } else { 9 }) + 2) / 5 + d - 1;
    Some(era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468)
}

/// The day of some days since 1970.
#[must_use]
pub fn date(days: i64) -> String {
    let z = days + 719_468;
    let (era, of_era) = (z.div_euclid(146_097), z.rem_euclid(146_097));
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let m = (5 * of_year + 2) / 153;
    let day = of_year - (153 * m + 2) / 5 + 1;
    let month = if m < 10 { m + 3 } else { m - 9 };
    format!("{:04}-{month:02}-{day:02}", era * 400 + year + i64::from(month <= 2))
}
