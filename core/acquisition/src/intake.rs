//! **Intake**: blocks into the chain. What is missing before a block becomes a gap that the chain settles behind, with the time
//! stamps and carrier phase of the samples that are there; what is wrong with the codes flags the readings made of them.

use crate::blocks::Block;
use crate::faults::Faults;
use crate::timeline::{Clock, Timeline};
use crate::watch::{Limits, Verdict, Watch};
use quietgap_core::{CarrierRatio, Chain, Health, Reading};

/// What an intake judges by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// How time is told.
    pub clock: Clock,
    /// From when on a channel is not as it should be.
    pub limits: Limits,
    /// The carrier that the chain demodulates by.
    pub carrier: CarrierRatio,
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
    watch: Watch<CHANNELS>,
    course: Course,
}

impl<const CHANNELS: usize> Intake<CHANNELS> {
    /// Before the first block.
    #[must_use]
    pub const fn new(settings: Settings) -> Self {
        Self {
            watch: Watch::new(settings.limits, settings.carrier),
            course: Course::new(settings.clock),
        }
    }

    /// Blocks lost since the start.
    #[must_use]
    pub const fn lost_blocks(&self) -> u64 {
        self.course.lost_blocks
    }

    /// The mass was moved on purpose, or a cable: what the channels were is forgotten.
    pub fn restart_watch(&mut self) {
        self.watch.restart();
    }

    /// The chain's next sample.
    #[must_use]
    pub const fn next_sample(&self) -> u64 {
        self.course.next
    }

    /// A fault found in frames on their way into a block ([`crate::layout`]).
    pub fn note(&mut self, faults: Faults) {
        self.course.verdict.faults |= faults;
    }

    /// Frames that a frame's own counter says are missing before the next block; below zero, that came twice.
    pub fn missing(&mut self, frames: i64) {
        self.course.missing(frames);
    }

    /// Takes a block, of whole frames: `chain` gets its codes, `tell` what comes of it.
    pub fn take(
        &mut self,
        block: &Block<'_>,
        chain: &mut dyn Chain,
        tell: &mut dyn FnMut(Event<'_>),
    ) {
        let verdict = self.watch.block(block.codes, self.course.first(block));
        self.course.take(block, CHANNELS, verdict, chain, tell);
    }
}

/// Numbers of samples, and what was found since the last reading.
#[derive(Clone, Copy, Debug)]
struct Course {
    timeline: Timeline,
    /// The chain's next sample, and what to add to a block's numbers to have its own.
    next: u64,
    shift: i64,
    started: bool,
    verdict: Verdict,
    lost_blocks: u64,
}

impl Course {
    const fn new(clock: Clock) -> Self {
        Self {
            timeline: Timeline::new(clock),
            next: 0,
            shift: 0,
            started: false,
            verdict: Verdict { faults: Faults::NONE, channels: 0 },
            lost_blocks: 0,
        }
    }

    /// Number of a block's first frame, as far as is known.
    const fn first(&self, block: &Block<'_>) -> u64 {
        block.first.wrapping_add_signed(self.shift)
    }

    fn missing(&mut self, frames: i64) {
        self.shift = self.shift.wrapping_add(frames);
        self.verdict.faults |=
            Faults::when(Faults::MISSED, frames > 0) | Faults::when(Faults::REPEATED, frames < 0);
    }

    #[inline(never)]
    fn take(
        &mut self,
        block: &Block<'_>,
        channels: usize,
        verdict: Verdict,
        chain: &mut dyn Chain,
        tell: &mut dyn FnMut(Event<'_>),
    ) {
        let frames = block.codes.len().checked_div(channels).unwrap_or(0);
        self.verdict.faults |= verdict.faults | Faults::when(Faults::LATE, block.lost > 0);
        self.verdict.channels |= verdict.channels;
        self.lost_blocks += u64::from(block.lost);
        // Of a lost block the time is not lost: its frames have passed.
        let passed = (frames as u32).wrapping_mul(block.lost.wrapping_add(1));
        let judged = self.timeline.block(block.stamp, passed);
        self.verdict.faults |= judged.faults;
        self.shift = self.shift.wrapping_add(judged.missing);

        let first = self.first(block);
        let mut twice = 0;
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
            twice = (self.next - first).min(frames as u64) as usize;
            chain.seek(self.next);
        }
        self.next = self.next.wrapping_add((frames - twice) as u64);
        chain.flag(Health::when(Health::ACQUISITION, !self.verdict.faults.is_none()));
        let codes = block.codes.get(twice * channels..).unwrap_or(&[]);
        let verdict = &mut self.verdict;
        chain.push(codes, &mut |reading| {
            let Verdict { faults, channels } = core::mem::take(verdict);
            tell(Event::Reading(reading, faults, channels));
        });
    }
}
