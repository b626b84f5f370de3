//! **Phase**: the two-argument arctangent without a branch, and unwrapping that knows its limit.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_8, PI, TAU};

/// arctan(t)/t in t^2 on 0 to tan^2(pi/8), by interpolation at Chebyshev's points in 60 digits
/// (`tests/vectors/gen/interferometer.py`): in error by 1e-15.
const SERIES: [f64; 10] = [
    0.999_999_999_999_999,
    -0.333_333_333_332_214_3,
    0.199_999_999_783_926_63,
    -0.142_857_126_616_848_93,
    0.111_110_488_537_512_96,
    -0.090_895_299_565_623_07,
    0.076_735_354_281_832_85,
    -0.065_059_829_671_708_4,
    0.050_247_621_189_401_28,
    -0.025_316_479_573_776_477,
];

/// Angle of (cosine, sine) times any length, to 3e-15; of (0, 0) it is 0.
#[must_use]
pub fn arctangent(sine: f64, cosine: f64) -> f64 {
    const EIGHTH: f64 = std::f64::consts::SQRT_2 - 1.0;
    let (s, c) = (sine.abs(), cosine.abs());
    let (small, large) = (s.min(c), s.max(c));
    // Within an eighth of a right angle of pi/8.
    let below = large + EIGHTH * small;
    let t = (small - EIGHTH * large) / if below > 0.0 { below } else { 1.0 };
    let z = t * t;
    let series = SERIES.iter().rev().fold(0.0, |sum, c| sum * z + c);
    let eighth = if below > 0.0 { FRAC_PI_8 } else { 0.0 };
    let angle = eighth + t * series;
    let angle = if s > c { FRAC_PI_2 - angle } else { angle };
    let angle = if cosine < 0.0 { PI - angle } else { angle };
    angle.copysign(sine)
}

/// Counts turns of a phase.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unwrap {
    last: Option<f64>,
    turns: f64,
}

impl Unwrap {
    /// The phase with all turns so far, and the step from the one before, in turns.
    pub fn next(&mut self, phase: f64) -> [f64; 2] {
        let step = (phase - self.last.unwrap_or(phase)) / TAU;
        let turned = step.round_ties_even();
        self.turns -= turned;
        self.last = Some(phase);
        [phase + TAU * self.turns, step - turned]
    }
}
