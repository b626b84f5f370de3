//! The library without the command: a built-in sensor moves, its codes go through the core, and the readings
//! are compared with the motion.
//!
//! cargo run --release --package quietgap-sim --example tilt

use quietgap_sim::error::Result;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::readout::readings::{Row, health_text};
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::plant::{Parts, Plant};

fn main() -> Result<()> {
    let sensor = Sensor::load("vault-two-bridge")?;
    // A drift of 2 um along x and 5 urad about z in four seconds.
    let (x, phi) = (|t: f64| 0.5e-6 * t, |t: f64| 1.25e-6 * t);
    let times: Vec<f64> = (0..=5).map(f64::from).collect();
    let column = |f: &dyn Fn(f64) -> f64| Some(times.iter().map(|t| f(*t)).collect());
    let axes = [column(&x), None, None, None, None, column(&phi)];
    let motion = Motion::new(times.clone(), axes)?;
    let mut plant = Plant::new(&sensor, motion, Parts::ALL, 1);
    let mut chain =
        Chain::new(&sensor.settings).expect("a plan that the sensor file was checked with");
    let mut codes = Vec::new();
    let mut samples = 0.0;
    while samples < 4.0 * sensor.rate_hz() {
        plant.chunk(&mut codes);
        samples += codes.len() as f64 / sensor.channels() as f64;
        chain.push(&codes, |reading| {
            let row = Row::of(reading);
            let t = row.time_s(sensor.rate_hz());
            if row.health.is_ok() {
                let off = [row.axes[0] - x(t), row.axes[1] - phi(t)];
                println!("{t:6.3} s: off by {:+.1e} m, {:+.1e} rad", off[0], off[1]);
            } else {
                println!("{t:6.3} s: {}", health_text(row.health));
            }
        });
    }
    Ok(())
}
