//! **Over-range watch.** Looks for codes at the ends of the converter's range: there the converter
//! clips, and a clipped carrier reads wrong without looking wrong.
//!
//! Looks at the interleaved codes that [`crate::front_end`] is about to mix; its flags go into
//! every reading the codes are part of ([`crate::readout`]).

use crate::config::Watch;
use crate::guard::Checksum;
use crate::word::divide_long;

/// Codes from one that is watched to the next, where not every one is: a prime, so that the watch
/// meets all phases of any shorter carrier period in turn.
pub const SPARSE_STEP: u32 = 251;

/// Channels watched side by side.
const LANES: usize = if cfg!(target_arch = "arm") { 2 } else { 4 };
/// Frames of a turn of the loop.
const BLOCK: usize = 4;

/// Channels that met an end code of the converter or one beyond since the last [`Self::take`].
///
/// In: Q(b-1).0 codes. A code is at an end exactly where its `reach` is 2^(b-1) or more; reaches
/// below that stay below when they are ORed.
#[derive(Clone, Copy, Debug)]
pub struct OverRange<const CHANNELS: usize> {
    /// Bit c: channel c.
    over: u32,
    channels: usize,
    /// b - 1.
    limit: u32,
    /// Frames from one watched to the next, and to the next one watched.
    step: u32,
    wait: u32,
}

impl<const CHANNELS: usize> OverRange<CHANNELS> {
    /// Of no plan.
    pub(crate) const IDLE: Self = Self { over: 0, channels: 0, limit: 0, step: 0, wait: 0 };

    /// A watch over `channels` channels, 1 to 32, of codes of 1 to 32 bits.
    #[must_use]
    pub const fn new(channels: usize, code_bits: u32, watch: Watch) -> Self {
        let step = match watch {
            Watch::EverySample => 1,
            Watch::Sparse => SPARSE_STEP,
        };
        let limit = if code_bits > 32 { 31 } else { code_bits.saturating_sub(1) };
        Self { over: 0, channels: bounded(channels), limit, step, wait: 0 }
    }

    /// Forgets what was seen; the next frame is number `sample` of the run.
    pub fn seek(&mut self, sample: u64) {
        self.over = 0;
        self.align(sample);
    }

    /// The next frame is number `sample` of the run: changes nothing where that is known.
    pub fn align(&mut self, sample: u64) {
        let past = divide_long(sample, self.step.into()).1 as u32;
        self.wait = if past == 0 { 0 } else { self.step - past };
    }

    /// Looks at whole frames. Which codes are watched follows from the run alone, not from how it
    /// is cut. `sized`: as many channels as there is room for, a constant for the compiler.
    #[inline(always)]
    pub fn push(&mut self, frames: &[i32], sized: bool) {
        // A firmware's readout, sized for its sensor, has a constant stride.
        match (self.step > 1, sized || self.channels == CHANNELS) {
            (true, true) => self.push_sparse::<CHANNELS>(frames),
            (true, false) => self.push_sparse::<0>(frames),
            (false, true) => self.push_all::<CHANNELS>(frames),
            (false, false) => self.push_all::<0>(frames),
        }
    }

    /// Sums up what never changes.
    pub fn check(&self, sum: &mut Checksum) {
        sum.add_size(self.channels);
        sum.add(self.limit);
        sum.add(self.step);
    }

    /// Channels that met an end code or one beyond since the last call: bit c for channel c.
    pub fn take(&mut self) -> u32 {
        core::mem::take(&mut self.over)
    }

    #[inline(never)]
    fn push_sparse<const STRIDE: usize>(&mut self, frames: &[i32]) {
        let channels = if STRIDE > 0 { STRIDE } else { self.bounded() };
        // Beyond a step only by a flipped bit.
        let wait = if self.wait < SPARSE_STEP { self.wait } else { 0 };
        let mut at = wait as usize * channels;
        while let Some(frame) = frames.get(at..).and_then(|f| f.get(..channels)) {
            if frame.iter().fold(0, |all, &code| all | reach(code)) >> self.limit != 0 {
                (0..).zip(frame).for_each(|(channel, &code)| self.note(channel, reach(code)));
            }
            at += SPARSE_STEP as usize * channels;
        }
        // Not whole frames: the rest was not looked at.
        self.wait = at.saturating_sub(frames.len()).checked_div(channels).unwrap_or(0) as u32;
    }

    /// Every code, [`LANES`] channels at a time; the last ones overlap, which changes no flag.
    fn push_all<const STRIDE: usize>(&mut self, frames: &[i32]) {
        let channels = if STRIDE > 0 { STRIDE } else { self.bounded() };
        let mut first = 0;
        while first < channels {
            if channels >= LANES {
                let first = first.min(channels - LANES);
                self.push_lanes::<LANES, STRIDE>(frames, first);
            } else {
                self.push_lanes::<1, STRIDE>(frames, first);
            }
            first += if channels >= LANES { LANES } else { 1 };
        }
    }

    #[inline(never)]
    fn push_lanes<const L: usize, const STRIDE: usize>(&mut self, frames: &[i32], first: usize) {
        let stride = if STRIDE > 0 { STRIDE } else { self.bounded() };
        let mut all = [0; L];
        let mut look = |frame: Option<&[i32]>| {
            if let Some(codes) = frame.and_then(|f| f.first_chunk::<L>()) {
                all.iter_mut().zip(codes).for_each(|(all, &code)| *all |= reach(code));
            }
        };
        let mut blocks = frames.chunks_exact((BLOCK * stride).max(1));
        for block in &mut blocks {
            for n in 0..BLOCK {
                look(block.get(n * stride + first..));
            }
        }
        for frame in blocks.remainder().chunks_exact(stride.max(1)) {
            look(frame.get(first..));
        }
        all.iter().enumerate().for_each(|(lane, all)| self.note(first + lane, *all));
    }

    /// Channels: none, or more than there can be, only by a flipped bit.
    fn bounded(&self) -> usize {
        bounded(self.channels)
    }

    #[inline(always)]
    fn note(&mut self, channel: usize, reached: i32) {
        self.over |= u32::from(reached >> self.limit != 0) << (channel & 31);
    }
}

/// Within what there can be, 1 to 32.
const fn bounded(channels: usize) -> usize {
    match channels {
        0 => 1,
        1..=32 => channels,
        _ => 32,
    }
}

/// |code|, for negatives less one, plus one: 2^(b-1) or more exactly for the two end codes of
/// a b-bit converter and all beyond.
#[inline(always)]
const fn reach(code: i32) -> i32 {
    (code ^ (code >> 31)).wrapping_add(1)
}
