//! **Predicted couplings**: what a sensor file says that a channel does to the swing, for comparison with what is found.

use crate::instrument::{AXES, Sensor};
use crate::pendulum::Pendulum;
use crate::pendulum::pull::Pull;

/// Reading per unit of a channel at once, for the pendulum's angle or its torque, by the channel's name; `None` where the sensor
/// file says nothing of it. Of an angle it is what holds below the resonance. The mass is taken to hang at rest.
#[must_use]
pub fn predicted(sensor: &Sensor, reading: &str, channel: &str) -> Option<f64> {
    let p = Pendulum::new(&sensor.file)?;
    let e = &sensor.file.environment;
    let compliance = match reading {
        "torque_n_m" => 1.0,
        angle if angle == AXES[p.axis].1 => 1.0 / p.stiffness(),
        _ => return None,
    };
    let torque = match channel {
        // Expansion looks like a turn, and so like a torque.
        "temperature_k" => e.torque_n_m_per_k + p.stiffness() * e.expansion_m_per_k / p.arm_m,
        "gradient_k" => e.torque_n_m_per_gradient_k,
        "heater_w" => e.torque_n_m_per_gradient_k * e.gradient_k_per_w,
        "intensity" => e.torque_n_m_per_intensity,
        "tilt_rad" => p.fibre * e.tilt_coupling,
        "voltage_v" => Pull::new(&sensor.file, p.axis, sensor.design.total_f)
            .per_volt(e.stray_voltage_v, e.charge_c),
        _ => return None,
    };
    Some(torque * compliance)
}
