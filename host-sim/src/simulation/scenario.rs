//! **Scenario** of the demo, and what it asks of the noise: how the plate of the slate-quarry tilt vault moves. A tide-like
//! drift, the pendulum's own slow line, a small step, microseism-like ground noise.

use crate::instrument::Sensor;
use crate::simulation::motion::Motion;
use crate::simulation::plant::noise::{Gaussian, Stream};
use std::f64::consts::TAU;

/// Rows per second of the table: splines between them err by less than 1e-15 m.
const TABLE_HZ: f64 = 50.0;

/// Motion of a sensor's own axes for a run of `seconds`; equal seeds give equal motion.
#[must_use]
pub fn vault(sensor: &Sensor, seconds: f64, seed: u64) -> Motion {
    let mut random = Gaussian::new(seed, Stream::Motion);
    // Ends a little late, so that the last reading's filters see motion and not a stop.
    let rows = (seconds * TABLE_HZ).ceil() as usize + 2;
    let times: Vec<f64> = (0..rows).map(|k| k as f64 / TABLE_HZ).collect();
    let mut values: [Option<Vec<f64>>; 6] = Default::default();
    for (order, &axis) in sensor.axes().iter().enumerate() {
        // A micrometre of translation goes with some ten microradians of rotation.
        let scale = if axis < 3 { 1.0 } else { 10.0 } / (1.0 + 0.25 * order as f64);
        let tide_phase = TAU * 0.11 * (order as f64 + 1.0);
        let step_s = seconds * (0.4 + 0.05 * order as f64);
        let waves: Vec<[f64; 3]> = (0..24)
            .map(|k| {
                let frequency = 0.12 + 0.01 * k as f64;
                [
                    frequency,
                    30e-9 / 24f64.sqrt() * random.next(),
                    30e-9 / 24f64.sqrt() * random.next(),
                ]
            })
            .collect();
        let at = |t: f64| {
            let tide = 3.0e-6 * (TAU * t / 44_714.0 + tide_phase).sin();
            let pendulum = 0.8e-6 * (TAU * t / 210.0 + tide_phase).cos();
            let step = 30e-9 * (1.0 + ((t - step_s) / 0.5).tanh());
            let ground: f64 = waves
                .iter()
                .map(|[f, c, s]| {
                    let (sine, cosine) = (TAU * f * t).sin_cos();
                    c * cosine + s * sine
                })
                .sum();
            scale * (tide + pendulum + step + ground)
        };
        values[axis] = Some(times.iter().map(|t| at(*t)).collect());
    }
    Motion::new(times, values).expect("times rise and values are numbers")
}

/// What the vault asks of its readout, as a file for `--against`: displacement, angle, and acceleration of one
/// mass. Flat where tides and tilts are read, rising below as the ground does.
#[must_use]
pub fn requirement() -> String {
    let mut text = "frequency_hz,x_m_asd,phi_rad_asd,acceleration_m_per_s2_asd\n".to_owned();
    for k in -16..=2 {
        let f = 10f64.powf(f64::from(k) / 4.0);
        let rising = 1.0 + (2e-3 / f).powi(2);
        // An angle may be as loud as the resonance makes a quiet torque; beyond, the reading's own counts.
        let acceleration = 2e-11 * rising.sqrt() * (1.0 + (f / 2e-2).powi(2));
        let row = [f, 1e-9 * rising.sqrt(), 1e-6 * rising, acceleration];
        text += &(row.map(|x| format!("{x:e}")).join(",") + "\n");
    }
    text
}
