//! **Even load.** What the stages behind the first do with an output of it, a piece of the work with each further
//! input of the first. All stages close an output together once in many intervals of the front end, and without
//! this such an interval would have twice as much to do as another.
//!
//! The first stage's sums wait as they are. A piece is one channel's share of one step: rounding a sum to a word,
//! adding it to some of the next stage's open outputs, closing one of those. Order and arithmetic are those of all
//! at once, so that the words are, too. All is done before the first stage's next output, and at once where a reading
//! is due: no reading is late.

use super::{FirChain, FirPlan, FirStage, Open, Sum, add, move_up};
use crate::phasor::Phasor;
use crate::word::Word;

/// Open outputs of a channel that a piece adds to.
const ADDED: usize = 8;
/// Open outputs that a piece moves up.
const MOVED: usize = 12;
/// Up to so many open outputs a piece adds to and closes one.
const SHORT: usize = 4;

/// Pieces that the work of later stages takes with each input of the first, of so many `channels`: enough to be done with
/// an output of the first before its next, if all but the last close one, too. `stages` are ratios and numbers of taps.
#[must_use]
pub const fn pieces(stages: &[(u16, usize)], channels: usize) -> u32 {
    let [(first, _), later @ ..] = stages else { return 0 };
    let (mut rest, mut all) = (later, 0);
    while let [(ratio, taps), behind @ ..] = rest {
        let outputs = taps.div_ceil(if *ratio > 0 { *ratio as usize } else { 1 });
        let closes_apart = !behind.is_empty() && outputs > SHORT;
        let closing = if closes_apart { (outputs - 1).div_ceil(MOVED) } else { 0 };
        all += (1 + outputs.div_ceil(ADDED) + closing) * channels;
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

    fn word(&self) -> Phasor {
        let word = |sum: Sum| Word::from_bits(sum.upper);
        Phasor { i: word(self.0.i), q: word(self.0.q) }
    }
}

/// Where work goes on: stage, channel, and piece of its share. In a `u32`: 8, 8 and 16 bits.
#[derive(Clone, Copy)]
struct Place {
    stage: u32,
    channel: u32,
    piece: u32,
}

/// Nothing waits: the first stage is never worked on in pieces.
pub(super) const NOTHING: u32 = 0;
/// The second stage begins.
pub(super) const START: u32 = 1 << 24;

impl Place {
    const fn of(bits: u32) -> Self {
        Self { stage: bits >> 24, channel: bits >> 16 & 0xff, piece: bits & 0xffff }
    }

    const fn to_bits(self) -> u32 {
        self.stage << 24 | self.channel << 16 | self.piece
    }
}

impl<const TAPS: usize, const OPEN: usize> FirChain<TAPS, OPEN> {
    /// Does `pieces` of work on what waits of each channel, or as many as there are. Whether the last stage had an output.
    ///
    /// Formats and rounding are those of all at once.
    #[inline(never)]
    pub(super) fn work(&mut self, waiting: &mut [Waiting], pieces: u32) -> bool {
        let mut place = self.place.get();
        let mut output = false;
        for _ in 0..pieces {
            // A flipped bit may lead beyond the pools: a stage that is out of step for it is noticed with the next reading.
            place = self.piece(waiting, Place::of(place)).unwrap_or(NOTHING);
            output = (place >> 24) as usize >= self.plan.stages.len();
            if output {
                place = NOTHING;
            }
            if place == NOTHING {
                break;
            }
        }
        self.place.set(place);
        output
    }

    /// One piece: where work goes on, [`NOTHING`] when the output has gone as far as it goes, or the stage behind the last.
    #[inline(always)]
    fn piece(&mut self, waiting: &mut [Waiting], place: Place) -> Option<u32> {
        let FirPlan { stages, taps, channels, .. } = &self.plan;
        let number = place.stage as usize;
        let (stage, before) = (stages.get(number)?, stages.get(number.wrapping_sub(1))?);
        let waiting = waiting.get_mut(place.channel as usize)?;
        let next = Place { piece: place.piece + 1, ..place }.to_bits();
        let Some(piece) = (place.piece as usize).checked_sub(1) else {
            let (phasor, beyond) = before.round(&waiting.0);
            waiting.set_word(phasor);
            self.saturated |= beyond;
            return Some(next);
        };

        let position = self.positions.get_mut(number)?;
        let outputs = stage.outputs.max(1);
        // Beyond the ratio only by a flipped bit.
        let at = if *position < stage.ratio { *position } else { 0 };
        let closes = at + 1 >= stage.ratio;
        let first = stage.first_open.wrapping_add((place.channel as usize).wrapping_mul(outputs));
        let open = self.open.room_mut().get_mut(first..first.wrapping_add(outputs))?;
        let from = piece * ADDED;
        let moved = if from < outputs {
            let row = stage.first_tap.wrapping_add((at as usize).wrapping_mul(outputs));
            let taps = taps.room().get(row..row.wrapping_add(outputs))?;
            let to = outputs.min(from + ADDED);
            add(open.get_mut(from..to)?, taps.get(from..to)?, &waiting.word());
            if to < outputs || (closes && outputs > SHORT) {
                return Some(next);
            }
            0
        } else {
            (piece - outputs.div_ceil(ADDED)) * MOVED
        };
        if closes {
            if moved == 0 {
                *waiting = Waiting(*open.first()?);
            }
            // The last that is moved leaves an empty one, which the next piece moves to.
            let to = outputs.min(moved + MOVED + 1);
            move_up(open.get_mut(moved..to)?);
            if to < outputs {
                return Some(next);
            }
        }
        // The channel's share is done.
        if place.channel as usize + 1 < *channels {
            return Some(Place { channel: place.channel + 1, piece: 0, ..place }.to_bits());
        }
        *position = if closes { 0 } else { at + 1 };
        closes.then(|| Place { stage: place.stage + 1, channel: 0, piece: 0 }.to_bits())
    }
}

impl FirStage {
    /// Hands the sums of the output that closes to `waiting`, and moves up those behind it.
    pub(super) fn part(&self, open: &mut [Open], waiting: &mut [Waiting]) {
        let outputs = self.outputs.max(1);
        let open = open.get_mut(self.first_open..).unwrap_or(&mut []);
        for (waiting, open) in waiting.iter_mut().zip(open.chunks_exact_mut(outputs)) {
            *waiting = Waiting(open.first().copied().unwrap_or(Open::NONE));
            move_up(open);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::FirConfig;

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
        chain.plan.pieces -= fewer;
        let interval = ratios.iter().map(|r| usize::from(*r)).product::<usize>();
        let (mut late, mut waiting) = (0, [Waiting::NONE; 5]);
        for n in 1..=2 * interval {
            late += usize::from(n % usize::from(ratios[0]) == 0 && chain.place.get() != NOTHING);
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
