//! **Carrier.** The numerically controlled oscillator: hands the mixer its cosine
//! and sine, and the injection converter its tone.
//!
//! The phase is a count of 2^-64 turns plus an exact remainder, so a carrier that is
//! a ratio of integers to the sample rate never drifts, however long the run; any
//! other frequency is set to 2^-64 of the sample rate (5e-14 Hz at 1 MS/s).

mod sine_table;

use crate::error::{ConfigError, Stage};
use crate::guard::Checksum;
use crate::word::{Sine, divide, shift_round};
use sine_table::QUARTER;

/// Cycles of the carrier in one sample period, as an exact ratio.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CarrierRatio {
    /// Whole 2^-64 turns in one sample period.
    step: u64,
    /// Remainder of the step, in 1/`denominator` of 2^-64 turn.
    remainder: u64,
    /// Samples in a whole number of cycles; 1 for a carrier set by step alone.
    denominator: u64,
    /// Samples after which carrier and sample clock realign, if at most [`MAX_PERIOD`].
    period: Option<u32>,
}

/// Longest period, in samples, of a carrier that counts as coherent.
pub const MAX_PERIOD: u64 = 1 << 20;

impl CarrierRatio {
    /// None at all.
    pub(crate) const NONE: Self = Self { step: 0, remainder: 0, denominator: 0, period: None };

    /// A carrier of `cycles` whole cycles in `samples` sample periods: exact for ever.
    ///
    /// # Errors
    /// [`ConfigError`] unless 0 < cycles/samples < 1/2 and samples <= [`MAX_PERIOD`].
    pub const fn coherent(cycles: u32, samples: u32) -> Result<Self, ConfigError> {
        if samples == 0 || samples as u64 > MAX_PERIOD {
            return Err(ConfigError::new(
                Stage::Carrier,
                "samples in the carrier's period",
                samples as i64,
                1,
                MAX_PERIOD as i64,
            ));
        }
        if cycles == 0 || 2 * (cycles as u64) >= samples as u64 {
            return Err(ConfigError::new(
                Stage::Carrier,
                "cycles in the carrier's period",
                cycles as i64,
                1,
                (samples as i64 - 1) / 2,
            ));
        }
        // Neither divisor is zero: `samples` is not, and `common` divides it.
        let common = greatest_common_divisor(cycles, samples);
        let (Some(p), Some(q)) = (cycles.checked_div(common), samples.checked_div(common)) else {
            return Self::from_step(0);
        };
        let turns = (p as u128) << 64;
        let (step, remainder) = divide(turns, q as u64);
        Ok(Self { step: step as u64, remainder, denominator: q as u64, period: Some(q) })
    }

    /// A carrier of `step` 2^-64 cycles in one sample period.
    ///
    /// # Errors
    /// [`ConfigError`] unless 0 < step < 2^63 - 1 (half the sample rate).
    pub const fn from_step(step: u64) -> Result<Self, ConfigError> {
        let given = ConfigError::told(step);
        if let Err(error) = ConfigError::check(Stage::Carrier, "step", given, 1, i64::MAX - 1) {
            return Err(error);
        }
        Ok(Self { step, remainder: 0, denominator: 1, period: None })
    }

    /// Samples after which carrier and sample clock realign; `None` when not coherent.
    #[must_use]
    pub const fn period(&self) -> Option<u32> {
        self.period
    }
}

const fn greatest_common_divisor(mut a: u32, mut b: u32) -> u32 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// The running carrier: phase of the next sample, exact.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Carrier {
    ratio: CarrierRatio,
    phase: u64,
    remainder: u64,
}

impl Carrier {
    /// Starts at phase zero with sample zero.
    #[must_use]
    pub const fn new(ratio: CarrierRatio) -> Self {
        Self { ratio, phase: 0, remainder: 0 }
    }

    /// Phase of the next sample, in 2^-64 turns.
    #[must_use]
    pub const fn phase(&self) -> u64 {
        self.phase
    }

    /// Goes on by `samples`. Wraps at whole turns, as a phase must.
    ///
    /// The remainder's product is below 2^20 x 2^64: exact in `u128`.
    pub const fn advance(&mut self, samples: u64) {
        self.phase = self.phase.wrapping_add(self.ratio.step.wrapping_mul(samples));
        if self.ratio.remainder == 0 {
            return;
        }
        let total = self.remainder as u128 + self.ratio.remainder as u128 * samples as u128;
        // The denominator is at least 1 by construction.
        let (carried, remainder) = divide(total, self.ratio.denominator);
        self.remainder = remainder;
        self.phase = self.phase.wrapping_add(carried as u64);
    }

    /// Sets the phase to that of sample `sample`, counted from the first.
    pub const fn seek(&mut self, sample: u64) {
        self.phase = 0;
        self.remainder = 0;
        self.advance(sample);
    }

    /// Sums up what never changes.
    pub(crate) fn check(&self, sum: &mut Checksum) {
        let CarrierRatio { step, remainder, denominator, period } = self.ratio;
        [step, remainder, denominator].iter().for_each(|word| sum.add_long(*word as i64));
        sum.add(period.unwrap_or(0));
    }

    /// Writes the next `out.len()` samples of the injection tone.
    ///
    /// out\[k\] = amplitude cos(2 pi (phase_k + phase)), amplitude a converter code
    /// (Q31.0), phase in 2^-64 turns. Product of Q2.62 and Q31.0 exact in `i128`, rounded
    /// half to even; |out| <= |amplitude|, clamped for the one amplitude, -2^31, whose negative
    /// does not exist.
    pub fn inject(&mut self, out: &mut [i32], amplitude: i32, phase: u64) {
        for code in out {
            let (cosine, _) = cos_sin(self.phase.wrapping_add(phase));
            let exact = crate::word::scale_by_fraction(i64::from(amplitude), cosine);
            *code = exact.clamp(i32::MIN.into(), i32::MAX.into()) as i32;
            self.advance(1);
        }
    }
}

/// Cosine and sine of `phase` 2^-64 turns, Q2.62.
///
/// Quarter-wave table of 257 entries, Q2.62, nearest entry, then the angle-sum formula
/// with the Taylor series of the rest d, |d| <= 2 pi / 2048: sine to d^5 (next term 5e-22),
/// cosine to d^6 (next 2e-25). Products of two Q2.62 exact in `i128`, cut to Q2.62 by
/// flooring; eleven cuts and the table leave an error below 2^-57. |result| <= 1 + 2^-57.
#[must_use]
pub const fn cos_sin(phase: u64) -> (i64, i64) {
    /// 2 pi in Q4.60.
    const TURN: i128 = 7_244_019_458_077_122_842;
    const ONE: i64 = 1 << 62;
    const fn mul(a: i64, b: i64) -> i64 {
        ((a as i128 * b as i128) >> 62) as i64
    }
    let (cell, rest) = nearest_cell(phase);
    // rest/2^64 turns x 2 pi, Q4.60 to Q2.62.
    let d = ((rest as i128 * TURN) >> 62) as i64;
    let d2 = mul(d, d);
    let sin_d = d - mul(d, mul(d2, ONE / 6 - mul(d2, ONE / 120)));
    let cos_d = ONE - mul(d2, ONE / 2 - mul(d2, ONE / 24 - mul(d2, ONE / 720)));
    let (s, c) = entry(cell);
    let sine = mul(s, cos_d) + mul(c, sin_d);
    let cosine = mul(c, cos_d) - mul(s, sin_d);
    in_quadrant(phase, cosine, sine)
}

/// Cosine and sine of `phase` 2^-64 turns, at most 30 fraction bits so that ±1 fits an `i32`:
/// Q2.62 from [`cos_sin`], rounded half to even.
#[must_use]
pub const fn cos_sin_short(phase: u64, fraction_bits: u32) -> [i32; 2] {
    let (cosine, sine) = cos_sin(phase);
    let shift = 62 - fraction_bits;
    [shift_round(cosine as i128, shift) as i32, shift_round(sine as i128, shift) as i32]
}

/// Cosine and sine of `phase` 2^-64 turns, Q2.30, for what is turned while samples come: by 32 x 32 products alone,
/// an eighth of the instructions of [`cos_sin`] on a small core.
///
/// As there the nearest entry of the table and the angle-sum formula, with d, |d| <= 2 pi / 2048, in Q.39 (floored
/// from the phase's upper bits, 2^-41 turns), v = d^2/2 in Q.48, sin d = d - d v/3 (next term 2^-48) and
/// cos d = 1 - v (next term 2^-38). In S cos d + C sin d = S - S v + C sin d the first S is the table's Q2.62, the
/// factors' upper halves, Q2.30, serve for the rest: S v in Q.78, C sin d in Q.69, both within `i64`. Floored cuts
/// and left-out terms together below 2^-36, then half to even: within 0.52 steps.
#[must_use]
pub const fn cos_sin_quick(phase: u64) -> [i32; 2] {
    /// 2 pi in Q.28.
    const TURN: i64 = 1_686_629_713;
    let (cell, rest) = nearest_cell(phase);
    let d = ((rest >> 23) * TURN) >> 30;
    let v = (d * d) >> 31;
    let sine_d = d - ((d * v) >> 48) / 3;
    let (s, c) = entry(cell);
    let (upper_s, upper_c) = (s >> 32, c >> 32);
    let sine = s - ((upper_s * v) >> 16) + ((upper_c * sine_d) >> 7);
    let cosine = c - ((upper_c * v) >> 16) - ((upper_s * sine_d) >> 7);
    let (cosine, sine) = in_quadrant(phase, cosine, sine);
    [nearest(cosine, 32) as i32, nearest(sine, 32) as i32]
}

/// Nearest entry of the quarter wave's table to a phase, 0 to 256, and what is left to it, 2^-64 turns.
#[inline(always)]
const fn nearest_cell(phase: u64) -> (usize, i64) {
    let within = (phase << 2) >> 2;
    let cell = (within + (1 << 53)) >> 54;
    (cell as usize, within as i64 - (cell << 54) as i64)
}

/// Sine and cosine at a cell, Q2.62.
#[inline(always)]
const fn entry(cell: usize) -> (i64, i64) {
    // Seen here by the compiler, which would check the index else.
    let cell = if cell > 256 { 256 } else { cell };
    (QUARTER[cell], QUARTER[256 - cell])
}

/// Cosine and sine within a quarter turn to those of the phase.
#[inline(always)]
const fn in_quadrant(phase: u64, cosine: i64, sine: i64) -> (i64, i64) {
    match phase >> 62 {
        0 => (cosine, sine),
        1 => (-sine, cosine),
        2 => (-cosine, -sine),
        _ => (sine, -cosine),
    }
}

/// x/2^shift, 1 to 62, half to even; x below 2^63 - 2^(shift - 1) in size.
#[inline(always)]
const fn nearest(x: i64, shift: u32) -> i64 {
    // x + half - 1 + (the bit that decides a tie): half to even without a branch.
    (x + (1 << (shift - 1)) - 1 + (x >> shift & 1)) >> shift
}

/// Cosine and sine of `phase` 2^-32 turns, Q1.31, within 1 step of the exact value at
/// every phase (checked at all 2^32).
///
/// Q2.62 from [`cos_sin`] rounded half to even: error at most half a step and 2^-26 of
/// one, and one whole step at +1, which Q1.31 cannot hold and which saturates.
#[must_use]
pub fn cos_sin_q31(phase: u32) -> (Sine, Sine) {
    let (cosine, sine) = cos_sin(u64::from(phase) << 32);
    (Sine::from_bits(to_q31(cosine)), Sine::from_bits(to_q31(sine)))
}

fn to_q31(x: i64) -> i32 {
    nearest(x, 31).clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32
}

#[cfg(test)]
mod tests {
    use super::to_q31;

    /// Half to even, and what Q1.31 cannot hold is its end.
    #[test]
    fn rounding_of_a_short_sine() {
        let half = 1i64 << 30;
        let cases = [(0, 0), (half, 0), (half + 1, 1), (2 * half, 1), (3 * half, 2), (5 * half, 2)];
        for (x, want) in cases {
            assert_eq!(to_q31(x), want, "{x}");
            assert_eq!(to_q31(-x), -want, "{x}");
        }
        assert_eq!(to_q31(5 * half + 1), 3);
        assert_eq!([1 << 62, -1 << 62].map(to_q31), [i32::MAX, i32::MIN]);
        assert_eq!(to_q31((1 << 62) - (1 << 31)), i32::MAX);
        assert_eq!(to_q31((1 << 62) - 3 * half - 1), i32::MAX - 1);
    }
}
