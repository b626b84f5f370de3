//! **Settling**: impulse and step response of the whole chain, at the rate behind the CIC.

use crate::instrument::file::PlanFile;
use crate::readout::ideal::front_end::cic_response;

/// Levels that a step has to stay within.
pub const LEVELS: [f64; 3] = [1e-3, 1e-6, 1e-9];

/// Responses in time.
#[derive(Debug, Clone)]
pub struct Settling {
    /// Seconds from one value to the next.
    pub step_s: f64,
    /// Response to a step of the amplitude with a sample that ends no interval; its end is 1.
    pub step: Vec<f64>,
    /// Largest excess over the end value.
    pub overshoot: f64,
    /// Time until the step stays within each of [`LEVELS`].
    pub settled_s: [f64; 3],
}

impl Settling {
    /// Of a plan at a sample rate.
    #[must_use]
    pub fn new(plan: &PlanFile, rate_hz: f64) -> Self {
        let step_s = f64::from(plan.ratio) / rate_hz;
        let rises = cic_rises(plan);
        let mut sum = 0.0;
        let total: Vec<f64> = impulse(plan)
            .iter()
            .map(|h| {
                sum += h;
                sum
            })
            .collect();
        let end = total.last().copied().unwrap_or(1.0);
        let at = |m: usize| -> f64 {
            let before = |k: usize| m.checked_sub(k).map_or(0.0, |m| total[m.min(total.len() - 1)]);
            rises.iter().enumerate().map(|(k, rise)| rise * before(k)).sum::<f64>() / end
        };
        let step: Vec<f64> = (0..total.len() + rises.len()).map(at).collect();
        let overshoot = step.iter().fold(0.0f64, |m, s| m.max(s - 1.0));
        let settled_s = LEVELS.map(|level| {
            let last = step.iter().rposition(|s| (s - 1.0).abs() > level);
            // Value m stands behind interval m + 1.
            last.map_or(1, |m| m + 2) as f64 * step_s
        });
        Self { step_s, step, overshoot, settled_s }
    }

    /// Differences of the step: the impulse response, per second.
    #[must_use]
    pub fn impulse(&self) -> Vec<f64> {
        let before = std::iter::once(&0.0).chain(&self.step);
        self.step.iter().zip(before).map(|(s, b)| (s - b) / self.step_s).collect()
    }
}

/// How much of a step each interval behind it adds at the CIC's output.
fn cic_rises(plan: &PlanFile) -> Vec<f64> {
    let (ratio, delay) = (usize::from(plan.ratio), usize::from(plan.differential_delay));
    let response = cic_response(plan.order.into(), ratio, delay);
    response.chunks(ratio).map(|part| part.iter().sum()).collect()
}

/// Impulse response of all FIR stages at the rate behind the CIC.
fn impulse(plan: &PlanFile) -> Vec<f64> {
    let mut all = vec![1.0];
    let mut step = 1;
    for fir in &plan.firs {
        let unit = 2f64.powi(-i32::from(fir.scale_bits));
        let mut next = vec![0.0; all.len() + (fir.taps.len() - 1) * step];
        for (n, tap) in fir.taps.iter().enumerate() {
            let tap = f64::from(*tap) * unit;
            next[n * step..].iter_mut().zip(&all).for_each(|(y, x)| *y += tap * x);
        }
        all = next;
        step *= usize::from(fir.ratio);
    }
    all
}
