//! **Mixer** for any carrier: every sample times cosine and sine.
//!
//! Receives converter codes from [`crate::front_end`], hands section sums to [`crate::cic`].
//!
//! A section is short (at most 256 samples), so its carrier can be split: within a section
//! the samples meet a fixed table of the carrier from phase zero, and the sums of the section
//! are turned once by the exact phase of its first sample,
//!
//! sum_n w_n x\[n\] e^(-i(theta + omega n)) = e^(-i theta) sum_n w_n x\[n\] e^(-i omega n).
//!
//! So a sample costs two multiply-accumulates and the integrators, and no table look-up
//! in the sine; the oscillator runs once a section. For order 2, the usual one, the table also
//! holds the second integrator's weight, L - n, times the carrier: four multiply-accumulates.

use crate::carrier::{self, Carrier, CarrierRatio, next_turn};
use crate::cic::Cic;
use crate::error::{ConfigError, Stage, attempt};
use crate::guard::Checksum;
use crate::list::List;
use crate::over_range::Ends;
use crate::phasor::Phasor;
use crate::section::{Ended, SectionEnd, Sections, Way, sum_bound};
use crate::word::Register;

/// Most fraction bits of the local carrier table: more would make sections of wide codes short.
pub(crate) const TABLE_BITS: u32 = 28;
/// Fraction bits of the turn by the section's phase: Q2.30.
pub const TURN_BITS: u32 = 30;
/// Longest section, samples.
pub(crate) const MAX_SECTION: u32 = 256;

/// e^(-i phase), Q.f, cosine and minus sine; the same times L - n.
type Turn = [[i32; 2]; 2];

/// What a plan's mixing never changes. `COLUMNS` is the room for a section's samples.
#[derive(Clone, Copy, Debug)]
pub struct MixerTables<const CHANNELS: usize, const COLUMNS: usize> {
    /// The carrier at the samples of a section, from phase zero.
    turns: List<Turn, COLUMNS>,
    carrier: CarrierRatio,
    channels: usize,
}

impl<const CHANNELS: usize, const COLUMNS: usize> MixerTables<CHANNELS, COLUMNS> {
    /// Works out the tables for the sections of a plan.
    ///
    /// # Errors
    /// [`ConfigError`] where the plan folds, or a section is longer than there is room for.
    pub const fn new(sections: &Sections) -> Result<Self, ConfigError> {
        let Sections { carrier, channels, folded, fraction_bits, whole, .. } = *sections;
        const FRONT_END: Stage = Stage::FrontEnd;
        if let Some(folding) = folded {
            let quantity = "columns that the plan folds by (Fold does, Mixer does not)";
            return Err(ConfigError::new(FRONT_END, quantity, folding.columns as i64, 0, 0));
        }
        let quantity = "samples in a section, for which there are COLUMNS";
        attempt!(ConfigError::check(FRONT_END, quantity, whole as i64, 1, COLUMNS as i64));
        let max = CHANNELS as i64;
        attempt!(ConfigError::check(Stage::Converter, "channels", channels as i64, 1, max));
        let mut turns = List::empty([[0; 2]; 2]);
        let mut oscillator = Carrier::new(carrier);
        let mut weight = whole as i32;
        while weight > 0 {
            // There is room: see above.
            let _ = turns.push(next_turn(&mut oscillator, fraction_bits, [1, weight]));
            weight -= 1;
        }
        Ok(Self { turns, carrier, channels })
    }
}

/// Running sums of one section, all channels.
///
/// In: Q(b-1).0 codes. Product: code x Q.f in `i64`, f at most 28. Sums: `i64`, bounded by
/// 2^(b-1) 2^f C(L+N-1, N) <= 2^62 for a section of L samples, which chooses L. Turned sums:
/// `i64` x Q2.30 in two halves, rounded half to even back to Q.f, |out| <= sqrt(2) 2^62 in
/// the register. Codes beyond b bits wrap the sums; the over-range watch tells.
#[derive(Clone, Debug)]
pub struct Mixer<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    /// See [`MixerTables`].
    turns: List<Turn, COLUMNS>,
    carrier: Carrier,
    /// In-phase and quadrature sums of each channel.
    sums: List<[[i64; 2]; ORDER], CHANNELS>,
}

/// Longest section whose sums fit, at most [`MAX_SECTION`]; zero if none does. For order 2, L times
/// a cosine fits an `i32`.
#[must_use]
pub(crate) const fn section(order: u32, code_bits: u32, fraction_bits: u32) -> u32 {
    let mut samples = 0;
    while samples < MAX_SECTION
        && sum_bound(order, code_bits, samples + 1) <= 1 << (62 - fraction_bits)
        && (order != 2 || (samples + 1) >> (31 - fraction_bits) == 0)
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
        carrier: Carrier::new(CarrierRatio::NONE),
        sums: List::empty([[0; 2]; ORDER]),
    };

    fn load(&mut self, tables: &Self::Tables) {
        self.turns = tables.turns;
        self.carrier = Carrier::new(tables.carrier);
        self.sums.refill([[0; 2]; ORDER], tables.channels);
    }

    fn is_folded(&self) -> bool {
        false
    }

    fn seek(&mut self, section_start: u64) {
        self.carrier.seek(section_start);
        self.sums.fill([[0; 2]; ORDER]);
    }

    fn align(&mut self, section_start: u64) {
        self.carrier.seek(section_start);
    }

    fn check(&self, sum: &mut Checksum) {
        sum.add_size(self.turns.len());
        sum.add_all(self.turns.as_flattened().as_flattened());
        self.carrier.check(sum);
        sum.add_size(self.sums.len());
    }

    fn push(&mut self, frames: &[i32], into: u32, _: u32, ends: Ends) -> i32 {
        let channels = self.sums.len().max(1);
        let count = frames.len().checked_div(channels).unwrap_or(0);
        let from = into as usize;
        let carrier = self.turns.get(from..from + count).unwrap_or(&[]);
        // A firmware's readout, sized for its sensor, has a constant stride.
        let add = if channels == CHANNELS {
            add_channel::<ORDER, CHANNELS>
        } else {
            add_channel::<ORDER, 0>
        };
        for (channel, sums) in self.sums.iter_mut().enumerate() {
            add(sums, frames.get(channel..).unwrap_or(&[]), channels, carrier);
        }
        ends.look_over::<16>(frames)
    }

    #[inline(always)]
    fn finish<R: Register>(
        &mut self,
        end: SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> Ended {
        let [cosine, sine] = carrier::cos_sin_quick(self.carrier.phase());
        // A section shorter than the table: its weights are less by the difference.
        let short = self.turns.len() as i64 - i64::from(end.length);
        let usual = end.usual();
        let mut saturated = false;
        for ((phasor, cics), sums) in out.iter_mut().zip(cics).zip(self.sums.iter_mut()) {
            if ORDER == 2 && short > 0 {
                let [i, q] = sums[0];
                let [first, second] = sums[1];
                sums[1] = [
                    first.wrapping_sub(i.wrapping_mul(short)),
                    second.wrapping_sub(q.wrapping_mul(short)),
                ];
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
        Ended { saturated, seen: 0 }
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

/// Samples of a turn of the loop.
pub(crate) const BLOCK: usize = 8;

/// [`accumulate`] for a CIC of an order. For order 2 each integrator's sums by themselves, with weights of their
/// own: a small core has registers for one's.
fn add_channel<const ORDER: usize, const STRIDE: usize>(
    sums: &mut [[i64; 2]; ORDER],
    frames: &[i32],
    stride: usize,
    carrier: &[Turn],
) {
    if ORDER != 2 {
        return accumulate::<ORDER, STRIDE, 0>(sums, frames, stride, carrier);
    }
    let (firsts, seconds) = sums.split_at_mut(1);
    if let (Some(firsts), Some(seconds)) = (firsts.first_chunk_mut(), seconds.first_chunk_mut()) {
        accumulate::<1, STRIDE, 0>(firsts, frames, stride, carrier);
        accumulate::<1, STRIDE, 1>(seconds, frames, stride, carrier);
    }
}

/// One channel's share of a block of frames, `stride` codes each (constant where `STRIDE` is not
/// zero), the channel's first code in front; `carrier` has as many samples as there are frames, and is taken
/// with the weight number `WEIGHT`.
///
/// Never inlined: a small core has registers for this and no more.
#[inline(never)]
fn accumulate<const LEVELS: usize, const STRIDE: usize, const WEIGHT: usize>(
    sums: &mut [[i64; 2]; LEVELS],
    frames: &[i32],
    stride: usize,
    carrier: &[Turn],
) {
    let stride = if STRIDE > 0 { STRIDE } else { stride.max(1) };
    let mut state = *sums;
    let (turns, last_turns) = carrier.as_chunks::<BLOCK>();
    let mut rest = frames;
    for turns in turns {
        let Some(codes) = rest.get(..(BLOCK - 1) * stride + 1) else { break };
        for (n, turn) in turns.iter().enumerate() {
            add(&mut state, codes.get(n * stride).copied().unwrap_or(0), turn[WEIGHT]);
        }
        rest = rest.get(BLOCK * stride..).unwrap_or(&[]);
    }
    for (code, turn) in rest.iter().step_by(stride).zip(last_turns) {
        add(&mut state, *code, turn[WEIGHT]);
    }
    *sums = state;
}

/// One sample: two products and cascaded sums.
#[inline(always)]
fn add<const LEVELS: usize>(state: &mut [[i64; 2]; LEVELS], code: i32, turn: [i32; 2]) {
    let plus = |a: [i64; 2], b: [i64; 2]| [a[0].wrapping_add(b[0]), a[1].wrapping_add(b[1])];
    let mut carry = turn.map(|t| i64::from(code) * i64::from(t));
    for sum in state {
        *sum = plus(*sum, carry);
        carry = *sum;
    }
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
