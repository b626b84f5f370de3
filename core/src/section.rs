//! **Sections**: the stretches of an interval whose sums fit their words, and what is shared by the two
//! ways to these sums.

mod bounds;
mod folding;

use crate::carrier::CarrierRatio;
use crate::cic::{Cic, IntervalWeights};
use crate::error::ConfigError;
use crate::guard::Checksum;
use crate::over_range::Ends;
use crate::phasor::Phasor;
use crate::word::{Register, Shift, Word};

#[cfg(test)]
pub(crate) use bounds::pascal;
pub(crate) use bounds::sum_bound;
pub use folding::{Folding, MAX_COLUMNS};

/// How an interval is cut into sections; the plan alone decides.
#[derive(Clone, Copy, Debug)]
pub struct Sections {
    /// Carrier over sample rate.
    pub carrier: CarrierRatio,
    /// Channels of a frame.
    pub channels: usize,
    /// How the plan folds; `None` where it mixes sample by sample.
    pub folded: Option<Folding>,
    /// Fraction bits of the carrier's cosines.
    pub fraction_bits: u32,
    /// Of the CIC.
    pub order: u32,
    /// Samples of a whole section and of an interval's last one.
    pub whole: u32,
    /// See `whole`.
    pub last: u32,
}

/// What a plan does with the sums of its sections, which never changes.
#[derive(Clone, Copy, Debug)]
pub struct SectionWeights<const ORDER: usize> {
    /// Integrator weights of a whole section and of an interval's last one.
    pub whole: [i64; ORDER],
    /// See `whole`.
    pub last: [i64; ORDER],
    /// Of the interval.
    pub interval: IntervalWeights<ORDER>,
    /// From the register to words.
    pub shift: Shift,
    /// Bits of the sums that the register does without.
    pub pruned: u32,
}

impl<const ORDER: usize> SectionWeights<ORDER> {
    /// Of no plan.
    pub(crate) const NONE: Self = Self {
        whole: [0; ORDER],
        last: [0; ORDER],
        interval: IntervalWeights::NONE,
        shift: Shift::NONE,
        pruned: 0,
    };
}

/// What becomes of a section's sums.
#[derive(Clone, Copy, Debug)]
pub struct SectionEnd<'a, const ORDER: usize> {
    /// Whether the section is its interval's first, and its last.
    pub first: bool,
    /// See `first`.
    pub last: bool,
    /// Samples of the section.
    pub length: u32,
    /// See [`SectionWeights`].
    pub weights: &'a SectionWeights<ORDER>,
}

impl<const ORDER: usize> SectionEnd<'_, ORDER> {
    /// Of the usual filter with one section an interval, R; else zero. Then [`Self::take`] is a tenth as long.
    #[inline(always)]
    pub fn usual(&self) -> u32 {
        if self.first && self.last && self.weights.pruned == 0 {
            self.weights.interval.usual()
        } else {
            0
        }
    }

    /// Hands a component's sums to its `cic`: the decimated word where the section is an interval's
    /// last, else zero; whether the word had to saturate. `usual` is [`Self::usual`].
    #[inline(always)]
    pub fn take<R: Register>(
        &self,
        usual: u32,
        cic: &mut Cic<R, ORDER>,
        sums: [R; ORDER],
    ) -> (Word, bool) {
        if usual > 0 {
            cic.decimate_usual(&sums, usual).to_word(self.weights.shift)
        } else {
            self.take_any(cic, sums)
        }
    }

    #[inline(never)]
    fn take_any<R: Register>(&self, cic: &mut Cic<R, ORDER>, sums: [R; ORDER]) -> (Word, bool) {
        let Self { first, last, weights, .. } = *self;
        let sums = if R::PRUNES && weights.pruned > 0 {
            sums.map(|sum| sum.pruned(weights.pruned))
        } else {
            sums
        };
        if last {
            cic.decimate(first, sums, &weights.last, &weights.interval).to_word(weights.shift)
        } else {
            cic.advance(first, sums, &weights.whole);
            (Word::ZERO, false)
        }
    }
}

/// Mixes samples and gathers what a CIC's integrators would hold of a section.
///
/// [`crate::fold::Fold`], [`crate::mixer::Mixer`] or, chosen by the plan at run time,
/// [`crate::front_end::way::AnyWay`]. All give the same words for
/// plans they take; naming one saves the flash of the other.
pub trait Way<const ORDER: usize>: Sized + Clone + core::fmt::Debug {
    /// Made for as many channels as there is room for, and no other number.
    const SIZED: bool;

    /// What a plan never changes, worked out once: by the compiler where the plan is constant
    /// ([`crate::plan`]).
    type Tables: Copy + core::fmt::Debug;

    /// Works out the tables for the sections of a plan.
    ///
    /// # Errors
    /// [`ConfigError`] when they exceed the capacity, or the plan takes the other way.
    fn tables(sections: &Sections) -> Result<Self::Tables, ConfigError>;

    /// Without a plan: zeros throughout.
    const IDLE: Self;

    /// Takes a plan's tables; sums are empty, sample 0 is next.
    fn load(&mut self, tables: &Self::Tables);

    /// Whether the carrier is folded (no multiplication per sample).
    fn is_folded(&self) -> bool;

    /// Empties the sums; the running section starts at sample `section_start` of the run.
    fn seek(&mut self, section_start: u64);

    /// The next section starts at sample `section_start` of the run: changes nothing where that is
    /// known.
    fn align(&mut self, section_start: u64);

    /// Adds whole frames, all of the running section of `length` samples, from its sample `into` on. Any cut gives
    /// the same bits. What was seen of all their codes ([`Ends::look`]).
    fn push(&mut self, frames: &[i32], into: u32, length: u32, ends: Ends) -> i32;

    /// Sums up what never changes.
    fn check(&self, sum: &mut Checksum);

    /// Ends the section: hands each channel's sums, in-phase and quadrature, to its `cics` and
    /// writes the words to `out`; whether a word had to saturate.
    fn finish<R: Register>(
        &mut self,
        end: SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> bool;
}
