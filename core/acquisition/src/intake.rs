//! **Intake**: blocks into the chain. What is missing before a block becomes a gap that the chain settles behind, with the time
//! stamps and carrier phase of the samples that are there; what is wrong with the codes flags the readings made of them.

use crate::blocks::Block;
use crate::faults::Faults;
use crate::timeline::{Clock, Timeline};
use crate::watch::{Limits, Watch};
use quietgap_core::{Chain, Health, Reading};

/// What an intake judges by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// How time is told.
    pub clock: Clock,
    /// From when on a channel is not as it should be.
    pub limits: Limits,
}

/// What an intake tells.
#[derive(Clone, Copy, Debug)]
pub enum Event<'a> {
    /// A reading, and the faults of what came since the one before, with the channels that had them.
    Reading(&'a Reading, Faults, u32),
    /// Samples from the first number up to, not including, the second did not reach the chain.
    Gap(u64, u64),
}

/// From blocks of `CHANNELS` channels to a chain.
#[derive(Clone, Copy, Debug)]
pub struct Intake<const CHANNELS: usize> {
    timeline: Timeline,
    watch: Watch<CHANNELS>,
    /// The chain's next sample, and what to add to a block's numbers to have its own.
    next: u64,
    shift: i64,
    started: bool,
    /// Since the last reading.
    faults: Faults,
    channels: u32,
    lost_blocks: u64,
}

impl<const CHANNELS: usize> Intake<CHANNELS> {
    /// Before the first block.
    #[must_use]
    pub const fn new(settings: Settings) -> Self {
        Self {
            timeline: Timeline::new(settings.clock),
            watch: Watch::new(settings.limits),
            next: 0,
            shift: 0,
            started: false,
            faults: Faults::NONE,
            channels: 0,
            lost_blocks: 0,
        }
    }

    /// Blocks lost since the start.
    #[must_use]
    pub const fn lost_blocks(&self) -> u64 {
        self.lost_blocks
    }

    /// The chain's next sample.
    #[must_use]
    pub const fn next_sample(&self) -> u64 {
        self.next
    }

    /// A fault found in frames on their way into a block ([`crate::layout`]).
    pub fn note(&mut self, faults: Faults) {
        self.faults |= faults;
    }

    /// Frames that a frame's own counter says are missing before the next block; below zero, that came twice.
    pub fn missing(&mut self, frames: i64) {
        self.shift = self.shift.wrapping_add(frames);
        self.faults |=
            Faults::when(Faults::MISSED, frames > 0) | Faults::when(Faults::REPEATED, frames < 0);
    }

    /// Takes a block, of whole frames: `chain` gets its codes, `tell` what comes of it.
    pub fn take(
        &mut self,
        block: &Block<'_>,
        chain: &mut impl Chain,
        tell: &mut dyn FnMut(Event<'_>),
    ) {
        let frames = block.codes.len().checked_div(CHANNELS).unwrap_or(0);
        if block.lost > 0 {
            self.lost_blocks += u64::from(block.lost);
            self.faults |= Faults::LATE;
        }
        // Of a lost block the time is not lost: its frames have passed.
        let passed = u64::from(block.lost).wrapping_add(1).wrapping_mul(frames as u64);
        let judged = self.timeline.block(block.stamp, passed.min(u32::MAX.into()) as u32);
        self.faults |= judged.faults;
        self.shift = self.shift.wrapping_add(judged.missing);
        let verdict = self.watch.block(block.codes);
        self.faults |= verdict.faults;
        self.channels |= verdict.channels;

        let first = block.first.wrapping_add_signed(self.shift);
        let mut codes: &[i32] = block.codes;
        if !self.started {
            self.started = true;
            self.next = first;
            chain.seek(first);
        } else if first > self.next {
            tell(Event::Gap(self.next, first));
            self.next = first;
            chain.seek(first);
        } else if first < self.next {
            // What came twice has been told of as another sample: from here on numbers are right again, and no reading
            // comes twice.
            let twice = (self.next - first).min(frames as u64);
            codes = codes.get(twice as usize * CHANNELS..).unwrap_or(&[]);
            chain.seek(self.next);
        }
        self.next = self.next.wrapping_add(codes.len().checked_div(CHANNELS).unwrap_or(0) as u64);
        chain.flag(Health::when(Health::ACQUISITION, !self.faults.is_none()));
        let (faults, channels) = (&mut self.faults, &mut self.channels);
        chain.push(codes, &mut |reading| {
            tell(Event::Reading(reading, core::mem::take(faults), core::mem::take(channels)));
        });
    }
}
