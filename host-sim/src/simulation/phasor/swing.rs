//! **What moves the mass** at the phasor level: a motion file, or the pendulum of the sensor file with its free
//! swing, thermal torque, creep, and what is [`super::outside`].

use super::experiment::Experiment;
use super::outside::{Disturbances, Outside, Values};
use crate::instrument::{AXES, Sensor};
use crate::pendulum::Pendulum;
use crate::pendulum::pull::{Pull, steepest};
use crate::simulation::motion::Motion;
use crate::simulation::plant::noise::{Gaussian, OneOverF, Stream};

/// Where the mass is, and the gain of the readout there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// x to phi.
    pub axes: [f64; 6],
    /// Gain of all channels over that at rest.
    pub gain: f64,
    /// What auxiliary sensors would read then.
    pub outside: Values,
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
            Self::File(motion) => {
                Pose { axes: motion.at(instant_s), gain: 1.0, outside: Values::default() }
            }
            Self::Swing(swing) => swing.step(instant_s, rate_hz),
        }
    }
}

/// The pendulum with what acts on it.
#[derive(Debug)]
pub struct Swinging {
    pendulum: Pendulum,
    outside: Outside,
    pull: Pull,
    /// Angle from the equilibrium of no torque, and its rate.
    state: [f64; 2],
    thermal: Gaussian,
    structural: Option<OneOverF>,
    /// Torque densities of what is white: gas and viscous loss, actuation, charge.
    white_torque: f64,
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
        Some(Self {
            state: [start_rad + rest_rad + turned, 0.0],
            rest: rest_rad,
            thermal: Gaussian::new(seed, Stream::Outside(1)),
            structural,
            white_torque: thermal.hypot(others),
            creep: on(disturbances.creep, sensor.file.environment.creep_rad_per_s),
            time_s: 0.0,
            made_for: 0.0,
            advance: [[0.0; 2]; 2],
            outside: Outside::new(&sensor.file.environment, disturbances, seed),
            pull: Pull::new(&sensor.file, pendulum.axis, sensor.design.total_f),
            pendulum,
        })
    }

    /// The same with the drives of an experiment.
    #[must_use]
    pub fn with(mut self, experiment: Experiment) -> Self {
        self.outside.experiment = experiment;
        self
    }

    fn step(&mut self, instant_s: f64, rate_hz: f64) -> Pose {
        let p = &self.pendulum;
        if self.made_for != rate_hz {
            let damping = p.fibre_damping() + p.damping;
            self.advance =
                exact_step(p.stiffness() / p.inertia, damping / p.inertia, 1.0 / rate_hz);
            self.made_for = rate_hz;
        }
        let outside = self.outside.next(instant_s, rate_hz);
        let e = &self.outside.environment;
        // What turns the fibre's upper end turns its rest position.
        let rest = self.creep * self.time_s + e.tilt_coupling * outside.tilt_rad;
        let mut torque =
            self.white_torque * (rate_hz / 2.0).sqrt() * self.thermal.next_if(self.white_torque);
        if let Some(law) = &mut self.structural {
            let [a, b] = law.chunk();
            torque += (a + b) / 2.0;
        }
        torque += p.fibre * rest + p.stiffness() * self.rest;
        torque -= p.fibre * e.stiffness_per_k * outside.temperature_k * self.state[0];
        torque += e.torque_n_m_per_k * outside.temperature_k
            + e.torque_n_m_per_gradient_k * outside.gradient_k
            + e.torque_n_m_per_intensity * outside.intensity;
        torque += self.pull.torque(outside.voltage_v, e.stray_voltage_v, outside.charge_c);
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
        axes[p.axis] += e.expansion_m_per_k * outside.temperature_k / p.arm_m;
        Pose { axes, gain: 1.0 + e.gain_per_k * outside.temperature_k, outside }
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
