//! A six-axis sensor whose gains, shares, phases and strays are known because they were put in.

use crate::normal::Normal;
use quietgap_sim::calibration::bridges::{Found, Mixing, Point, with_strays};
use quietgap_sim::instrument::{Design, Sensor};
use quietgap_sim::readout::ideal::bridge::read;
use quietgap_sim::readout::ideal::housing::Housing;
use quietgap_sim::simulation::plant::Parts;
use quietgap_sim::simulation::plant::drive::Drive;

/// What is true of the six-axis vault sensor, and what its file says.
pub struct Bench {
    pub plant: Drive,
    pub told: Sensor,
    pub housing: Housing,
    pub codes_per_volt: f64,
    /// Of the plant.
    pub a0_code: Vec<f64>,
}

/// Gains off by so much, shares of others of 2 % and less, phases by so many radians, strays in the plant that the file does not know.
pub const GAINS: [f64; 6] = [1e-3, -0.7e-3, 0.4e-3, -1e-3, 0.9e-3, -0.2e-3];
pub const PHASES: [f64; 6] = [0.052, -0.03, 0.01, 0.045, -0.052, 0.02];
pub const STRAYS_F: [f64; 6] = [40e-15, -25e-15, 10e-15, 35e-15, -40e-15, 5e-15];

/// Share of bridge `j` in bridge `b`: up to 2 %, of both signs, no two alike.
pub fn share(b: usize, j: usize) -> f64 {
    let sign = if (b + j).is_multiple_of(2) { 1.0 } else { -1.0 };
    if b == j { 0.0 } else { sign * (0.02 - 0.0005 * (6 * b + j) as f64) }
}

impl Bench {
    pub fn new() -> Self {
        let sensor = Sensor::load("vault-six-axis").unwrap();
        let mut plant = sensor.clone();
        let names: Vec<String> = plant.file.bridges.iter().map(|b| b.name.clone()).collect();
        for (b, (bridge, stray)) in plant.file.bridges.iter_mut().zip(STRAYS_F).enumerate() {
            let others = names.iter().enumerate().filter(|(j, _)| *j != b);
            bridge.cross_coupling = others.map(|(j, name)| (name.clone(), share(b, j))).collect();
            bridge.stray_f[0] += f64::max(stray, 0.0);
            bridge.stray_f[1] += f64::max(-stray, 0.0);
        }
        let mut told = sensor.clone();
        for b in 0..6 {
            told.file.bridges[b].a0_code = Some(sensor.design.a0_code[b] * (1.0 + GAINS[b]));
            told.file.bridges[b].alignment_rad = Some(sensor.design.signal_phase_rad + PHASES[b]);
        }
        let monitor = told.file.monitor.as_mut().unwrap();
        monitor.alignment_rad =
            Some(sensor.design.signal_phase_rad + sensor.file.amplifier.loss_rad);
        Self {
            plant: Drive::new(&plant, Parts::ALL),
            housing: Housing::new(&told),
            codes_per_volt: sensor.design.codes_per_volt,
            a0_code: Design::new(&plant.file, &plant.plan).a0_code,
            told,
        }
    }

    /// Reading at a pose by a sensor's constants, with noise of so many codes.
    pub fn point(&self, place: [f64; 6], noise: f64, draw: &mut Normal) -> Point {
        let row = self.row(&self.told, &self.housing, place, noise, draw);
        Point { place: place.to_vec(), read: row.0, quadrature: row.1, noise: None }
    }

    pub fn row(
        &self,
        sensor: &Sensor,
        housing: &Housing,
        place: [f64; 6],
        noise: f64,
        draw: &mut Normal,
    ) -> (Vec<f64>, Vec<f64>) {
        let phasors: Vec<[f64; 2]> = self
            .plant
            .envelopes(place)
            .into_iter()
            .map(|e| [e.i, e.q].map(|v| v * self.codes_per_volt + noise * draw.next()))
            .collect();
        let row = read(sensor, housing, &phasors);
        (row.axes, row.quadrature)
    }
}

/// Five positions of each axis, the others at places of their own.
pub fn places() -> Vec<[f64; 6]> {
    let mut places = Vec::new();
    for axis in 0..6 {
        for step in -2..=2 {
            let mut place = [0.0; 6];
            let reach = if axis < 3 { 3e-4 } else { 4e-3 };
            place[axis] = reach * f64::from(step);
            places.push(place);
        }
    }
    places
}

pub fn calibrated(told: &Sensor, found: &[Found]) -> Sensor {
    let shares: Vec<f64> = found.iter().map(Found::stray_share).collect();
    let mut sensor = with_strays(told, &shares);
    let mixing = Mixing::new(told, found);
    for (b, found) in found.iter().enumerate() {
        let a0 = told.design.calibrated_a0(&told.file, b);
        let alignment = told.design.alignment(&told.file, b);
        let bridge = &mut sensor.file.bridges[b];
        bridge.a0_code = Some(a0 * mixing.gains[b]);
        bridge.cross_coupling = mixing.by_name(told, b);
        bridge.alignment_rad = Some(alignment + found.phase_rad[0]);
    }
    sensor
}
