//! **Pendulum**: what the mass hangs from, as a mechanical system. Angle to torque and back, by frequency
//! ([`Pendulum::response`]) and in time ([`torque`]); the free swing fitted from a record ([`swing`]).
//!
//! Equation of motion: I a + b v + kappa (1 + i/Q) x = T (P. R. Saulson, Phys. Rev. D 42 (1990) 2437, for the
//! two forms of loss and their thermal noise; from memory).

pub mod pull;
pub mod swing;
pub mod torque;

use crate::instrument::AXES;
use crate::instrument::design::mass_v;
use crate::instrument::file::{LossFile, PendulumFile, Role, SensorFile};
use crate::simulation::plant::electrodes::{Electrode, Pose};
use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Boltzmann constant, J/K, exact in the SI.
pub const BOLTZMANN: f64 = 1.380_649e-23;

/// A torsion pendulum in numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Pendulum {
    /// Moment of inertia, kg m^2.
    pub inertia: f64,
    /// Stiffness of the fibre, N m/rad.
    pub fibre: f64,
    /// Stiffness that the fibre's tension adds.
    pub tension: f64,
    /// Stiffness of the carrier's and the actuation's fields: negative.
    pub electrostatic: f64,
    /// Quality factor of the fibre's loss at resonance, and its form.
    pub quality: f64,
    /// Whether the loss is structural.
    pub structural: bool,
    /// Viscous damping beside the fibre's, N m s/rad.
    pub damping: f64,
    /// Of that, by gas.
    pub gas_damping: f64,
    /// Temperature, K.
    pub temperature_k: f64,
    /// Mass and arm of an equivalent acceleration.
    pub mass_kg: f64,
    /// See `mass_kg`.
    pub arm_m: f64,
    /// Index into [`AXES`] of the rotation.
    pub axis: usize,
}

/// Stiffness of a round fibre, N m/rad: pi G r^4/(2 L).
#[must_use]
pub fn fibre_stiffness(shear_modulus_pa: f64, diameter_m: f64, length_m: f64) -> f64 {
    PI * shear_modulus_pa * (diameter_m / 2.0).powi(4) / (2.0 * length_m)
}

impl Pendulum {
    /// Of a sensor file that has one.
    #[must_use]
    pub fn new(file: &SensorFile) -> Option<Self> {
        let p = file.pendulum.as_ref()?;
        let axis = AXES.iter().position(|(name, ..)| *name == p.axis)?;
        let radius = p.fibre.diameter_m / 2.0;
        let bodies = p.bodies.iter().map(|body| {
            let [x, y] = body.position_m;
            body.inertia_kg_m2 + body.mass_kg * (x * x + y * y)
        });
        Some(Self {
            inertia: p.inertia_kg_m2.unwrap_or_else(|| bodies.sum()),
            fibre: fibre_stiffness(p.fibre.shear_modulus_pa, p.fibre.diameter_m, p.fibre.length_m),
            // A twisted round fibre under load shortens: F r^2/(2 L) (from memory; small).
            tension: p.fibre.tension_n * radius * radius / (2.0 * p.fibre.length_m),
            electrostatic: electrostatic_stiffness(file, p, axis),
            quality: p.quality,
            structural: p.loss == LossFile::Structural,
            damping: p.gas_damping_n_m_s + p.eddy_damping_n_m_s,
            gas_damping: p.gas_damping_n_m_s,
            temperature_k: p.temperature_k,
            mass_kg: p.mass_kg,
            arm_m: p.arm_m,
            axis,
        })
    }

    /// Whole stiffness, N m/rad.
    #[must_use]
    pub fn stiffness(&self) -> f64 {
        self.fibre + self.tension + self.electrostatic
    }

    /// Resonance, rad/s.
    #[must_use]
    pub fn resonance(&self) -> f64 {
        (self.stiffness() / self.inertia).sqrt()
    }

    /// Period, s.
    #[must_use]
    pub fn period_s(&self) -> f64 {
        TAU / self.resonance()
    }

    /// Damping of the fibre's loss as a viscous one that is the same at resonance, N m s/rad.
    #[must_use]
    pub fn fibre_damping(&self) -> f64 {
        self.fibre / (self.quality * self.resonance())
    }

    /// Coefficients of the equation of motion, the fibre's loss as a viscous one.
    #[must_use]
    pub fn coefficients(&self) -> torque::Coefficients {
        torque::Coefficients {
            inertia: self.inertia,
            damping: self.fibre_damping() + self.damping,
            stiffness: self.stiffness(),
        }
    }

    /// Quality factor with all damping.
    #[must_use]
    pub fn whole_quality(&self) -> f64 {
        self.inertia * self.resonance() / (self.fibre_damping() + self.damping)
    }

    /// Angle per torque at a frequency, rad/(N m).
    #[must_use]
    pub fn response(&self, frequency_hz: f64) -> Complex64 {
        self.stiffness_at(frequency_hz).inv()
    }

    /// Torque per angle at a frequency: kappa (1 + i phi) + i omega b - omega^2 I, N m/rad.
    #[must_use]
    pub fn stiffness_at(&self, frequency_hz: f64) -> Complex64 {
        let omega = TAU * frequency_hz;
        let loss =
            if self.structural { self.fibre / self.quality } else { omega * self.fibre_damping() };
        Complex64::new(self.stiffness() - omega * omega * self.inertia, loss + omega * self.damping)
    }

    /// Thermal torque of the fibre's loss at a frequency, one-sided, N m/rtHz: 4 k T Im(Z)/omega.
    #[must_use]
    pub fn fibre_noise(&self, frequency_hz: f64) -> f64 {
        let damping = if self.structural {
            self.fibre / (self.quality * TAU * frequency_hz)
        } else {
            self.fibre_damping()
        };
        (4.0 * BOLTZMANN * self.temperature_k * damping).sqrt()
    }

    /// Thermal torque of a viscous damping, one-sided, N m/rtHz.
    #[must_use]
    pub fn viscous_noise(&self, damping_n_m_s: f64) -> f64 {
        (4.0 * BOLTZMANN * self.temperature_k * damping_n_m_s).sqrt()
    }

    /// Acceleration of one mass at the arm that makes a torque, m/s^2.
    #[must_use]
    pub fn acceleration(&self, torque_n_m: f64) -> f64 {
        torque_n_m / (self.arm_m * self.mass_kg)
    }
}

/// -1/2 sum V^2 d2C/dq2 of all electrodes: the carrier's rms between mass and sensing electrodes, between mass
/// and injection electrodes, and the actuation's. d2C/dq2 by a difference of the exact capacitances.
fn electrostatic_stiffness(file: &SensorFile, p: &PendulumFile, axis: usize) -> f64 {
    let mass_v = mass_v(file);
    let sum: f64 = file
        .electrodes
        .iter()
        .map(|e| {
            let square = match e.role {
                Role::Sense => mass_v * mass_v / 2.0 + p.actuation_v * p.actuation_v,
                Role::Inject => (file.carrier.injection_v - mass_v).powi(2) / 2.0,
            };
            square * curvature(&Electrode::new(e), axis, e.gap_m, e.position_m)
        })
        .sum();
    -0.5 * sum
}

/// d2C/dq2 at rest of one electrode about a rotation, F/rad^2.
fn curvature(electrode: &Electrode, axis: usize, gap_m: f64, position_m: [f64; 3]) -> f64 {
    let arm = position_m.iter().map(|x| x * x).sum::<f64>().sqrt().max(gap_m);
    // A thousandth of the gap: the fourth derivative takes 1e-5 of the second.
    let step = 1e-3 * gap_m / arm;
    let at = |turn: f64| {
        let mut q = [0.0; 6];
        q[axis] = turn;
        electrode.capacitance(&Pose::new(q), true)
    };
    (at(step) - 2.0 * at(0.0) + at(-step)) / (step * step)
}
