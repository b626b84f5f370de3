//! One comparison of a simulation with its prediction.

use crate::analysis::density::{Density, chi2_factors};

/// What a simulation of one contributor, or of all, showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// Contributor, or `all together`.
    pub name: String,
    /// What was compared: an axis's column, or torque.
    pub quantity: String,
    /// Band.
    pub from_hz: f64,
    /// See `from_hz`.
    pub to_hz: f64,
    /// Root of the mean power density there, measured.
    pub measured: f64,
    /// The same, predicted.
    pub predicted: f64,
    /// Degrees of freedom of what was measured.
    pub degrees: f64,
    /// Interval of measured over predicted that true predictions keep, all together, with the confidence asked
    /// for.
    pub allowed: [f64; 2],
}

impl Trial {
    /// Measured over predicted.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.measured / self.predicted
    }

    /// Sets what chance allows: the estimate over the truth is chi-squared over its freedom.
    pub(super) fn judge(&mut self, confidence: f64) {
        let [high, low] =
            chi2_factors(self.degrees, confidence).map(|factor| factor.sqrt().recip());
        self.allowed = [low, high];
    }

    /// Whether the prediction is within its confidence.
    #[must_use]
    pub fn holds(&self) -> bool {
        (self.allowed[0]..=self.allowed[1]).contains(&self.ratio())
    }
}

/// Mean of measured over predicted power in a band, and how far chance takes it.
pub(super) fn trial(
    name: &str,
    quantity: &str,
    density: &Density,
    predicted: &[f64],
    [from_hz, to_hz]: [f64; 2],
) -> Option<Trial> {
    let (mut ratio, mut want, mut count, mut degrees) = (0.0, 0.0, 0.0, 0.0);
    for ((bin, power), prediction) in density.bins.iter().zip(&density.power).zip(predicted) {
        if !(from_hz..=to_hz).contains(&bin.frequency_hz) || *prediction <= 0.0 {
            continue;
        }
        ratio += power / (prediction * prediction);
        want += prediction * prediction;
        count += 1.0;
        // Bins nearer than that tell the same.
        let step = density.bins[1].frequency_hz - density.bins[0].frequency_hz;
        degrees += bin.degrees * (step / bin.independent_hz).min(1.0);
    }
    if count == 0.0 {
        return None;
    }
    let predicted = f64::sqrt(want / count);
    Some(Trial {
        name: name.to_owned(),
        quantity: quantity.to_owned(),
        from_hz,
        to_hz,
        measured: predicted * f64::sqrt(ratio / count),
        predicted,
        degrees,
        allowed: [1.0; 2],
    })
}
