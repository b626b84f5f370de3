//! What moves the mass: torques over the pendulum's stiffness, and what looks like motion.

use super::{Contributor, Enters};
use crate::filter::response::Response;
use crate::instrument::Sensor;
use crate::pendulum::Pendulum;
use crate::simulation::phasor::swing::{actuation_torque, charge_torque};

/// All of them; none without a `[pendulum]`.
#[must_use]
pub fn contributors(sensor: &Sensor, frequency_hz: &[f64], place: [f64; 6]) -> Vec<Contributor> {
    let Some(p) = Pendulum::new(&sensor.file) else { return Vec::new() };
    let e = &sensor.file.environment;
    let response = Response::new(&sensor.plan, sensor.rate_hz());
    // White above a corner, 1/f in amplitude below.
    let wandering =
        |density: f64, corner: f64, f: f64| density * (1.0 + (corner / f).powi(2)).sqrt();
    let kelvin = |f: f64| wandering(e.temperature_k_per_rthz, e.temperature_corner_hz, f);
    let tilt = |f: f64| wandering(e.tilt_rad_per_rthz, e.tilt_corner_hz, f);
    let place_rad = place[p.axis];
    // Angle of the swinging axis at a frequency.
    let angle = |name, note: &str, enters, value: &dyn Fn(f64) -> f64| {
        let density = sensor.axes().iter().map(|axis| {
            let one = |f: &f64| {
                if *axis == p.axis { response.gain_at(*f).abs() * value(*f) } else { 0.0 }
            };
            frequency_hz.iter().map(one).collect()
        });
        Contributor { name, enters, density: density.collect(), note: note.to_owned() }
    };
    let force = |name, note: &str, torque: &dyn Fn(f64) -> f64| {
        angle(name, note, Enters::Force, &|f| torque(f) * p.response(f).norm())
    };
    let structural =
        if p.structural { "structural loss: falls as 1/sqrt(f)" } else { "viscous loss: white" };
    let eddy = p.damping - p.gas_damping;
    let mut all = vec![
        force("thermal torque of the fibre", structural, &|f| p.fibre_noise(f)),
        force("thermal torque of the gas", "viscous: white", &|_| p.viscous_noise(p.gas_damping)),
        force("thermal torque of eddy currents", "viscous: white", &|_| p.viscous_noise(eddy)),
        force(
            "actuation's amplitude noise",
            "in proportion to the pull that is not balanced",
            &|_| actuation_torque(sensor, &p),
        ),
        force(
            "charge with stray voltage",
            "charge over the mass's capacitance, times the slope of one electrode's",
            &|_| charge_torque(sensor, &p),
        ),
        force("tilt of the ground", "turns the fibre's upper end", &|f| {
            p.fibre * (e.tilt_coupling * tilt(f)).abs()
        }),
        force("temperature, stiffness", "in proportion to the angle at rest", &|f| {
            p.fibre * (e.stiffness_per_k * place_rad).abs() * kelvin(f)
        }),
        angle("temperature, expansion", "looks like motion", Enters::Readout, &|f| {
            (e.expansion_m_per_k / p.arm_m).abs() * kelvin(f)
        }),
        temperature_gain(sensor, frequency_hz, place, &kelvin, &response),
    ];
    // Couplings that a sensor file has only for experiments.
    if e.torque_n_m_per_k != 0.0 {
        all.push(force("temperature, torque", "outgassing, radiation, whatever pulls", &|f| {
            e.torque_n_m_per_k.abs() * kelvin(f)
        }));
    }
    if e.torque_n_m_per_intensity != 0.0 {
        all.push(force("laser intensity", "pressure of light and what it warms", &|f| {
            e.torque_n_m_per_intensity.abs()
                * wandering(e.intensity_per_rthz, e.intensity_corner_hz, f)
        }));
    }
    all
}

/// A gain that follows temperature moves every axis in proportion to where it stands; a monitor does not see it.
fn temperature_gain(
    sensor: &Sensor,
    frequency_hz: &[f64],
    place: [f64; 6],
    kelvin: &dyn Fn(f64) -> f64,
    response: &Response,
) -> Contributor {
    let gain = sensor.file.environment.gain_per_k;
    // All channels share the plant's gain, the monitor as well: dividing takes it off.
    let left = if sensor.file.monitor.is_some() { 0.0 } else { 1.0 };
    let density = sensor.axes().iter().map(|axis| {
        let one =
            |f: &f64| left * (gain * place[*axis]).abs() * kelvin(*f) * response.gain_at(*f).abs();
        frequency_hz.iter().map(one).collect()
    });
    Contributor {
        name: "temperature, gain",
        enters: Enters::Readout,
        density: density.collect(),
        note: "in proportion to the displacement".to_owned(),
    }
}
