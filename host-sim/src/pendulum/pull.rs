//! **Pull of one electrode**: torque of a voltage on it, on a mass with charge and stray voltages.
//!
//! Electrode 1 at u + s (s its stray voltage), all others at 0, mass at V = (Q + C1 u)/C: with T = 1/2 sum of
//! dCj/dq (Vj - V)^2 (virtual work at constant voltages; any text on electrostatics) and electrodes whose slopes add
//! up to nothing, as those of a balanced housing do, and with c = C1/C,
//!
//! T = C1' u (s (1 - c) - Q/C) + C1' u^2/2 (1 - 2 c) + what does not follow u.
//!
//! A stray voltage of the driven electrode itself thus looks like a charge of -s C (1 - c). Stray voltages are taken
//! as no part of Q, their charge on the mass being constant.

use crate::instrument::design::pair;
use crate::instrument::file::SensorFile;
use crate::simulation::plant::electrodes::{Electrode, Pose};

/// Charge of one electron, C, exact in the SI.
pub const ELEMENTARY_C: f64 = 1.602_176_634e-19;

/// The sensing electrode of a bridge whose capacitance follows the swing most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// dC1/dq at rest, F/rad.
    pub slope: f64,
    /// C1 at rest, F.
    pub own_f: f64,
    /// Capacitance of the mass to all there is, F.
    pub total_f: f64,
}

impl Pull {
    /// Of a sensor, about one of its rotations; `total_f` is the capacitance of its mass.
    #[must_use]
    pub fn new(file: &SensorFile, axis: usize, total_f: f64) -> Self {
        let electrodes = file.bridges.iter().flat_map(|bridge| pair(file, bridge));
        let none = Self { slope: 0.0, own_f: 0.0, total_f };
        electrodes
            .map(|e| {
                let electrode = Electrode::new(e);
                let own_f = electrode.capacitance(&Pose::new([0.0; 6]), true);
                Self { slope: slope(&electrode, axis), own_f, total_f }
            })
            .fold(none, |most, one| if one.slope.abs() > most.slope.abs() { one } else { most })
    }

    /// Torque of a voltage beyond that without it, N m.
    #[must_use]
    pub fn torque(&self, voltage_v: f64, stray_v: f64, charge_c: f64) -> f64 {
        self.per_volt(stray_v, charge_c) * voltage_v + self.per_square() * voltage_v * voltage_v
    }

    /// N m/V.
    #[must_use]
    pub fn per_volt(&self, stray_v: f64, charge_c: f64) -> f64 {
        self.slope * (stray_v * (1.0 - self.own_f / self.total_f) - charge_c / self.total_f)
    }

    /// N m/V^2.
    #[must_use]
    pub fn per_square(&self) -> f64 {
        self.slope / 2.0 * (1.0 - 2.0 * self.own_f / self.total_f)
    }

    /// Charge that a torque per volt tells, without a stray voltage, C.
    #[must_use]
    pub fn charge(&self, per_volt: f64) -> f64 {
        -per_volt * self.total_f / self.slope
    }
}

/// dC/dq at rest of one electrode about a rotation, F/rad.
fn slope(electrode: &Electrode, axis: usize) -> f64 {
    let step = 1e-7;
    let at = |turn: f64| {
        let mut q = [0.0; 6];
        q[axis] = turn;
        electrode.capacitance(&Pose::new(q), true)
    };
    (at(step) - at(-step)) / (2.0 * step)
}

/// Largest |dC/dq| of a sensing electrode of a bridge, F/rad: what a voltage on one electrode pulls by.
#[must_use]
pub fn steepest(file: &SensorFile, axis: usize) -> f64 {
    Pull::new(file, axis, 1.0).slope.abs()
}
