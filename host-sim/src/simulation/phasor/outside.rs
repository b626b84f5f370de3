//! **What acts from outside**: temperature, tilt of the ground, the laser's intensity, the mass's charge, and the
//! drives of an experiment, as values that auxiliary sensors would read.

use super::experiment::{Drives, Experiment};
use crate::instrument::file::EnvironmentFile;
use crate::simulation::plant::noise::{Gaussian, Stream};
use std::f64::consts::TAU;

/// Disturbances that can be switched off, by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Disturbances {
    /// Thermal torque of fibre and gas.
    pub thermal: bool,
    /// Amplitude noise of the actuation.
    pub actuation_noise: bool,
    /// Temperature.
    pub temperature: bool,
    /// Tilt of the ground.
    pub ground: bool,
    /// Charge with the stray voltage's noise.
    pub charge: bool,
    /// Creep of the fibre.
    pub creep: bool,
    /// Wandering of the laser's intensity.
    pub intensity: bool,
    /// Drives of an experiment: heater, voltage.
    pub drives: bool,
}

impl Disturbances {
    /// Everything.
    pub const ALL: Self = Self {
        thermal: true,
        actuation_noise: true,
        temperature: true,
        ground: true,
        charge: true,
        creep: true,
        intensity: true,
        drives: true,
    };
    /// Nothing.
    pub const NONE: Self = Self {
        thermal: false,
        actuation_noise: false,
        temperature: false,
        ground: false,
        charge: false,
        creep: false,
        intensity: false,
        drives: false,
    };

    /// The switch of a name.
    pub fn switch(&mut self, name: &str) -> Option<&mut bool> {
        Some(match name {
            "thermal" => &mut self.thermal,
            "actuation-noise" => &mut self.actuation_noise,
            "temperature" => &mut self.temperature,
            "ground" => &mut self.ground,
            "charge" => &mut self.charge,
            "creep" => &mut self.creep,
            "intensity" => &mut self.intensity,
            "drives" => &mut self.drives,
            _ => return None,
        })
    }

    /// Names of all.
    pub const NAMES: [&'static str; 8] = [
        "thermal",
        "actuation-noise",
        "temperature",
        "ground",
        "charge",
        "creep",
        "intensity",
        "drives",
    ];
}

/// Values at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Values {
    /// Temperature, from its mean.
    pub temperature_k: f64,
    /// Difference of temperature across the mass that the heater makes.
    pub gradient_k: f64,
    /// Tilt of the ground.
    pub tilt_rad: f64,
    /// Relative change of the laser's intensity.
    pub intensity: f64,
    /// Charge of the mass.
    pub charge_c: f64,
    /// Power of the heater.
    pub heater_w: f64,
    /// Voltage of the driven electrode.
    pub voltage_v: f64,
}

impl Values {
    /// Columns of a record of them. The charge is not among these: no sensor reads it.
    pub const COLUMNS: [&'static str; 6] =
        ["temperature_k", "gradient_k", "tilt_rad", "intensity", "heater_w", "voltage_v"];

    /// In the order of the columns.
    #[must_use]
    pub fn row(&self) -> [f64; 6] {
        [
            self.temperature_k,
            self.gradient_k,
            self.tilt_rad,
            self.intensity,
            self.heater_w,
            self.voltage_v,
        ]
    }
}

/// White above a corner, 1/f in amplitude below: white noise and a random walk.
#[derive(Debug)]
struct Wandering {
    white: Gaussian,
    walk: Gaussian,
    density: f64,
    corner_hz: f64,
    sum: f64,
}

impl Wandering {
    fn new(seed: u64, stream: u64, density: f64, corner_hz: f64) -> Self {
        let gaussian = |n| Gaussian::new(seed, Stream::Outside(n));
        Self { white: gaussian(stream), walk: gaussian(stream + 1), density, corner_hz, sum: 0.0 }
    }

    fn next(&mut self, rate_hz: f64) -> f64 {
        let d = self.density;
        if d == 0.0 {
            return 0.0;
        }
        // A walk of steps s at rate r has the density 2 s^2/(r (2 pi f/r)^2): d corner/f for this s.
        let step = d * self.corner_hz * TAU / (2.0 * rate_hz).sqrt();
        self.sum += step * self.walk.next_if(step);
        self.sum + d * (rate_hz / 2.0).sqrt() * self.white.next()
    }
}

/// All of them, step by step.
#[derive(Debug)]
pub(super) struct Outside {
    pub environment: EnvironmentFile,
    pub experiment: Experiment,
    drives: bool,
    temperature: Wandering,
    ground: Wandering,
    intensity: Wandering,
    gradient_k: f64,
    charged: bool,
}

impl Outside {
    pub fn new(e: &EnvironmentFile, on: Disturbances, seed: u64) -> Self {
        let wandering = |stream, switch: bool, density, corner| {
            Wandering::new(seed, stream, if switch { density } else { 0.0 }, corner)
        };
        Self {
            temperature: wandering(
                2,
                on.temperature,
                e.temperature_k_per_rthz,
                e.temperature_corner_hz,
            ),
            ground: wandering(4, on.ground, e.tilt_rad_per_rthz, e.tilt_corner_hz),
            intensity: wandering(6, on.intensity, e.intensity_per_rthz, e.intensity_corner_hz),
            environment: e.clone(),
            experiment: Experiment::default(),
            drives: on.drives,
            gradient_k: 0.0,
            charged: on.charge,
        }
    }

    /// The next step, which stands for the time `instant_s`.
    pub fn next(&mut self, instant_s: f64, rate_hz: f64) -> Values {
        let e = &self.environment;
        let drives = if self.drives { self.experiment.at(instant_s) } else { Drives::default() };
        // The gradient follows the heater's power as a body does that cools through one resistance: exactly, for
        // a power that is constant over a step.
        let settled = e.gradient_k_per_w * drives.heater_w;
        let keep =
            if e.gradient_lag_s > 0.0 { (-1.0 / (rate_hz * e.gradient_lag_s)).exp() } else { 0.0 };
        self.gradient_k = settled + (self.gradient_k - settled) * keep;
        let charge = e.charge_c + e.charge_c_per_s * instant_s;
        Values {
            temperature_k: self.temperature.next(rate_hz),
            gradient_k: self.gradient_k,
            tilt_rad: self.ground.next(rate_hz),
            intensity: self.intensity.next(rate_hz) + drives.intensity,
            charge_c: if self.charged { charge } else { 0.0 },
            heater_w: drives.heater_w,
            voltage_v: drives.voltage_v,
        }
    }
}
