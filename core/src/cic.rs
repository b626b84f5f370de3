//! **CIC.** Integrators and combs of the first decimation, advanced a whole section of
//! samples at a time.
//!
//! Receives from [`crate::fold`] or [`crate::mixer`] the *section sums* of a section of
//! L mixed samples x\[0\]..x\[L-1\]: sum j (j = 1 to N) is what integrator j would hold had
//! it started at zero, S_j = sum_n C(L-1-n+j-1, j-1) x\[n\]. Hands decimated phasors to
//! [`crate::front_end`].
//!
//! N integrators that start from states I_i hold after L samples
//! I_j + sum_(i<j) C(L+j-i-1, j-i) I_i + S_j: the classic cascade, L steps in one
//! (Hogenauer 1981 for the filter; the step is the binomial theorem). Integrators wrap,
//! in two's complement of 128 bits; the combs undo the wrap as long as the true output
//! fits, which [`width`] checks when the plan is built. Any state flushes: an error in
//! an integrator grows as a polynomial of degree below N, and N combs return zero for it.

use heapless::Vec;

/// Highest order of a CIC.
pub const MAX_ORDER: usize = 6;

/// Bits that the output of a CIC needs, sign included: input bits + ceil(N log2(R M)).
///
/// Source: Hogenauer 1981, equation 11. Integers only: floating-point logarithms are off by
/// one where R M is a power of two.
#[must_use]
pub const fn width(input_bits: u32, order: u32, ratio: u32, differential_delay: u32) -> u32 {
    // (R M)^N <= 8192^6 = 2^78: exact in u128.
    let gain = gain(order, ratio, differential_delay);
    let growth = 128 - (gain - 1).leading_zeros();
    input_bits + growth
}

/// Gain at zero frequency, (R M)^N, at most 2^78.
#[must_use]
pub const fn gain(order: u32, ratio: u32, differential_delay: u32) -> u128 {
    (ratio as u128 * differential_delay as u128).pow(order)
}

/// Binomials C(L+d-1, d) for d = 0 to N-1, the weights of L integrator steps.
///
/// L <= 65536, d <= 5: below 2^74, exact in `u128`; kept modulo 2^64, as wrapping sums take them.
#[must_use]
pub fn step_weights<const ORDER: usize>(samples: u32) -> [i64; ORDER] {
    let mut weights = [1; ORDER];
    let mut value: u128 = 1;
    for (d, weight) in (0u128..).zip(weights.iter_mut()) {
        if d > 0 {
            value = value * (u128::from(samples) + d - 1)
                / core::num::NonZeroU128::new(d).unwrap_or(core::num::NonZeroU128::MIN);
        }
        *weight = value as i64;
    }
    weights
}

/// Integrators and combs of one channel, in-phase and quadrature.
///
/// In: section sums, `i128` of any value. State: `i128`, wrapping. Out: `i128`, exact
/// where the configured width holds. No rounding anywhere.
#[derive(Clone, Debug)]
pub struct Cic<const ORDER: usize> {
    integrators: [[i128; 2]; ORDER],
    /// combs\[j\]\[m\]: input of comb j, m + 1 output samples ago.
    combs: [[[i128; 2]; 2]; ORDER],
}

impl<const ORDER: usize> Default for Cic<ORDER> {
    fn default() -> Self {
        Self { integrators: [[0; 2]; ORDER], combs: [[[0; 2]; 2]; ORDER] }
    }
}

impl<const ORDER: usize> Cic<ORDER> {
    /// Advances the integrators by the section whose sums are given.
    ///
    /// `weights` are [`step_weights`] of the section's length. Wrapping.
    pub fn advance(&mut self, sums: &[[i128; 2]; ORDER], weights: &[i64; ORDER]) {
        for part in 0..2 {
            for j in (0..ORDER).rev() {
                let mut value = self.integrators[j][part].wrapping_add(sums[j][part]);
                for i in 0..j {
                    let step = self.integrators[i][part].wrapping_mul(i128::from(weights[j - i]));
                    value = value.wrapping_add(step);
                }
                self.integrators[j][part] = value;
            }
        }
    }

    /// Takes one decimated sample through the combs. `differential_delay` is 1 or 2.
    pub fn decimate(&mut self, differential_delay: u8) -> [i128; 2] {
        let mut value = self.integrators.last().copied().unwrap_or_default();
        let oldest = usize::from(differential_delay > 1);
        for [newer, older] in &mut self.combs {
            let delayed = if oldest == 0 { *newer } else { *older };
            *older = *newer;
            *newer = value;
            value = [value[0].wrapping_sub(delayed[0]), value[1].wrapping_sub(delayed[1])];
        }
        value
    }
}

/// The CICs of all channels.
pub type CicBank<const ORDER: usize, const CHANNELS: usize> = Vec<Cic<ORDER>, CHANNELS>;
