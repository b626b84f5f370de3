//! **Watch over channels**: which of them stand still, are silent, shorted or swapped, or have jumped. One frame in [`STRIDE`] is
//! looked at, which is some 0.05 instructions a code; a verdict falls on every few looks.
//!
//! - *Stuck*: all codes looked at are one.
//! - *Silent*: they lie within less than the channel's own noise spreads them.
//! - *Shorted*: two neighbours' codes differ by the same, within less than two noises that are not one spread it. A difference of
//!   offsets is no matter, and bridges that read alike still have noises of their own.
//! - *Jumped*: the carrier in a channel is not what it was a verdict before, by more than any mass moves: a carrier that is gone,
//!   that slipped or turned round, an electrode that came off. It is told until the carrier is back, or the watch begins anew: whoever
//!   moved the mass on purpose says so by that.
//! - *Swapped*: it jumped to where another channel's was.
//!
//! The carrier in a channel is measured by its codes' sums against a square wave of its phase, and one a quarter turn behind: sums of
//! whole periods, where looks are as many, know no offset.
//!
//! What no code can tell is not found: channels swapped whose carriers differ by less than the limit, or swapped before the
//! first verdict (a converter that sends the number of a channel tells these, [`crate::layout`]).

use crate::faults::Faults;
use quietgap_core::{Carrier, CarrierRatio};

/// Frames from look to look: a prime, so that looks fall on all phases of a carrier.
pub const STRIDE: usize = 509;

/// The square waves are ahead of the carrier by so little of a turn, no simple part of it: else samples would stand on their edges,
/// and fall to either side.
const AHEAD: u64 = 0x0061_c886_4680_b583;

/// From when on a channel is not as it should be, in codes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Looks of a verdict, 2 to 65535: whole carrier periods, if jumps are to be told.
    pub looks: u16,
    /// Codes that spread over less are silent; 0 and none is.
    pub least_spread: u32,
    /// Neighbours whose difference spreads over less are shorted; 0 and none is.
    pub least_difference: u32,
    /// A carrier whose mean size moved by less has not jumped; 0 and none has.
    pub most_step: u32,
}

/// One channel since the last verdict, and at the one before.
///
/// Sums of at most 65535 codes below 2^31: below 2^47 in `i64`.
#[derive(Clone, Copy, Debug)]
struct Channel {
    least: i32,
    most: i32,
    /// Of its code less the next channel's.
    least_difference: i64,
    most_difference: i64,
    /// In phase and in quadrature with square waves.
    carrier: [i64; 2],
    /// The same at the last verdict before it jumped.
    before: Option<[i64; 2]>,
}

impl Channel {
    const NEW: Self = Self {
        least: i32::MAX,
        most: i32::MIN,
        least_difference: i64::MAX,
        most_difference: i64::MIN,
        carrier: [0; 2],
        before: None,
    };

    fn spread(&self) -> u64 {
        i64::from(self.most).abs_diff(self.least.into())
    }

    fn difference_spread(&self) -> u64 {
        self.most_difference.abs_diff(self.least_difference)
    }

    /// Whether its carrier is not what it was.
    fn jumped(&self, most: u64) -> bool {
        most > 0 && self.before.is_some_and(|before| self.away(before) > most)
    }

    /// How far its carrier is from another.
    fn away(&self, [i, q]: [i64; 2]) -> u64 {
        self.carrier[0].abs_diff(i) + self.carrier[1].abs_diff(q)
    }
}

/// Faults of some channels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Verdict {
    /// [`Faults::STUCK`], [`Faults::SILENT`], [`Faults::SHORTED`], [`Faults::JUMPED`],
    /// [`Faults::SWAPPED`].
    pub faults: Faults,
    /// Bit c: of channel c.
    pub channels: u32,
}

/// Looks at up to `CHANNELS` channels.
#[derive(Clone, Copy, Debug)]
pub struct Watch<const CHANNELS: usize> {
    channels: [Channel; CHANNELS],
    limits: Limits,
    /// Phase of a sample, 2^-64 turns.
    step: u64,
    /// Frames until the next look, and looks until the next verdict.
    until: usize,
    left: u16,
    /// The last verdict, which stands until the next.
    verdict: Verdict,
}

impl<const CHANNELS: usize> Watch<CHANNELS> {
    /// Before the first code.
    #[must_use]
    pub const fn new(limits: Limits, carrier: CarrierRatio) -> Self {
        let mut carrier = Carrier::new(carrier);
        carrier.advance(1);
        Self::with(limits, carrier.phase())
    }

    const fn with(limits: Limits, step: u64) -> Self {
        let left = if limits.looks < 2 { 2 } else { limits.looks };
        let verdict = Verdict { faults: Faults::NONE, channels: 0 };
        Self { channels: [Channel::NEW; CHANNELS], limits, step, until: 0, left, verdict }
    }

    /// Forgets all codes, and where each channel was.
    pub fn restart(&mut self) {
        *self = Self::with(self.limits, self.step);
    }

    /// Looks at some frames of a block of interleaved codes that begins with frame `first` of the run; the verdict as it stands then.
    pub fn block(&mut self, codes: &[i32], first: u64) -> Verdict {
        let frames = codes.len().checked_div(CHANNELS).unwrap_or(0);
        let mut at = self.until;
        while at < frames {
            if let Some(frame) = codes.get(at * CHANNELS..(at + 1) * CHANNELS) {
                // To a few parts in 2^24 of a turn for as many samples as a century has.
                let phase = first.wrapping_add(at as u64).wrapping_mul(self.step);
                self.look(frame, phase);
            }
            at += STRIDE;
        }
        self.until = at - frames;
        self.verdict
    }

    fn look(&mut self, frame: &[i32], phase: u64) {
        look(&mut self.channels, frame, phase);
        self.left = self.left.saturating_sub(1);
        if self.left == 0 {
            self.left = self.limits.looks.max(2);
            self.verdict = judge(&mut self.channels, &self.limits);
        }
    }
}

/// One frame.
#[inline(never)]
fn look(channels: &mut [Channel], frame: &[i32], phase: u64) {
    let phase = phase.wrapping_add(AHEAD);
    // All bits where the square waves are below zero: cosine between a quarter turn and three, sine behind the half.
    let quarter = phase.wrapping_add(1 << 62).cast_signed() >> 63;
    let half = phase.cast_signed() >> 63;
    let next = frame.iter().skip(1).map(Some).chain([None]);
    for ((channel, code), next) in channels.iter_mut().zip(frame).zip(next) {
        channel.least = channel.least.min(*code);
        channel.most = channel.most.max(*code);
        let code = i64::from(*code);
        channel.carrier[0] += (code ^ quarter) - quarter;
        channel.carrier[1] += (code ^ half) - half;
        if let Some(next) = next {
            let difference = code - i64::from(*next);
            channel.least_difference = channel.least_difference.min(difference);
            channel.most_difference = channel.most_difference.max(difference);
        }
    }
}

/// The verdict on `channels`, which begin anew.
#[inline(never)]
fn judge(channels: &mut [Channel], limits: &Limits) -> Verdict {
    let most = u64::from(limits.most_step) * u64::from(limits.looks.max(2));
    let mut verdict = Verdict::default();
    let mut tell = |fault, channels: u32| {
        verdict.faults |= fault;
        verdict.channels |= channels;
    };
    let last = channels.len().wrapping_sub(1);
    for (number, channel) in channels.iter().enumerate() {
        let own = 1u32 << (number & 31);
        let spread = channel.spread();
        if spread == 0 {
            tell(Faults::STUCK, own);
        } else if spread < u64::from(limits.least_spread) {
            tell(Faults::SILENT, own);
        }
        if spread > 0
            && number != last
            && channel.difference_spread() < u64::from(limits.least_difference)
        {
            tell(Faults::SHORTED, own | own << 1);
        }
        if channel.jumped(most) {
            let anothers = |other: &Channel| other.before.is_some_and(|b| channel.away(b) < most);
            let swapped = channels.iter().any(anothers);
            tell(Faults::JUMPED | Faults::when(Faults::SWAPPED, swapped), own);
        }
    }
    for channel in channels {
        let before = if channel.jumped(most) { channel.before } else { Some(channel.carrier) };
        *channel = Channel { before, ..Channel::NEW };
    }
    verdict
}
