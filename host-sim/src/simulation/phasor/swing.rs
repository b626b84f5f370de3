//! **What moves the mass** at the phasor level: a motion file, or the pendulum of the sensor file with its free
//! swing, thermal torque, creep, and the ground; temperature acts on both mass and readout.

use crate::instrument::file::EnvironmentFile;
use crate::instrument::{AXES, Sensor};
use crate::pendulum::{Pendulum, steepest};
use crate::simulation::motion::Motion;
use crate::simulation::plant::noise::{Gaussian, OneOverF, Stream};
use std::f64::consts::TAU;

/// Where the mass is, and the gain of the readout there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// x to phi.
    pub axes: [f64; 6],
    /// Gain of all channels over that at rest.
    pub gain: f64,
}

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
    };
    /// Nothing.
    pub const NONE: Self = Self {
        thermal: false,
        actuation_noise: false,
        temperature: false,
        ground: false,
        charge: false,
        creep: false,
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
            _ => return None,
        })
    }

    /// Names of all.
    pub const NAMES: [&'static str; 6] =
        ["thermal", "actuation-noise", "temperature", "ground", "charge", "creep"];
}

/// Moves the mass.
#[derive(Debug)]
pub enum Mover {
    /// As a file says.
    File(Box<Motion>),
    /// By its own dynamics.
    Swing(Box<Swinging>),
}

impl Mover {
    /// Moved by a motion file.
    #[must_use]
    pub fn file(motion: Motion) -> Self {
        Self::File(Box::new(motion))
    }

    /// Where the mass is at the next step, which stands for the time `instant_s`; `rate_hz` steps a second.
    pub fn step(&mut self, instant_s: f64, rate_hz: f64) -> Pose {
        match self {
            Self::File(motion) => Pose { axes: motion.at(instant_s), gain: 1.0 },
            Self::Swing(swing) => swing.step(rate_hz),
        }
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

/// The pendulum with what acts on it.
#[derive(Debug)]
pub struct Swinging {
    pendulum: Pendulum,
    environment: EnvironmentFile,
    /// Angle from the equilibrium of no torque, and its rate.
    state: [f64; 2],
    thermal: Gaussian,
    structural: Option<OneOverF>,
    /// Torque densities of what is white: gas and viscous loss, actuation, charge.
    white_torque: f64,
    temperature: Wandering,
    ground: Wandering,
    creep: f64,
    rest: f64,
    time_s: f64,
    /// Rate that the exact step below is for, and the step.
    made_for: f64,
    advance: [[f64; 2]; 2],
}

impl Swinging {
    /// The pendulum of a sensor that starts `start_rad` from its rest at `rest_rad`, without a rate; `None`
    /// without a `[pendulum]`.
    #[must_use]
    pub fn new(
        sensor: &Sensor,
        [start_rad, rest_rad]: [f64; 2],
        disturbances: Disturbances,
        step_hz: f64,
        seed: u64,
    ) -> Option<Self> {
        let pendulum = Pendulum::new(&sensor.file)?;
        let e = sensor.file.environment.clone();
        let on = |switch: bool, x: f64| if switch { x } else { 0.0 };
        let structural = (disturbances.thermal && pendulum.structural).then(|| {
            // Density 4 k T kappa/(Q omega): a law a/f, given by its value at a corner of the step's rate.
            let corner = step_hz / 8.0;
            OneOverF::new(
                Gaussian::new(seed, Stream::Outside(0)),
                pendulum.fibre_noise(corner),
                corner,
                step_hz,
            )
        });
        // The slow part of that torque turns the rest from the first moment on: the swing is about it.
        let turned = structural.as_ref().map_or(0.0, |law| law.value() / pendulum.stiffness());
        let viscous = if pendulum.structural { 0.0 } else { pendulum.fibre_damping() };
        let thermal = on(disturbances.thermal, pendulum.viscous_noise(pendulum.damping + viscous));
        let others = on(disturbances.actuation_noise, actuation_torque(sensor, &pendulum))
            .hypot(on(disturbances.charge, charge_torque(sensor, &pendulum)));
        let wandering = |stream, switch, density, corner| {
            Wandering::new(seed, stream, on(switch, density), corner)
        };
        Some(Self {
            state: [start_rad + rest_rad + turned, 0.0],
            rest: rest_rad,
            thermal: Gaussian::new(seed, Stream::Outside(1)),
            structural,
            white_torque: thermal.hypot(others),
            temperature: wandering(
                2,
                disturbances.temperature,
                e.temperature_k_per_rthz,
                e.temperature_corner_hz,
            ),
            ground: wandering(4, disturbances.ground, e.tilt_rad_per_rthz, e.tilt_corner_hz),
            creep: on(disturbances.creep, e.creep_rad_per_s),
            time_s: 0.0,
            made_for: 0.0,
            advance: [[0.0; 2]; 2],
            environment: e,
            pendulum,
        })
    }

    fn step(&mut self, rate_hz: f64) -> Pose {
        let p = &self.pendulum;
        if self.made_for != rate_hz {
            let damping = p.fibre_damping() + p.damping;
            self.advance =
                exact_step(p.stiffness() / p.inertia, damping / p.inertia, 1.0 / rate_hz);
            self.made_for = rate_hz;
        }
        let kelvin = self.temperature.next(rate_hz);
        // What turns the fibre's upper end turns its rest position.
        let rest =
            self.creep * self.time_s + self.environment.tilt_coupling * self.ground.next(rate_hz);
        let mut torque =
            self.white_torque * (rate_hz / 2.0).sqrt() * self.thermal.next_if(self.white_torque);
        if let Some(law) = &mut self.structural {
            let [a, b] = law.chunk();
            torque += (a + b) / 2.0;
        }
        torque += p.fibre * rest + p.stiffness() * self.rest;
        torque -= p.fibre * self.environment.stiffness_per_k * kelvin * self.state[0];
        // A torque that is constant over a step moves the equilibrium for its length.
        let settled = torque / p.stiffness();
        let [[a, b], [c, d]] = self.advance;
        let [x, v] = [self.state[0] - settled, self.state[1]];
        let before = self.state[0];
        self.state = [a * x + b * v + settled, c * x + d * v];
        self.time_s += 1.0 / rate_hz;
        let mut axes = [0.0; 6];
        axes[p.axis] = 0.5 * (before + self.state[0]);
        // Expansion that is not balanced looks like a displacement of the first axis, or a turn by it.
        let apparent = self.environment.expansion_m_per_k * kelvin;
        axes[p.axis] += apparent / p.arm_m;
        Pose { axes, gain: 1.0 + self.environment.gain_per_k * kelvin }
    }
}

/// Advance of (x, v) by h under x'' = -k x - b x', exactly: e^(-b h/2) times cosines of the damped swing.
fn exact_step(k: f64, b: f64, h: f64) -> [[f64; 2]; 2] {
    let half = b / 2.0;
    let square = k - half * half;
    let decay = (-half * h).exp();
    let (cosine, over) = if square > 0.0 {
        let omega = square.sqrt();
        ((omega * h).cos(), (omega * h).sin() / omega)
    } else {
        let omega = (-square).sqrt();
        let sine = if omega == 0.0 { h } else { (omega * h).sinh() / omega };
        ((omega * h).cosh(), sine)
    };
    [
        [decay * (cosine + half * over), decay * over],
        [-decay * k * over, decay * (cosine - half * over)],
    ]
}

/// Torque density of the actuation's amplitude noise: twice the relative noise times the pull that is not
/// balanced, V^2/2 dC/dq.
#[must_use]
pub fn actuation_torque(sensor: &Sensor, pendulum: &Pendulum) -> f64 {
    let Some(p) = &sensor.file.pendulum else { return 0.0 };
    let pull = 0.5 * p.actuation_v.powi(2) * steepest(&sensor.file, pendulum.axis);
    2.0 * p.actuation_noise_per_rthz * (p.actuation_imbalance * pull).abs()
}

/// Torque density of the mass's charge with one electrode's stray voltage: q/C_total dC/dq of it.
#[must_use]
pub fn charge_torque(sensor: &Sensor, pendulum: &Pendulum) -> f64 {
    let e = &sensor.file.environment;
    let slope = steepest(&sensor.file, pendulum.axis) / sensor.design.total_f;
    (e.charge_c * slope * e.stray_voltage_v_per_rthz).abs()
}

/// Name of the axis that swings.
#[must_use]
pub fn axis_name(pendulum: &Pendulum) -> &'static str {
    AXES[pendulum.axis].1
}
