//! **Mixer** for any carrier: every sample times cosine and sine.
//!
//! Receives converter codes from [`crate::front_end`], hands section sums to [`crate::cic`].
//!
//! A section is short (some tens of samples), so its carrier can be split: within a section
//! the samples meet a fixed table of the carrier from phase zero, and the sums of the section
//! are turned once by the exact phase of its first sample,
//!
//! sum_n w_n x\[n\] e^(-i(theta + omega n)) = e^(-i theta) sum_n w_n x\[n\] e^(-i omega n).
//!
//! So a sample costs two multiply-accumulates and the integrators, and no table look-up
//! in the sine; the oscillator runs once a section. For order 2, the usual one, the table also
//! holds the second integrator's weight, L - n, times the carrier: four multiply-accumulates.

use crate::carrier::{self, Carrier, CarrierRatio};
use crate::cic::Cic;
use crate::error::{ConfigError, Stage};
use crate::fold::sum_bound;
use crate::word::Register;
use heapless::Vec;

/// Most fraction bits of the local carrier table: sections shall be some tens of samples.
pub(crate) const TABLE_BITS: u32 = 28;
/// Fraction bits of the turn by the section's phase: Q2.30.
const TURN_BITS: u32 = 30;
/// Longest section, samples.
pub(crate) const MAX_SECTION: u32 = 128;

/// e^(-i phase), Q.f, cosine and minus sine: each with itself times L - n.
type Turn = [[i32; 2]; 2];

/// Running sums of one section, all channels.
///
/// In: Q(b-1).0 codes. Product: code x Q.f in `i64`, f at most 28. Sums: `i64`, bounded by
/// 2^(b-1) 2^f C(L+N-1, N) <= 2^62 for a section of L samples, which chooses L. Turned sums:
/// `i64` x Q2.30 in two halves, rounded half to even back to Q.f, |out| <= sqrt(2) 2^62 in
/// the register. Codes beyond b bits wrap the sums; the watch word tells.
#[derive(Clone, Debug)]
pub struct Mixer<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    /// The carrier at the samples of a section, from phase zero.
    table: Vec<Turn, COLUMNS>,
    carrier: Carrier,
    /// In-phase and quadrature sums of each channel.
    sums: Vec<[[i64; 2]; ORDER], CHANNELS>,
    watch: Vec<i32, CHANNELS>,
    /// Not every code is watched.
    sparse: bool,
    /// Next sample of the section.
    position: u32,
}

/// Longest section whose sums fit, at most [`MAX_SECTION`]; zero if none does. For order 2, L times
/// a cosine fits an `i32`.
#[must_use]
pub(crate) fn section(order: u32, code_bits: u32, fraction_bits: u32) -> u32 {
    let fits = |samples: &u32| {
        sum_bound(order, code_bits, *samples) <= 1 << (62 - fraction_bits)
            && (order != 2 || samples >> (31 - fraction_bits) == 0)
    };
    (1..=MAX_SECTION).take_while(fits).last().unwrap_or(0)
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    Mixer<ORDER, CHANNELS, COLUMNS>
{
    /// Sets up sections of `section` samples.
    ///
    /// # Errors
    /// [`ConfigError`] when the section or the channels exceed the capacity.
    pub fn new(
        ratio: CarrierRatio,
        channels: usize,
        section: u32,
        fraction_bits: u32,
        sparse: bool,
    ) -> Result<Self, ConfigError> {
        let long =
            || ConfigError::new(Stage::FrontEnd, "section", section.into(), 1, COLUMNS as i64);
        let turns: Vec<_, COLUMNS> =
            carrier::table(ratio, section, fraction_bits).ok_or_else(long)?;
        let mut table = Vec::new();
        for (turn, weight) in turns.into_iter().zip((1..=section as i32).rev()) {
            table.push(turn.map(|t| [t, t.wrapping_mul(weight)])).map_err(|_| long())?;
        }
        let full =
            || ConfigError::new(Stage::Converter, "channels", channels as i64, 1, CHANNELS as i64);
        let mut sums = Vec::new();
        let mut watch = Vec::new();
        sums.resize(channels, [[0; 2]; ORDER]).map_err(|_| full())?;
        watch.resize(channels, 0).map_err(|_| full())?;
        Ok(Self { table, carrier: Carrier::new(ratio), sums, watch, sparse, position: 0 })
    }

    /// Empties the sums; the next frame is sample `position` of the section that starts at
    /// sample `section_start` of the run.
    pub fn seek(&mut self, section_start: u64, position: u32) {
        self.carrier.seek(section_start);
        self.sums.fill([[0; 2]; ORDER]);
        self.watch.fill(0);
        self.position = position;
    }

    /// Adds whole frames, all of the running section. Any cut gives the same bits.
    pub fn push(&mut self, frames: &[i32]) {
        let channels = self.sums.len().max(1);
        let count = frames.len().checked_div(channels).unwrap_or(0);
        let from = self.position as usize;
        let carrier = self.table.get(from..from + count).unwrap_or(&[]);
        let accumulate = if channels == CHANNELS {
            accumulate::<ORDER, CHANNELS, BLOCK>
        } else {
            accumulate::<ORDER, 0, ANY_BLOCK>
        };
        for (channel, (sums, seen)) in self.sums.iter_mut().zip(&mut self.watch).enumerate() {
            *seen |= accumulate(sums, frames, channels, channel, carrier, from, self.sparse);
        }
        self.position += count as u32;
    }

    /// Ends the section: turns the sums by its phase and hands them to `cics`. `first` section of
    /// its interval or not; `weights` are the section's [`crate::cic::step_weights`].
    pub fn finish<R: Register>(
        &mut self,
        cics: &mut [Cic<R, ORDER>],
        first: bool,
        weights: &[i64; ORDER],
    ) {
        let [cosine, sine] = carrier::cos_sin_short(self.carrier.phase(), TURN_BITS);
        // A section shorter than the table: its weights are less by the difference.
        let short = self.table.len() as i64 - i64::from(self.position);
        for (cic, sums) in cics.iter_mut().zip(&mut self.sums) {
            if ORDER == 2 && short > 0 {
                let [i, q] = sums[0];
                let [first, second] = sums[1];
                sums[1] = [
                    first.wrapping_sub(i.wrapping_mul(short)),
                    second.wrapping_sub(q.wrapping_mul(short)),
                ];
            }
            cic.section(first, weights, |turned| {
                for (to, [i, q]) in turned.iter_mut().zip(sums) {
                    *to = [R::of(turn(*i, cosine, *q, sine)), R::of(turn(*q, cosine, *i, -sine))];
                    (*i, *q) = (0, 0);
                }
            });
        }
        self.carrier.advance(u64::from(self.position));
        self.position = 0;
    }

    /// Bit c: channel c met an end code of its `code_bits` or one beyond since the last call.
    pub fn over_range(&mut self, code_bits: u32) -> u32 {
        crate::fold::take_over_range(&mut self.watch, code_bits)
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

/// Where not every sample of a section is watched, every fourth is.
const SPARSE: usize = 4;
/// Samples of a turn of the loop, whole steps of the sparse watch.
const BLOCK: usize = 2 * SPARSE;
/// The same for a readout larger than its sensor; zero for one by one: no flash for a second long
/// loop.
const ANY_BLOCK: usize = if cfg!(target_arch = "arm") { 0 } else { BLOCK };

/// One channel's share of a block of frames, `stride` codes each (constant where `STRIDE` is not
/// zero), from sample `from` of the section on. Returns what the watched codes reached.
#[inline(never)]
fn accumulate<const ORDER: usize, const STRIDE: usize, const BLOCK: usize>(
    sums: &mut [[i64; 2]; ORDER],
    frames: &[i32],
    stride: usize,
    channel: usize,
    carrier: &[Turn],
    from: usize,
    sparse: bool,
) -> i32 {
    let stride = if STRIDE > 0 { STRIDE } else { stride.max(1) };
    if channel >= stride {
        return 0;
    }
    // One part after the other: both would not fit a small core's registers.
    accumulate_part::<ORDER, 1, NONE, BLOCK>(sums, frames, stride, channel, carrier, from);
    if sparse {
        accumulate_part::<ORDER, 0, SPARSE, BLOCK>(sums, frames, stride, channel, carrier, from)
    } else {
        accumulate_part::<ORDER, 0, EVERY, BLOCK>(sums, frames, stride, channel, carrier, from)
    }
}

/// Steps of the watch: every sample, or none.
const EVERY: usize = 1;
const NONE: usize = usize::MAX;

/// In-phase or quadrature: two products a sample (order 2), or one and N - 1 sums.
#[inline(always)]
fn accumulate_part<
    const ORDER: usize,
    const PART: usize,
    const WATCHED: usize,
    const BLOCK: usize,
>(
    sums: &mut [[i64; 2]; ORDER],
    frames: &[i32],
    stride: usize,
    channel: usize,
    carrier: &[Turn],
    from: usize,
) -> i32 {
    let mut seen = 0;
    let mut state = [0i64; ORDER];
    state.iter_mut().zip(&*sums).for_each(|(to, from)| *to = from[PART]);
    // `sample` counts from the section's start: how a run is cut must not choose what is watched.
    let mut add = |code: i32, turn: &Turn, sample: usize| {
        if WATCHED != NONE && sample.is_multiple_of(WATCHED) {
            seen |= crate::fold::reach(code);
        }
        let product = |level: usize| i64::from(code) * i64::from(turn[PART][level]);
        if ORDER == 2 {
            for (level, sum) in state.iter_mut().enumerate() {
                *sum = sum.wrapping_add(product(level & 1));
            }
            return;
        }
        let mut carry = product(0);
        for sum in &mut state {
            *sum = sum.wrapping_add(carry);
            carry = *sum;
        }
    };
    // One by one to where the watch's step begins, in blocks, and one by one again.
    let all = carrier.len();
    let head = if BLOCK > 0 { (from.wrapping_neg() % SPARSE).min(all) } else { all };
    let long = (all - head).checked_div(BLOCK).unwrap_or(0) * BLOCK;
    let singles = |first: usize, end: usize| {
        let frames = frames.chunks_exact(stride).map(|f| f.get(channel).copied().unwrap_or(0));
        frames.zip(carrier).zip(from..).take(end).skip(first)
    };
    for ((code, turn), sample) in singles(0, head) {
        add(code, turn, sample);
    }
    let blocks = frames.get(head * stride..).unwrap_or(&[]).chunks_exact((BLOCK * stride).max(1));
    let turns = carrier.get(head..).unwrap_or(&[]).chunks_exact(BLOCK.max(1));
    for (block, turns) in blocks.zip(turns) {
        for (n, turn) in turns.iter().enumerate() {
            add(block.get(n * stride + channel).copied().unwrap_or(0), turn, n);
        }
    }
    for ((code, turn), sample) in singles(head + long, all) {
        add(code, turn, sample);
    }
    sums.iter_mut().zip(state).for_each(|(to, from)| to[PART] = from);
    seen
}
