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
//! (Hogenauer 1981 for the filter; the step is the binomial theorem). Over p whole output
//! intervals of R samples with no more input, integrator N gathers
//! sum_j C(p R + N-j-1, N-j) I_j; the combs, (1 - z^-M)^N, leave of that N M weights of the
//! interval sums S_j and none beyond:
//!
//! W_mj = sum_i (-1)^i C(N, i) C((m - i M) R + N-j-1, N-j), i M <= m.
//!
//! So integrators and combs together are N M - 1 sums still to come: no state outlives
//! N M intervals. All in two's complement of 64 or 128 bits: sums may wrap, as long as the
//! output fits, which [`width`] checks when the plan is built.

use crate::guard::Checksum;
use crate::list::List;
use crate::word::{Register, divide};

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
    let growth = 128 - gain.saturating_sub(1).leading_zeros();
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
pub const fn step_weights<const ORDER: usize>(samples: u32) -> [i64; ORDER] {
    let mut weights = [1; ORDER];
    let mut value: u128 = 1;
    let mut d = 1;
    while d < ORDER {
        value = divide(value * (samples as u128 + d as u128 - 1), d as u64).0;
        weights[d] = value as i64;
        d += 1;
    }
    weights
}

/// Weights W_mj of the intervals before: what integrators and combs leave of them.
#[derive(Clone, Copy, Debug)]
pub struct IntervalWeights<const ORDER: usize> {
    /// Row m at \[m / 2\]\[m % 2\], modulo 2^64. W_0j is 1 for j = N, else 0.
    rows: [[[i64; ORDER]; 2]; ORDER],
    /// Intervals that still add to outputs after their own, N M - 1.
    pending: usize,
    /// R where it is all there is, else zero: N = 2 and M = 1, the usual filter, has W_11 = R and
    /// W_12 = -1.
    usual: u32,
}

impl<const ORDER: usize> IntervalWeights<ORDER> {
    /// Of no plan.
    pub(crate) const NONE: Self = Self { rows: [[[0; ORDER]; 2]; ORDER], pending: 0, usual: 0 };

    /// For `ratio` samples in an interval and differential delay M, 1 or 2.
    ///
    /// Binomials below 2^(5 x 17): the running products, below 2^102, are exact in `u128`.
    #[must_use]
    pub const fn new(ratio: u32, differential_delay: u8) -> Self {
        let delay = if differential_delay < 2 { 1 } else { 2 };
        let mut rows = [[[0i64; ORDER]; 2]; ORDER];
        let mut m = 0;
        while m < 2 * ORDER {
            let row = &mut rows[m / 2][m % 2];
            let mut comb: i64 = 1;
            let mut i = 0;
            while i <= ORDER && i * delay <= m {
                // C(p R + d - 1, d), d = N - j, from d = 0 upwards; with p = 0, none but d = 0.
                let samples = (m - i * delay) as u64 * ratio as u64;
                let mut value: u128 = 1;
                let mut d = 0;
                while d < ORDER {
                    if d > 0 {
                        let factor = if samples == 0 { 0 } else { samples + d as u64 - 1 };
                        value = divide(value * factor as u128, d as u64).0;
                    }
                    let weight = &mut row[ORDER - 1 - d];
                    *weight = weight.wrapping_add(comb.wrapping_mul(value as i64));
                    d += 1;
                }
                let product = comb * (ORDER - i) as i64;
                // The divisor is not zero.
                comb = if let Some(next) = product.checked_div(i as i64 + 1) { -next } else { 0 };
                i += 1;
            }
            m += 1;
        }
        let usual = if ORDER == 2 && delay == 1 { ratio } else { 0 };
        Self { rows, pending: ORDER * delay - 1, usual }
    }

    /// R for the usual filter, else zero.
    #[inline(always)]
    pub(crate) const fn usual(&self) -> u32 {
        self.usual
    }

    /// Sums up what never changes.
    pub(crate) fn check(&self, sum: &mut Checksum) {
        sum.add_all_long(self.rows.as_flattened().as_flattened());
        sum.add_size(self.pending);
        sum.add(self.usual);
    }
}

/// Integrators and combs of one component, in-phase or quadrature, of one channel.
///
/// In: section sums, of any value. State: the register, wrapping. Out: the register, exact
/// where the configured width holds. No rounding anywhere.
#[derive(Clone, Copy, Debug)]
pub struct Cic<R, const ORDER: usize> {
    /// Integrators of the running interval, from zero.
    sums: [R; ORDER],
    /// What earlier intervals add to outputs to come, the next one first.
    pending: [[R; 2]; ORDER],
}

impl<R: Register, const ORDER: usize> Cic<R, ORDER> {
    /// Empty.
    pub const IDLE: Self = Self { sums: [R::ZERO; ORDER], pending: [[R::ZERO; 2]; ORDER] };

    /// Advances the integrators by the section whose sums are given, the interval's `first` or a
    /// later one.
    ///
    /// `weights` are [`step_weights`] of the section's length. Wrapping.
    #[inline(always)]
    pub fn advance(&mut self, first: bool, sums: [R; ORDER], weights: &[i64; ORDER]) {
        self.sums = self.advanced(first, sums, weights);
    }

    /// Advances by the interval's last section and ends the interval: one decimated sample. The
    /// integrators start anew with the next section, which is a `first` one.
    #[inline(always)]
    pub fn decimate(
        &mut self,
        first: bool,
        sums: [R; ORDER],
        step: &[i64; ORDER],
        weights: &IntervalWeights<ORDER>,
    ) -> R {
        let sums = self.advanced(first, sums, step);
        if weights.usual > 0 {
            return self.decimate_usual(&sums, weights.usual);
        }
        let out = sums.last().copied().unwrap_or(R::ZERO).plus(self.pending[0][0]);
        self.shift(&sums, weights);
        out
    }

    /// The same of the usual filter, from all sums of an interval of `ratio` samples.
    #[inline(always)]
    pub fn decimate_usual(&mut self, sums: &[R; ORDER], ratio: u32) -> R {
        let own = sums.last().copied().unwrap_or(R::ZERO);
        let out = own.plus(self.pending[0][0]);
        self.pending[0][0] = sums[0].times(ratio.into()).minus(own);
        out
    }

    #[inline(always)]
    fn advanced(&self, first: bool, sums: [R; ORDER], weights: &[i64; ORDER]) -> [R; ORDER] {
        if first {
            return sums;
        }
        core::array::from_fn(|j| {
            let mut value = self.sums[j].plus(sums[j]);
            for i in 0..j {
                value = value.plus(self.sums[i].times(weights[j - i]));
            }
            value
        })
    }

    /// Adds the interval's share to all outputs to come and moves them up.
    #[inline(never)]
    fn shift(&mut self, sums: &[R; ORDER], weights: &IntervalWeights<ORDER>) {
        let state = self.pending.as_flattened_mut();
        let rows = weights.rows.as_flattened().iter().enumerate();
        for (m, row) in rows.take(weights.pending + 1).skip(1) {
            let later = if m < weights.pending { state.get(m).copied() } else { None };
            let weighed = sums.iter().zip(row).map(|(sum, &weight)| sum.times(weight));
            let next = weighed.fold(later.unwrap_or(R::ZERO), R::plus);
            if let Some(to) = state.get_mut(m - 1) {
                *to = next;
            }
        }
    }
}

/// The CICs of all channels, in-phase and quadrature.
pub(crate) type CicBank<R, const ORDER: usize, const CHANNELS: usize> =
    List<[Cic<R, ORDER>; 2], CHANNELS>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_in_the_sum() {
        let sum = |ratio, delay| {
            let mut sum = Checksum::START;
            IntervalWeights::<3>::new(ratio, delay).check(&mut sum);
            sum
        };
        assert_ne!(sum(8, 1), sum(9, 1));
        assert_ne!(sum(8, 1), sum(8, 2));
    }
}
