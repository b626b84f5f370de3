//! What `[interferometer]` may not say.

use super::AXES;
use super::check::Source;
use super::file::SensorFile;
use crate::error::Result;
use crate::interferometer::{MOST_BEAMS, filter, geometry};

/// Checks the section.
pub(super) fn section(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    let Some(i) = &file.interferometer else { return Ok(()) };
    let at = |key| ["interferometer", key];
    source.range(&at("wavelength_m"), i.wavelength_m, 1e-7, 2e-5)?;
    source.range(&at("passes"), i.passes.into(), 1.0, 16.0)?;
    source.range(&at("rate_hz"), i.rate_hz, 1.0, 1e8)?;
    source.range(&at("bits"), i.bits.into(), 8.0, 32.0)?;
    source.range(&at("full_scale_v"), i.full_scale_v, 1e-6, 1e6)?;
    source.range(&at("output_rate_hz"), i.output_rate_hz, 1e-3, i.rate_hz)?;
    filter::steps(i.rate_hz, i.output_rate_hz)
        .map_err(|message| source.fault(&at("output_rate_hz"), message))?;
    if let Some(air) = &i.air {
        for (key, value, low, high) in [
            ("pressure_pa", air.pressure_pa, 0.0, 1.4e5),
            ("temperature_k", air.temperature_k, 233.0, 373.0),
            ("relative_humidity", air.relative_humidity, 0.0, 1.0),
            ("carbon_dioxide_ppm", air.carbon_dioxide_ppm, 0.0, 1e4),
        ] {
            source.range(&["interferometer", "air", key], value, low, high)?;
        }
    }
    let l = &i.light;
    for (key, value, low, high) in [
        ("detector_v", l.detector_v, 1e-9, i.full_scale_v),
        ("contrast", l.contrast, 1e-3, 1.0),
        ("photocurrent_a", l.photocurrent_a, 1e-15, 1.0),
        ("detector_noise_v_per_rthz", l.detector_noise_v_per_rthz, 0.0, 1.0),
        ("intensity_noise_per_rthz", l.intensity_noise_per_rthz, 0.0, 1.0),
        ("intensity_corner_hz", l.intensity_corner_hz, 0.0, i.rate_hz),
        ("frequency_noise_hz_per_rthz", l.frequency_noise_hz_per_rthz, 0.0, 1e9),
        ("frequency_corner_hz", l.frequency_corner_hz, 0.0, i.rate_hz),
        ("dead_path_m", l.dead_path_m, -1e4, 1e4),
        ("path_m_per_k", l.path_m_per_k, -1.0, 1.0),
    ] {
        source.range(&["interferometer", "light", key], value, low, high)?;
    }
    let limits = &i.limits;
    source.range(&["interferometer", "limits", "weak_fraction"], limits.weak_fraction, 0.0, 1.0)?;
    let weak = limits.weak_fraction;
    source.range(
        &["interferometer", "limits", "lost_fraction"],
        limits.lost_fraction,
        0.01,
        weak,
    )?;
    source.range(&["interferometer", "limits", "step_turns"], limits.step_turns, 0.01, 0.49)?;
    if !(1..=MOST_BEAMS).contains(&i.beams.len()) {
        let message = format!("{} beams, allowed 1 to {MOST_BEAMS}", i.beams.len());
        return Err(source.fault(&at("beam"), message));
    }
    beams(file, source)?;
    let mut last = None;
    for name in &i.axes {
        let index = AXES.iter().position(|(axis, ..)| axis == name);
        if index.is_none() || index <= last {
            let message =
                format!("`{name}`, allowed x, y, z, theta, eta, phi, each once, in that order");
            return Err(source.fault(&at("axes"), message));
        }
        last = index;
    }
    geometry::Geometry::new(i).map(|_| ()).map_err(|message| source.fault(&at("axes"), message))
}

fn beams(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    let Some(i) = &file.interferometer else { return Ok(()) };
    let mut used = vec![None; 4 * i.beams.len()];
    for (n, beam) in i.beams.iter().enumerate() {
        let number = n.to_string();
        let at = |key| ["interferometer", "beam", &number, key];
        let plain = beam.name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-');
        let twice = i.beams[..n].iter().any(|before| before.name == beam.name);
        if beam.name.is_empty() || beam.name.len() > 32 || !plain || twice {
            let message =
                format!("`{}`, allowed a name of its own of letters, digits, _ and -", beam.name);
            return Err(source.fault(&at("name"), message));
        }
        for x in beam.position_m {
            source.range(&at("position_m"), x, -1e3, 1e3)?;
        }
        let length = beam.direction.iter().map(|x| x * x).sum::<f64>().sqrt();
        let is_unit = (length - 1.0).abs() < 1e-6;
        if !is_unit {
            let message = format!("has length {length}, allowed 1");
            return Err(source.fault(&at("direction"), message));
        }
        for channel in beam.channels {
            match used.get_mut(usize::from(channel)) {
                Some(free @ None) => *free = Some(n),
                _ => {
                    let last = 4 * i.beams.len() - 1;
                    let message = format!("{channel}, allowed 0 to {last}, each once");
                    return Err(source.fault(&at("channels"), message));
                }
            }
        }
        if let Some(e) = &beam.ellipse {
            for (key, value, low, high) in [
                ("offset_x", e.offset_x, -1.0, 1.0),
                ("offset_y", e.offset_y, -1.0, 1.0),
                ("contrast", e.contrast, 1e-3, 2.0),
                ("ratio", e.ratio, 0.1, 10.0),
                ("quadrature_error_rad", e.quadrature_error_rad, -1.0, 1.0),
            ] {
                let at = ["interferometer", "beam", &number, "ellipse", key];
                source.range(&at, value, low, high)?;
            }
        }
        let f = &beam.faults;
        for (key, values, low, high) in [
            ("gains", &f.gains[..], 1e-3, 1e3),
            ("offsets_v", &f.offsets_v[..], -i.full_scale_v, i.full_scale_v),
            ("quarter_wave_error_rad", &[f.quarter_wave_error_rad][..], -1.0, 1.0),
            ("leakage", &[f.leakage][..], -0.5, 0.5),
            ("drift_per_hour", &[f.drift_per_hour][..], -1.0, 1.0),
        ] {
            for value in values {
                source.range(
                    &["interferometer", "beam", &number, "faults", key],
                    *value,
                    low,
                    high,
                )?;
            }
        }
    }
    Ok(())
}
