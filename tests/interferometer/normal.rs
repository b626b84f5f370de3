//! Random numbers, nothing of the project's.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::f64::consts::TAU;

/// Standard normal numbers by Box and Muller, nothing of the project's.
pub struct Normal(ChaCha8Rng, Option<f64>);

impl Normal {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed), None)
    }

    pub fn next(&mut self) -> f64 {
        if let Some(kept) = self.1.take() {
            return kept;
        }
        let [a, b] = [0, 1].map(|_| (f64::from(self.0.next_u32()) + 0.5) / 2f64.powi(32));
        let radius = (-2.0 * a.ln()).sqrt();
        self.1 = Some(radius * (TAU * b).sin());
        radius * (TAU * b).cos()
    }
}
