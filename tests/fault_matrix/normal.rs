//! A day of normal running: nothing is flagged.

use super::station;
use quietgap_acquisition::Faults;
use quietgap_acquisition::timeline::Timeline;
use quietgap_acquisition::watch::{STRIDE, Watch};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::simulation::phasor::outside::Disturbances;
use quietgap_sim::simulation::phasor::swing::{Mover, Swinging};
use quietgap_sim::simulation::phasor::{Simulation, step_hz};
use quietgap_sim::simulation::plant::Parts;

const DAY_S: f64 = 86_400.0;

/// Normal deviates: sum of four of Numerical Recipes' 64-bit generator (from memory), unit variance.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let parts = [0, 16, 32, 48].map(|n| (self.0 >> n & 0xffff) as f64 / 65_536.0 - 0.5);
        parts.iter().sum::<f64>() * 3f64.sqrt()
    }
}

/// A day of blocks, the converter's clock some ppm off and wandering by some more, interrupts late now and then.
#[test]
#[ignore = "seconds: a day; cargo test --workspace --tests -- --ignored"]
fn a_day_of_times() {
    let settings = station::settings(1024);
    let mut timeline = Timeline::new(settings.clock);
    let (mut noise, mut ticks) = (Noise(4), 0.0);
    let blocks = (DAY_S * 800_000.0 / 1024.0) as u64;
    for n in 0..blocks {
        let ppm = 20.0 + 10.0 * (n as f64 * 2e-7).sin();
        ticks += 256_000.0 * (1.0 - ppm * 1e-6);
        let delay =
            if noise.next() > 1.3 { 300.0 * noise.next().abs() } else { 4.0 * noise.next().abs() };
        let judged = timeline.block((ticks + delay) as u64 as u32, 1024);
        assert_eq!((judged.missing, judged.faults), (0, Faults::NONE), "block {n}");
    }
}

/// A day of looks at two bridges that sway through zero and through each other, with the noise of the vault's amplifiers.
#[test]
#[ignore = "seconds: a day; cargo test --workspace --tests -- --ignored"]
fn a_day_of_looks() {
    let settings = station::settings(1024);
    let mut watch = Watch::<2>::new(settings.limits, settings.carrier);
    let mut noise = Noise(9);
    let mut block = [0i32; 2 * STRIDE];
    let looks = (DAY_S * 800_000.0 / STRIDE as f64) as u64;
    for n in 0..looks {
        let t = n as f64 * STRIDE as f64 / 800_000.0;
        let carrier = (std::f64::consts::TAU * 0.1 * (n * STRIDE as u64 % 10) as f64).cos();
        let sizes = [3e4 * (t / 300.0).sin(), 3e4 * (t / 331.0).cos()];
        for (channel, size) in sizes.iter().enumerate() {
            let offset = [1342.0, 1342.0][channel];
            // The vault's 24-bit codes: 0.7 mV of amplifier noise.
            block[channel] = (size * carrier + offset + 1000.0 * noise.next()) as i32;
        }
        assert_eq!(watch.block(&block, n * STRIDE as u64).faults, Faults::NONE, "{t} s");
    }
}

/// A day of readings of the pendulum, all noise, drift and ground motion at work.
#[test]
#[ignore = "a minute: a day; cargo test --workspace --tests -- --ignored"]
fn a_day_of_readings() {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    let swing = Swinging::new(&sensor, [2e-5, 0.0], Disturbances::ALL, step_hz(&sensor), 6);
    let mover = Mover::Swing(Box::new(swing.expect("a pendulum").with(Default::default())));
    let mut simulation = Simulation::new(&sensor, mover, Parts::ALL, 6).expect("a simulation");
    let day = (DAY_S * sensor.output_rate_hz()) as usize;
    for n in 0..day {
        let (row, _) = simulation.reading();
        assert!(row.health.is_ok(), "reading {n}: {:?}", row.health);
    }
}
