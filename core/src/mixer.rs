//! **Mixer** for any carrier: every sample times cosine and sine.
//!
//! Receives converter codes from [`crate::front_end`], hands section sums to [`crate::cic`].
//!
//! A section is short (at most 255 samples), so its carrier can be split: within a section
//! the samples meet a fixed table of the carrier, whose phase is zero at the section's middle, and the sums of
//! the section are turned once by the exact phase of that sample,
//!
//! sum_n w_n x\[n\] e^(-i(theta + omega n)) = e^(-i theta) sum_n w_n x\[n\] e^(-i omega n).
//!
//! So a sample takes no look-up in the sine; the oscillator runs once a section. For order 2, the usual one, the
//! second integrator's weight, L - k for sample k, is split at the middle, too, k = M + n:
//!
//! S_2 = (L - M) S_1 - sum_n n x\[M + n\] e^(-i omega n).
//!
//! Cosines are the same on both sides of the middle, sines and n change sign: of a pair of samples, a after and b before,
//! a + b and a - b take four products, two a sample. Sections that a block's end cuts take four a sample; other orders two and
//! the integrators.

mod sums;
#[cfg(feature = "wide")]
mod wide;

use crate::carrier::{self, Carrier, CarrierRatio, cos_sin_short};
use crate::cic::Cic;
use crate::error::{ConfigError, Stage, attempt};
use crate::guard::Checksum;
use crate::list::List;
use crate::over_range::Ends;
use crate::phasor::Phasor;
use crate::section::{SectionEnd, Sections, Way, sum_bound};
use crate::word::Register;

/// Fraction bits of the turn by the section's phase: Q2.30.
pub const TURN_BITS: u32 = 30;
/// Longest section, samples.
pub(crate) const MAX_SECTION: u32 = 255;
/// Samples by which sections are even, where they may be.
pub(crate) const BLOCK: usize = 8;

/// Most fraction bits of the local carrier table: more would make sections of wide codes short, and for order 2, where
/// half a section times a cosine has to fit a word, those of all codes.
#[must_use]
pub(crate) const fn table_bits(order: u32) -> u32 {
    if order == 2 { 24 } else { 28 }
}

/// Of n samples behind the middle e^(-i phase), Q.f: cosine and n times it, minus sine and n times it; n is 0 where the order is
/// not 2.
type Turn = [[i32; 2]; 2];

/// What a plan's mixing never changes. `COLUMNS` is the room for half a section's samples and the middle one.
#[derive(Clone, Copy, Debug)]
pub struct MixerTables<const CHANNELS: usize, const COLUMNS: usize> {
    /// The carrier from a section's middle on.
    turns: List<Turn, COLUMNS>,
    carrier: CarrierRatio,
    channels: usize,
    /// Samples of a whole section.
    whole: u32,
}

/// Sample of a section, counted from zero, at which its table has phase zero.
#[must_use]
pub const fn middle(whole: u32) -> u32 {
    whole / 2
}

/// Entries of the table for sections of so many samples.
#[must_use]
pub const fn table_length(whole: u32) -> u32 {
    middle(whole) + 1
}

impl<const CHANNELS: usize, const COLUMNS: usize> MixerTables<CHANNELS, COLUMNS> {
    /// Works out the tables for the sections of a plan.
    ///
    /// # Errors
    /// [`ConfigError`] where the plan folds, or a section is longer than there is room for.
    pub const fn new(sections: &Sections) -> Result<Self, ConfigError> {
        let Sections { carrier, channels, folded, fraction_bits, whole, order, .. } = *sections;
        const FRONT_END: Stage = Stage::FrontEnd;
        if let Some(folding) = folded {
            let quantity = "columns that the plan folds by (Fold does, Mixer does not)";
            return Err(ConfigError::new(FRONT_END, quantity, folding.columns as i64, 0, 0));
        }
        let quantity = "samples in half a section, for which there are COLUMNS";
        let length = table_length(whole) as i64;
        attempt!(ConfigError::check(FRONT_END, quantity, length, 1, COLUMNS as i64));
        let max = CHANNELS as i64;
        attempt!(ConfigError::check(Stage::Converter, "channels", channels as i64, 1, max));
        let mut turns = List::empty([[0; 2]; 2]);
        let mut oscillator = Carrier::new(carrier);
        let mut n = 0;
        while n < length as i32 {
            let [cosine, sine] = cos_sin_short(oscillator.phase(), fraction_bits);
            let weight = if order == 2 { n } else { 0 };
            // There is room: see above.
            let _ = turns.push([
                [cosine, cosine.wrapping_mul(weight)],
                [-sine, (-sine).wrapping_mul(weight)],
            ]);
            oscillator.advance(1);
            n += 1;
        }
        Ok(Self { turns, carrier, channels, whole })
    }
}

/// Running sums of one section, all channels.
///
/// In: Q(b-1).0 codes, or sum and difference of two, `i32` for b below 32. Product: times Q.f in `i64`, f at most 28,
/// or for order 2, f at most 24, times n Q.f, |n| at most L/2. Sums: `i64`, bounded by
/// 2^(b-1) 2^f C(L+N-1, N) <= 2^62 for a section of L samples, which chooses L. Turned sums:
/// `i64` x Q2.30 in two halves, rounded half to even back to Q.f, |out| <= sqrt(2) 2^62 in
/// the register. Codes beyond b bits wrap the sums; the over-range watch tells.
#[derive(Clone, Debug)]
pub struct Mixer<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    /// See [`MixerTables`].
    turns: List<Turn, COLUMNS>,
    whole: u32,
    /// At the middle of the running section.
    carrier: Carrier,
    /// In-phase and quadrature sums of each channel.
    sums: List<[[i64; 2]; ORDER], CHANNELS>,
}

/// Longest section whose sums fit, at most [`MAX_SECTION`]; zero if none does. For order 2, half of it times
/// a cosine fits an `i32`.
#[must_use]
pub(crate) const fn section(order: u32, code_bits: u32, fraction_bits: u32) -> u32 {
    let mut samples = 0;
    while samples < MAX_SECTION
        && sum_bound(order, code_bits, samples + 1) <= 1 << (62 - fraction_bits)
        && (order != 2 || middle(samples + 1) >> (31 - fraction_bits) == 0)
    {
        samples += 1;
    }
    samples
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> Way<ORDER>
    for Mixer<ORDER, CHANNELS, COLUMNS>
{
    const SIZED: bool = false;

    type Tables = MixerTables<CHANNELS, COLUMNS>;

    fn tables(sections: &Sections) -> Result<Self::Tables, ConfigError> {
        MixerTables::new(sections)
    }

    const IDLE: Self = Self {
        turns: List::empty([[0; 2]; 2]),
        whole: 0,
        carrier: Carrier::new(CarrierRatio::NONE),
        sums: List::empty([[0; 2]; ORDER]),
    };

    fn load(&mut self, tables: &Self::Tables) {
        self.turns = tables.turns;
        self.whole = tables.whole;
        self.carrier = Carrier::new(tables.carrier);
        self.sums.refill([[0; 2]; ORDER], tables.channels);
        self.align(0);
    }

    fn is_folded(&self) -> bool {
        false
    }

    fn seek(&mut self, section_start: u64) {
        self.align(section_start);
        self.sums.fill([[0; 2]; ORDER]);
    }

    fn align(&mut self, section_start: u64) {
        self.carrier.seek(section_start + u64::from(middle(self.whole)));
    }

    fn check(&self, sum: &mut Checksum) {
        sum.add_size(self.turns.len());
        sum.add_all(self.turns.as_flattened().as_flattened());
        sum.add(self.whole);
        self.carrier.check(sum);
        sum.add_size(self.sums.len());
    }

    fn push(&mut self, frames: &[i32], into: u32, _: u32, ends: Ends) -> i32 {
        let channels = self.sums.len().max(1);
        let middle = middle(self.whole) as usize;
        let is_whole = into == 0 && frames.len() == self.whole as usize * channels;
        // The sum of two codes of 32 bits does not fit a word.
        let is_paired = is_whole && ORDER == 2 && ends.bits() < 32;
        #[cfg(feature = "wide")]
        if is_paired {
            return wide::add_whole(&mut self.sums, frames, middle, &self.turns, ends);
        }
        let by_pairs = if is_paired { sums::by_pairs::<ORDER, CHANNELS>(channels) } else { None };
        for (channel, sums) in self.sums.iter_mut().enumerate() {
            if let Some(add_whole) = by_pairs {
                add_whole(sums, frames, channel, middle, &self.turns);
                continue;
            }
            // A firmware's readout, sized for its sensor, has a constant stride.
            let add = if channels == CHANNELS {
                sums::add_some::<ORDER, CHANNELS>
            } else {
                sums::add_some::<ORDER, 0>
            };
            add(sums, frames, [channels, channel], [into as usize, middle], &self.turns);
        }
        ends.look_over::<8>(frames)
    }

    #[inline(always)]
    fn finish<R: Register>(
        &mut self,
        end: SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> bool {
        let [cosine, sine] = carrier::cos_sin_quick(self.carrier.phase());
        let behind = i64::from(end.length) - i64::from(middle(self.whole));
        let usual = end.usual();
        let mut saturated = false;
        for ((phasor, cics), sums) in out.iter_mut().zip(cics).zip(self.sums.iter_mut()) {
            if ORDER == 2 {
                sums[1] = [0, 1]
                    .map(|part| behind.wrapping_mul(sums[0][part]).wrapping_sub(sums[1][part]));
            }
            for (part, cic) in cics.iter_mut().enumerate() {
                let turned = sums.map(|[i, q]| {
                    R::of(if part == 0 {
                        turn(i, cosine, q, sine)
                    } else {
                        turn(q, cosine, i, -sine)
                    })
                });
                let (word, beyond) = end.take(usual, cic, turned);
                saturated |= beyond;
                if part == 0 {
                    phasor.i = word;
                } else {
                    phasor.q = word;
                }
            }
            *sums = [[0; 2]; ORDER];
        }
        self.carrier.advance(u64::from(end.length));
        saturated
    }
}

/// a c + b s, rounded half to even from Q2.30.
///
/// In: |a|, |b| <= 2^62, c and s cosine and sine, Q2.30. Each of a and b as upper 32 bits and
/// lower 32: four 32 x 32 products, upper sum below 2^62, lower sum below 2^63. Out: below
/// sqrt(2) 2^62 and a half.
#[inline(never)]
fn turn(a: i64, c: i32, b: i64, s: i32) -> i64 {
    let (c, s) = (i64::from(c), i64::from(s));
    let upper = (a >> 32) * c + (b >> 32) * s;
    let lower = i64::from(a as u32) * c + i64::from(b as u32) * s;
    // Sums beyond their bound, of codes beyond theirs, wrap here.
    let floor = (upper << (32 - TURN_BITS)).wrapping_add(lower >> TURN_BITS);
    let rest = lower as u32 & ((1 << TURN_BITS) - 1);
    floor.wrapping_add(i64::from(
        (rest + (1 << (TURN_BITS - 1)) - 1 + (floor as u32 & 1)) >> TURN_BITS,
    ))
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::{TURN_BITS, turn};
    use crate::word::shift_round;

    /// a c + b s over 2^TURN_BITS, half to even, at ties and beside them.
    #[test]
    fn a_turn_is_rounded() {
        let half = 1i64 << (TURN_BITS - 1);
        let mut factors =
            std::vec![0, 1, -1, 3, half, -half, half + 1, half - 1, 3 * half, 5 * half];
        factors.extend([1 << 40, -(1 << 40) - 1, (1 << 61) + half, 1 - (1 << 61)]);
        for &a in &factors {
            for &b in &factors {
                for (c, s) in
                    [(1, 0), (0, 1), (1, 1), (-1, 1), (3, -2), (1 << 30, 0), (-(1 << 30), 1)]
                {
                    let exact = i128::from(a) * i128::from(c) + i128::from(b) * i128::from(s);
                    let want = shift_round(exact, TURN_BITS);
                    assert_eq!(i128::from(turn(a, c, b, s)), want, "{a} {c} {b} {s}");
                }
            }
        }
    }
}
