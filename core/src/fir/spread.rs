//! **Even load.** What the stages behind the first do with an output of it, a piece of the work with each further
//! input of the first. All stages close an output together once in many intervals of the front end, and without
//! this such an interval would have twice as much to do as another.
//!
//! The first stage's sums wait as they are. A piece is one channel's share of one step: rounding a sum to a word,
//! adding it to some of the next stage's open outputs, closing one of those. Order and arithmetic are those of all
//! at once, so that the words are, too. All is done before the first stage's next output, and at once where a reading
//! is due: no reading is late.

use super::plan::{FirStage, Layout};
use super::{Open, Progress, Sum, add, close, move_up};
use crate::phasor::Phasor;
use crate::word::Word;

/// Open outputs of a channel that a piece adds to.
const ADDED: usize = 8;

/// Pieces that the work of later stages takes with each input of the first, of so many `channels`: enough to be done with
/// an output of the first before its next. `stages` are ratios and numbers of taps.
#[must_use]
pub const fn pieces(stages: &[(u16, usize)], channels: usize) -> u32 {
    let [(first, _), later @ ..] = stages else { return 0 };
    let (mut rest, mut all) = (later, 0);
    while let [(ratio, taps), behind @ ..] = rest {
        let outputs = taps.div_ceil(if *ratio > 0 { *ratio as usize } else { 1 });
        all += (1 + outputs.div_ceil(ADDED)) * channels;
        rest = behind;
    }
    // None goes with the input that closes the first stage's output.
    let inputs = (*first as usize).saturating_sub(1);
    all.div_ceil(if inputs > 0 { inputs } else { 1 }) as u32
}

/// A channel's output between two stages: a sum, or the word that it was rounded to.
#[derive(Clone, Copy, Debug)]
pub struct Waiting(Open);

impl Waiting {
    /// Nothing.
    pub const NONE: Self = Self(Open::NONE);

    /// The word is kept where the sums' upper parts were.
    fn set_word(&mut self, phasor: Phasor) {
        let word = |word: Word| Sum { upper: word.to_bits(), lower: 0 };
        self.0 = Open { i: word(phasor.i), q: word(phasor.q) };
    }

    /// The sum that closes, and those behind it moved up.
    #[inline(never)]
    fn part(&mut self, open: &mut [Open]) {
        self.0 = open.first().copied().unwrap_or(Open::NONE);
        move_up(open);
    }

    /// The sum as a word, by the `stage` that it is of; whether it had to saturate is noted.
    #[inline(never)]
    fn round(&self, stage: &FirStage, saturated: &mut bool) -> Phasor {
        let (i, i_saturated) = close(self.0.i, stage.scale);
        let (q, q_saturated) = close(self.0.q, stage.scale);
        *saturated |= i_saturated | q_saturated;
        Phasor { i, q }
    }

    fn word(&self) -> Phasor {
        let word = |sum: Sum| Word::from_bits(sum.upper);
        Phasor { i: word(self.0.i), q: word(self.0.q) }
    }
}

/// Where work goes on: stage, channel, and piece of its share. In a `u32`: 8, 8 and 16 bits. The first stage is number 1,
/// and has but one piece: its sum that closes is left to wait.
#[derive(Clone, Copy)]
struct Place {
    stage: u32,
    channel: u32,
    piece: u32,
}

/// Nothing waits.
pub(super) const NOTHING: u32 = 0;
/// The first stage closes an output.
const START: u32 = 1 << 24;

impl Place {
    const fn of(bits: u32) -> Self {
        Self { stage: bits >> 24, channel: bits >> 16 & 0xff, piece: bits & 0xffff }
    }

    const fn to_bits(self) -> u32 {
        self.stage << 24 | self.channel << 16 | self.piece
    }
}

/// All stages and their pools, whatever their sizes.
pub(super) struct Stages<'a> {
    pub layout: &'a Layout,
    pub progress: &'a mut Progress,
    pub taps: &'a [i32],
    pub open: &'a mut [Open],
}

impl Stages<'_> {
    /// The first stage closes an output, which is left to wait, or goes through all others at once where one of the last is
    /// `due`. `Some` if `frame` holds that then: see [`super::FirChain::push`].
    #[inline(never)]
    pub fn close(
        mut self,
        frame: &mut [Phasor],
        waiting: &mut [Waiting],
        due: bool,
    ) -> Option<bool> {
        // Nothing is left of the output before, but for a flipped bit.
        self.work(waiting, u32::MAX);
        self.progress.place.set(START);
        let pieces = if due { u32::MAX } else { self.layout.channels as u32 };
        if !self.work(waiting, pieces) {
            return None;
        }
        let last = self.layout.stages.last()?;
        for (phasor, waiting) in frame.iter_mut().zip(waiting) {
            *phasor = waiting.round(last, &mut self.progress.saturated);
        }
        Some(core::mem::take(&mut self.progress.saturated))
    }

    /// So many pieces, or as many as there are. Whether the last stage closed an output: its sums are what waits then.
    #[inline(never)]
    pub fn work(&mut self, waiting: &mut [Waiting], pieces: u32) -> bool {
        // No more than there are sums for.
        let waiting = waiting.get_mut(..self.layout.channels).unwrap_or(&mut []);
        let mut at = self.progress.place.get();
        for _ in 0..pieces {
            if at == NOTHING {
                break;
            }
            // A flipped bit may lead beyond the pools: a stage that is out of step for it is noticed with the next reading.
            at = self.piece(waiting, Place::of(at)).unwrap_or(NOTHING);
            if (at >> 24) as usize > self.layout.stages.len() {
                self.progress.place.set(NOTHING);
                return true;
            }
        }
        self.progress.place.set(at);
        false
    }

    /// One piece, and where work goes on.
    ///
    /// Formats and rounding: see [`super`].
    #[inline(always)]
    fn piece(&mut self, waiting: &mut [Waiting], place: Place) -> Option<u32> {
        let (number, channel) = ((place.stage as usize).wrapping_sub(1), place.channel as usize);
        let Layout { stages, .. } = self.layout;
        let stage = stages.get(number)?;
        let channels = waiting.len();
        let waiting = waiting.get_mut(channel)?;
        let outputs = stage.outputs.max(1);
        let first = stage.first_open.wrapping_add(channel.wrapping_mul(outputs));
        let open = self.open.get_mut(first..first.wrapping_add(outputs))?;
        let mut closes = true;
        if let Some(before) = stages.get(number.wrapping_sub(1)) {
            let next = Place { piece: place.piece + 1, ..place }.to_bits();
            let Some(piece) = (place.piece as usize).checked_sub(1) else {
                let phasor = waiting.round(before, &mut self.progress.saturated);
                waiting.set_word(phasor);
                return Some(next);
            };
            let position = self.progress.positions.get_mut(number)?;
            let row = (*position as usize).wrapping_mul(outputs).wrapping_add(stage.first_tap);
            let taps = self.taps.get(row..row.wrapping_add(outputs))?;
            let from = piece * ADDED;
            let to = outputs.min(from + ADDED);
            add(open.get_mut(from..to)?, taps.get(from..to)?, &waiting.word());
            if to < outputs {
                return Some(next);
            }
            let taken = position.wrapping_add(1);
            closes = taken >= stage.ratio;
            if channel + 1 >= channels {
                *position = if closes { 0 } else { taken };
            }
        }
        if closes {
            waiting.part(open);
        }
        if channel + 1 < channels {
            return Some(Place { channel: place.channel + 1, piece: 0, ..place }.to_bits());
        }
        closes.then(|| Place { stage: place.stage + 1, channel: 0, piece: 0 }.to_bits())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::FirConfig;
    use crate::fir::FirChain;

    /// Inputs of which the first stage's output comes when something waits still.
    fn late(ratios: [u16; 4], outputs: [usize; 4], channels: usize, fewer: u32) -> usize {
        let taps = [1; 400];
        let config = |n: usize| FirConfig {
            ratio: ratios[n],
            taps: taps.split_at(outputs[n] * usize::from(ratios[n])).0,
            scale_bits: 12,
        };
        let worst = Word::from_bits(1 << 40);
        let configs = [0, 1, 2, 3].map(config);
        let mut chain = FirChain::<1600, 4000>::new(&configs, channels, worst).expect("a plan");
        chain.plan.layout.pieces -= fewer;
        let interval = ratios.iter().map(|r| usize::from(*r)).product::<usize>();
        let (mut late, mut waiting) = (0, [Waiting::NONE; 5]);
        for n in 1..=2 * interval {
            late += usize::from(
                n % usize::from(ratios[0]) == 0 && chain.progress.place.get() != NOTHING,
            );
            let mut frame = [Phasor { i: Word::from_bits(n as i64), q: Word::ZERO }; 5];
            let frame = frame.split_at_mut(channels).0;
            let due = n % interval == 0;
            let output = chain.push(frame, &mut waiting, due);
            assert_eq!(output, if due { Some(false) } else { None });
        }
        late
    }

    /// So many pieces are enough, and one less is not.
    #[test]
    fn done_before_the_next() {
        for (ratios, outputs, channels) in [
            ([25, 2, 5, 2], [3, 3, 6, 27], 2),
            ([25, 2, 5, 2], [3, 3, 6, 27], 5),
            ([5, 3, 2, 2], [4, 4, 5, 9], 3),
            ([7, 2, 2, 3], [1, 25, 13, 8], 1),
            ([2, 3, 2, 2], [2, 14, 12, 17], 4),
        ] {
            assert_eq!(late(ratios, outputs, channels, 0), 0, "{ratios:?} {outputs:?}");
            assert!(late(ratios, outputs, channels, 1) > 0, "{ratios:?} {outputs:?}");
        }
    }
}
