//! **Budget**: for each contributor the predicted density of noise in every axis, what the whole is made of,
//! and what simulation ([`measure`]) or a recorded reading says beside it.
//!
//! [`electronics`] is what the readout adds, [`forces`] what moves the mass.

pub mod electronics;
pub mod forces;
pub mod measure;

use crate::instrument::{AXES, Sensor};
use crate::pendulum::Pendulum;

/// Where a contributor comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Enters {
    /// The readout: the mass does not move.
    Readout,
    /// A torque: the mass moves.
    Force,
}

/// One source of noise.
#[derive(Debug, Clone, PartialEq)]
pub struct Contributor {
    /// Name, for tables and files.
    pub name: &'static str,
    /// Where it comes in.
    pub enters: Enters,
    /// Density at every frequency, of every axis, m/rtHz or rad/rtHz.
    pub density: Vec<Vec<f64>>,
    /// What is to be known beside the figure.
    pub note: String,
}

/// All contributors of a sensor at a place of its mass.
#[derive(Debug, Clone)]
pub struct Budget {
    /// Frequencies, rising.
    pub frequency_hz: Vec<f64>,
    /// In the order of the signal.
    pub contributors: Vec<Contributor>,
    /// Torque per angle at every frequency, where the sensor file has a pendulum.
    pub stiffness: Option<Vec<f64>>,
    /// The pendulum.
    pub pendulum: Option<Pendulum>,
    /// Position of the rotation that swings among the sensor's axes.
    pub swings: Option<usize>,
}

/// Predicts the budget of a sensor whose mass is at `place` (x to phi).
#[must_use]
pub fn predict(sensor: &Sensor, frequency_hz: &[f64], place: [f64; 6]) -> Budget {
    let pendulum = Pendulum::new(&sensor.file);
    let swings = pendulum.as_ref().and_then(|p| sensor.axes().iter().position(|a| *a == p.axis));
    let mut contributors = electronics::contributors(sensor, frequency_hz, place);
    contributors.extend(forces::contributors(sensor, frequency_hz, place));
    let stiffness =
        pendulum.as_ref().map(|p| frequency_hz.iter().map(|f| p.stiffness_at(*f).norm()).collect());
    Budget { frequency_hz: frequency_hz.to_vec(), contributors, stiffness, pendulum, swings }
}

impl Budget {
    /// Density of the whole in an axis: contributors are independent.
    #[must_use]
    pub fn total(&self, axis: usize) -> Vec<f64> {
        let at =
            |k: usize| self.contributors.iter().map(|c| c.density[axis][k].powi(2)).sum::<f64>();
        (0..self.frequency_hz.len()).map(|k| at(k).sqrt()).collect()
    }

    /// Torque density of an angle density of the axis that swings.
    #[must_use]
    pub fn torque(&self, angle: &[f64]) -> Option<Vec<f64>> {
        let stiffness = self.stiffness.as_ref()?;
        Some(angle.iter().zip(stiffness).map(|(a, z)| a * z).collect())
    }

    /// Share of each contributor in an axis's power, averaged over a band on a logarithmic axis; largest first.
    #[must_use]
    pub fn ranked(&self, axis: usize, from_hz: f64, to_hz: f64) -> Vec<(usize, f64)> {
        let total = self.total(axis);
        let inside: Vec<usize> = (0..total.len())
            .filter(|k| (from_hz..=to_hz).contains(&self.frequency_hz[*k]) && total[*k] > 0.0)
            .collect();
        let share = |c: &Contributor| {
            let sum: f64 = inside.iter().map(|k| (c.density[axis][*k] / total[*k]).powi(2)).sum();
            sum / inside.len().max(1) as f64
        };
        let mut shares: Vec<(usize, f64)> =
            self.contributors.iter().map(share).enumerate().collect();
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        shares
    }

    /// Stretches of frequency in which one contributor is the largest: from, to, which.
    #[must_use]
    pub fn dominated(&self, axis: usize) -> Vec<(f64, f64, usize)> {
        let mut out: Vec<(f64, f64, usize)> = Vec::new();
        for (k, f) in self.frequency_hz.iter().enumerate() {
            let largest = (0..self.contributors.len()).max_by(|a, b| {
                let at = |n: usize| self.contributors[n].density[axis][k];
                at(*a).total_cmp(&at(*b))
            });
            let Some(largest) = largest else { continue };
            match out.last_mut() {
                Some((_, to, which)) if *which == largest => *to = *f,
                _ => out.push((*f, *f, largest)),
            }
        }
        out
    }

    /// Names of the axes with their units.
    #[must_use]
    pub fn axis(sensor: &Sensor, n: usize) -> (&'static str, &'static str) {
        let (_, column, unit) = AXES[sensor.axes()[n]];
        (column, unit)
    }
}

/// Share by which the total of a power falls when one contributor's amplitude, `share` of the power, is halved.
#[must_use]
pub fn gain_of_halving(share: f64) -> f64 {
    1.0 - (1.0 - 0.75 * share).sqrt()
}
