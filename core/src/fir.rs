//! **FIR decimators.** The slow filters: any taps, any ratio, 64-bit words.
//!
//! Receive phasors of all channels from [`crate::front_end`], hand them at the output rate
//! to [`crate::readout`].
//!
//! Each arriving phasor is added at once into the few outputs that are still open, so a
//! stage keeps ceil(taps / ratio) sums a channel and no delay line. Output j closes when
//! input (j+1) D - 1 has been added: y\[j\] = 2^-s sum_i h\[i\] x\[(j+1) D - 1 - i\].
//!
//! Number format: word Q12.52 split as upper 2^32 + lower, lower a signed `i32`, upper an `i32`
//! of at most 2^23 + 1, as |word| < 2^55. Two 32 x 32 products a tap in two `i64` accumulators,
//! exact: with L1 = sum |h| < 2^32, |upper sum| < 2^24 L1 <= 2^56 and |lower sum| <= 2^31 L1 < 2^63.
//! Out: upper x 2^32 + lower, shifted by the taps' scale, half to even, to Q12.52, saturated at ±8.
//! Within `i64`, as the plan's worst word is below 8 (words at ±8, of codes beyond their bits, may
//! wrap it; their readings are flagged).

mod plan;
mod spread;
#[cfg(feature = "wide")]
mod wide;

pub use plan::FirPlan;
pub(crate) use plan::delay;
pub use spread::{Waiting, pieces};

use crate::config::{FirConfig, MAX_FIRS};
use crate::error::ConfigError;
use crate::guard::{Checksum, Voted};
use crate::list::List;
use crate::phasor::Phasor;
use crate::word::{Word, divide_long, halves, saturate_word};
use core::hint::black_box;
use plan::{FirStage, Layout};
use spread::{NOTHING, Stages};

/// An output that is still being added up.
#[derive(Clone, Copy, Debug)]
struct Open {
    i: Sum,
    q: Sum,
}

impl Open {
    const NONE: Self = Self { i: Sum { upper: 0, lower: 0 }, q: Sum { upper: 0, lower: 0 } };
}

/// Sums of upper and of lower parts.
#[derive(Clone, Copy, Debug)]
struct Sum {
    upper: i64,
    lower: i64,
}

/// A word as upper x 2^32 + lower.
#[derive(Clone, Copy)]
struct Parts {
    upper: i32,
    lower: i32,
}

impl Sum {
    /// Adds a word by its tap: two 32 x 32 products.
    #[inline(always)]
    fn add(&mut self, word: Parts, tap: i32) {
        self.upper = self.upper.wrapping_add(i64::from(word.upper) * i64::from(tap));
        // As in `add` below.
        black_box(());
        self.lower = self.lower.wrapping_add(i64::from(word.lower) * i64::from(tap));
    }
}

#[inline(always)]
fn parts(word: Word) -> Parts {
    let [upper, lower] = halves(word.to_bits());
    Parts { upper, lower }
}

/// All FIR stages in order, with their taps and open sums in two pools.
///
/// `TAPS` is the room for taps, ratio x ceil(taps / ratio) of each stage, `OPEN` that for open
/// sums, channels x ceil(taps / ratio) of each.
#[derive(Clone, Debug)]
pub struct FirChain<const TAPS: usize, const OPEN: usize> {
    plan: FirPlan<TAPS, OPEN>,
    open: List<Open, OPEN>,
    progress: Progress,
}

/// How far all stages are.
#[derive(Clone, Debug)]
struct Progress {
    /// Inputs that each stage has taken of its running output.
    positions: [u32; MAX_FIRS],
    /// Where work on an output of the first stage goes on.
    place: Voted<u32>,
    /// A word had to saturate since the last output of the last stage.
    saturated: bool,
}

impl Progress {
    /// At the start.
    const NONE: Self =
        Self { positions: [0; MAX_FIRS], place: Voted::new(NOTHING), saturated: false };
}

impl<const TAPS: usize, const OPEN: usize> FirChain<TAPS, OPEN> {
    /// Checks the stages and starts them.
    ///
    /// # Errors
    /// Those of [`FirPlan::new`].
    pub fn new(
        configs: &[FirConfig<'_>],
        channels: usize,
        worst: Word,
    ) -> Result<Self, ConfigError> {
        let plan = FirPlan::new(configs, channels, worst)?;
        let mut chain = Self::IDLE;
        chain.load(&plan);
        Ok(chain)
    }

    /// Without a plan: zeros throughout.
    pub const IDLE: Self =
        Self { plan: FirPlan::NONE, open: List::empty(Open::NONE), progress: Progress::NONE };

    /// Takes a plan; at rest, before the first input.
    pub fn load(&mut self, plan: &FirPlan<TAPS, OPEN>) {
        self.plan = *plan;
        self.open.refill(Open::NONE, plan.layout.open);
        self.progress = Progress::NONE;
    }

    /// Forgets all inputs; the next one is number `input` since the start.
    pub fn seek(&mut self, input: u64) {
        self.open.fill(Open::NONE);
        self.progress = Progress::NONE;
        seek(&self.plan.layout.stages, &mut self.progress.positions, input);
    }

    /// Whether all stages stand at the start of an output, as they do with each of the last stage's;
    /// puts them there.
    pub fn align(&mut self) -> bool {
        let mut aligned = true;
        for (_, position) in self.plan.layout.stages.iter().zip(&mut self.progress.positions) {
            aligned &= *position == 0;
            *position = 0;
        }
        aligned
    }

    /// Sums up what never changes.
    pub fn check(&self, sum: &mut Checksum) {
        // Of the number of pieces nothing hangs but when a piece is done.
        let FirPlan { layout: Layout { stages, open, channels, pieces: _ }, taps } = &self.plan;
        sum.add_size(stages.len());
        for stage in stages.iter() {
            sum.add(stage.ratio);
            sum.add(stage.scale);
            sum.add_size(stage.first_tap);
            sum.add_size(stage.first_open);
            sum.add_size(stage.outputs);
        }
        sum.add_size(taps.len());
        sum.add_all(taps);
        sum.add_size(*open);
        sum.add_size(self.open.len());
        sum.add_size(*channels);
    }

    /// Takes one phasor of each channel. `Some` when an output is ready: `frame` then holds
    /// it; the flag tells that a word of any stage had to saturate since the output before.
    ///
    /// The first stage takes the phasors at once. Where an output is `due` so do the others what they have to do; where not,
    /// they work in pieces on what is `waiting`, a place for each channel, which the caller keeps: an output then comes
    /// only from stages that are out of step, and is lost.
    #[inline(always)]
    pub fn push(
        &mut self,
        frame: &mut [Phasor],
        waiting: &mut [Waiting],
        due: bool,
    ) -> Option<bool> {
        let (taps, open) = (self.plan.taps.room(), self.open.room_mut());
        let FirPlan { layout, .. } = &self.plan;
        let progress = &mut self.progress;
        let (Some(stage), Some(position)) = (layout.stages.first(), progress.positions.first_mut())
        else {
            return Some(core::mem::take(&mut progress.saturated));
        };
        let closes = stage.take_in(position, taps, open, frame);
        if closes {
            return Stages { layout, progress, taps, open }.close(frame, waiting, due);
        }
        if progress.place.get() == NOTHING {
            return None;
        }
        let mut stages = Stages { layout, progress, taps, open };
        stages.work(waiting, layout.pieces).then_some(false)
    }
}

/// Each stage's place after `input` inputs of the first.
#[inline(never)]
fn seek(stages: &[FirStage], positions: &mut [u32], mut input: u64) {
    for (stage, at) in stages.iter().zip(positions) {
        let (outputs, position) = divide_long(input, stage.ratio.into());
        *at = position as u32;
        input = outputs;
    }
}

impl FirStage {
    /// Adds an input; whether an output closes with it.
    ///
    /// `taps` and `open` are all stages'; of a stage's open sums there are, for each channel, those of its open outputs, the
    /// one that closes next in front.
    #[inline(always)]
    fn take_in(
        &self,
        position: &mut u32,
        taps: &[i32],
        open: &mut [Open],
        frame: &[Phasor],
    ) -> bool {
        // At least one but for a flipped bit.
        let outputs = self.outputs.max(1);
        // Beyond the ratio only by a flipped bit.
        let at = if *position < self.ratio { *position } else { 0 };
        let first = self.first_tap.wrapping_add((at as usize).wrapping_mul(outputs));
        let Some(taps) = taps.get(first..first.wrapping_add(outputs)) else { return false };
        let Some(open) = open.get_mut(self.first_open..) else { return false };
        #[cfg(feature = "wide")]
        wide::add(open, outputs, taps, frame);
        #[cfg(not(feature = "wide"))]
        {
            let mut from = 0usize;
            for phasor in frame {
                let Some(sums) = open.get_mut(from..from.wrapping_add(outputs)) else { break };
                add(sums, taps, phasor);
                from += outputs;
            }
        }
        let closes = at + 1 >= self.ratio;
        *position = if closes { 0 } else { at + 1 };
        closes
    }
}

/// Moves open outputs up over the one in front; the last is empty then.
fn move_up(open: &mut [Open]) {
    let mut open = open.iter_mut();
    let Some(mut free) = open.next() else { return };
    for next in open {
        *free = *next;
        free = next;
        // Keeps the compiler from a call that takes ten times as long for so few.
        black_box(());
    }
    // As one that the compiler does not know to be zero: clearing so little by a call takes ten times as long.
    let zero = black_box(0);
    let nothing = Sum { upper: zero, lower: zero };
    *free = Open { i: nothing, q: nothing };
}

/// Adds a channel's input to its open outputs.
#[inline(always)]
fn add(open: &mut [Open], taps: &[i32], phasor: &Phasor) {
    let (i, q) = (parts(phasor.i), parts(phasor.q));
    for (sum, tap) in open.iter_mut().zip(taps) {
        // Costs nothing, and keeps the compiler from taking several of a few sums at once, at more instructions each, and
        // one sum's two words apart.
        black_box(());
        sum.i.add(i, *tap);
        black_box(());
        sum.q.add(q, *tap);
        black_box(());
    }
}

/// upper 2^32 + lower over 2^scale (at most 30), half to even.
#[inline(never)]
fn close(sum: Sum, scale: u32) -> (Word, bool) {
    let Sum { upper, lower } = sum;
    let floor = upper.wrapping_shl(32 - scale).wrapping_add(lower >> scale);
    let rest = lower as u32 & ((1 << scale) - 1);
    // Up where the rest is above half, or half behind an odd floor.
    let half = (1u32 << scale) >> 1;
    let up = rest > half || (rest == half && half != 0 && floor & 1 == 1);
    saturate_word(floor.wrapping_add(i64::from(up)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::made_up;
    use crate::word::{saturate, shift_round};

    #[test]
    fn sums_close_half_to_even() {
        let mut made_up = made_up(1);
        let mut next = || made_up() as i64;
        for scale in 0..=30u32 {
            for n in 0..400 {
                let upper = next() >> (12 + n % 40);
                // Ties more often than not.
                let tie = (next() >> 20 << scale) + (1i64 << scale >> 1);
                let lower = if n % 3 == 0 { next() >> 10 } else { tie >> 4 << 4 };
                let lower = if n % 3 == 1 && scale > 0 { tie } else { lower };
                let whole = (i128::from(upper) << 32) + i128::from(lower);
                let (want, beyond) = saturate(shift_round(whole, scale), i64::MAX);
                if beyond || want.unsigned_abs() >= 1 << 55 {
                    continue;
                }
                let (is, saturated) = close(Sum { upper, lower }, scale);
                assert_eq!((is.to_bits(), saturated), (want, false), "{upper} {lower} {scale}");
            }
        }
    }
}
