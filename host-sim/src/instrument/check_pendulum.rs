//! What `[pendulum]` and `[environment]` may not say.

use super::AXES;
use super::check::Source;
use super::file::SensorFile;
use crate::error::Result;

const TINY: f64 = 1e-30;

/// Checks both sections.
pub(super) fn sections(file: &SensorFile, source: &Source<'_>) -> Result<()> {
    let e = &file.environment;
    let hertz = file.converter.rate_hz;
    for (key, value, low, high) in [
        ("temperature_k_per_rthz", e.temperature_k_per_rthz, 0.0, 1e3),
        ("temperature_corner_hz", e.temperature_corner_hz, 0.0, hertz),
        ("expansion_m_per_k", e.expansion_m_per_k, -1e-3, 1e-3),
        ("gain_per_k", e.gain_per_k, -1.0, 1.0),
        ("stiffness_per_k", e.stiffness_per_k, -1.0, 1.0),
        ("tilt_rad_per_rthz", e.tilt_rad_per_rthz, 0.0, 1.0),
        ("tilt_corner_hz", e.tilt_corner_hz, 0.0, hertz),
        ("tilt_coupling", e.tilt_coupling, -1e3, 1e3),
        ("charge_c", e.charge_c, -1e-6, 1e-6),
        ("stray_voltage_v_per_rthz", e.stray_voltage_v_per_rthz, 0.0, 1e3),
        ("charge_c_per_s", e.charge_c_per_s, -1e-6, 1e-6),
        ("stray_voltage_v", e.stray_voltage_v, -1e3, 1e3),
        ("torque_n_m_per_k", e.torque_n_m_per_k, -1.0, 1.0),
        ("gradient_k_per_w", e.gradient_k_per_w, -1e6, 1e6),
        ("gradient_lag_s", e.gradient_lag_s, 0.0, 1e7),
        ("torque_n_m_per_gradient_k", e.torque_n_m_per_gradient_k, -1.0, 1.0),
        ("intensity_per_rthz", e.intensity_per_rthz, 0.0, 1.0),
        ("intensity_corner_hz", e.intensity_corner_hz, 0.0, hertz),
        ("torque_n_m_per_intensity", e.torque_n_m_per_intensity, -1.0, 1.0),
        ("creep_rad_per_s", e.creep_rad_per_s, -1e-3, 1e-3),
    ] {
        source.range(&["environment", key], value, low, high)?;
    }
    let Some(p) = &file.pendulum else { return Ok(()) };
    for (key, value, low, high) in [
        ("mass_kg", p.mass_kg, TINY, 1e6),
        ("arm_m", p.arm_m, TINY, 1e3),
        ("temperature_k", p.temperature_k, TINY, 1e4),
        ("quality", p.quality, 1.0, 1e12),
        ("gas_damping_n_m_s", p.gas_damping_n_m_s, 0.0, 1e3),
        ("eddy_damping_n_m_s", p.eddy_damping_n_m_s, 0.0, 1e3),
        ("actuation_v", p.actuation_v, 0.0, 1e6),
        ("actuation_noise_per_rthz", p.actuation_noise_per_rthz, 0.0, 1.0),
        ("actuation_imbalance", p.actuation_imbalance, -1.0, 1.0),
    ] {
        source.range(&["pendulum", key], value, low, high)?;
    }
    let fibre = &p.fibre;
    for (key, value, low, high) in [
        ("shear_modulus_pa", fibre.shear_modulus_pa, 1.0, 1e13),
        ("diameter_m", fibre.diameter_m, 1e-9, 1.0),
        ("length_m", fibre.length_m, 1e-6, 1e4),
        ("tension_n", fibre.tension_n, 0.0, 1e7),
    ] {
        source.range(&["pendulum", "fibre", key], value, low, high)?;
    }
    let rotations = &AXES[3..];
    if !rotations.iter().any(|(name, ..)| *name == p.axis) || !file.axes.names.contains(&p.axis) {
        let known: Vec<&str> = rotations
            .iter()
            .map(|(name, ..)| *name)
            .filter(|name| file.axes.names.iter().any(|n| n == name))
            .collect();
        let message =
            format!("is `{}`, allowed a rotation that is read: {}", p.axis, known.join(", "));
        return Err(source.fault(&["pendulum", "axis"], message));
    }
    match (p.inertia_kg_m2, p.bodies.as_slice()) {
        (Some(inertia), []) => {
            source.range(&["pendulum", "inertia_kg_m2"], inertia, TINY, 1e9)?;
        }
        (None, [_, ..]) => {
            for (n, body) in p.bodies.iter().enumerate() {
                let n = n.to_string();
                source.range(&["pendulum", "body", &n, "mass_kg"], body.mass_kg, TINY, 1e6)?;
                source.range(
                    &["pendulum", "body", &n, "inertia_kg_m2"],
                    body.inertia_kg_m2,
                    0.0,
                    1e9,
                )?;
                for at in body.position_m {
                    source.range(&["pendulum", "body", &n, "position_m"], at, -1e3, 1e3)?;
                }
            }
        }
        _ => {
            let message = "allowed `inertia_kg_m2` or bodies, one of the two";
            return Err(source.fault(&["pendulum"], message));
        }
    }
    let total = crate::pendulum::Pendulum::new(file).map_or(0.0, |p| p.stiffness());
    if total <= 0.0 {
        let message = format!(
            "the whole stiffness is {total:e} N m/rad, allowed above 0: the voltages' outweighs the fibre's"
        );
        return Err(source.fault(&["pendulum"], message));
    }
    Ok(())
}
