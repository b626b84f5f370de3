//! **Watch over channels**: which of them stand still, are silent, shorted or swapped. One frame in [`STRIDE`] is looked at, which
//! is some 0.05 instructions a code; a verdict falls on every few looks.
//!
//! - *Stuck*: all codes looked at are one.
//! - *Silent*: they lie within less than the channel's own noise spreads them.
//! - *Shorted*: two neighbours' codes differ by the same, within less than two noises that are not one spread it. A difference of
//!   offsets is no matter, and bridges that read alike still have noises of their own.
//! - *Swapped*: a channel's mean and mean size have left those of the verdict before, and are those that another channel had.
//!
//! What no code can tell is not found: channels swapped that carry signals as large as each other with offsets as large, or swapped
//! before the first verdict (a converter that sends the number of a channel tells these, [`crate::layout`]).

use crate::faults::Faults;

/// Frames from look to look: a prime, so that looks fall on all phases of a carrier.
pub const STRIDE: usize = 509;

/// From when on a channel is not as it should be, in codes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Looks of a verdict, 2 to 65535; whole carrier periods give steady means.
    pub looks: u16,
    /// Codes that spread over less are silent; 0 and none is.
    pub least_spread: u32,
    /// Neighbours whose difference spreads over less are shorted; 0 and none is.
    pub least_difference: u32,
    /// Means that moved by less have not; 0 and no channel is swapped.
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
    sum: i64,
    size: i64,
    before: Option<[i64; 2]>,
}

impl Channel {
    const NEW: Self = Self {
        least: i32::MAX,
        most: i32::MIN,
        least_difference: i64::MAX,
        most_difference: i64::MIN,
        sum: 0,
        size: 0,
        before: None,
    };

    fn spread(&self) -> u64 {
        i64::from(self.most).abs_diff(self.least.into())
    }

    fn difference_spread(&self) -> u64 {
        self.most_difference.abs_diff(self.least_difference)
    }

    /// How far its sums are from others.
    fn away(&self, [sum, size]: [i64; 2]) -> u64 {
        self.sum.abs_diff(sum) + self.size.abs_diff(size)
    }
}

/// Faults of some channels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Verdict {
    /// [`Faults::STUCK`], [`Faults::SILENT`], [`Faults::SHORTED`], [`Faults::SWAPPED`].
    pub faults: Faults,
    /// Bit c: of channel c.
    pub channels: u32,
}

/// Looks at up to `CHANNELS` channels.
#[derive(Clone, Copy, Debug)]
pub struct Watch<const CHANNELS: usize> {
    channels: [Channel; CHANNELS],
    limits: Limits,
    /// Frames until the next look, and looks until the next verdict.
    until: usize,
    left: u16,
    /// The last verdict, which stands until the next.
    verdict: Verdict,
}

impl<const CHANNELS: usize> Watch<CHANNELS> {
    /// Before the first code.
    #[must_use]
    pub const fn new(limits: Limits) -> Self {
        let left = if limits.looks < 2 { 2 } else { limits.looks };
        let verdict = Verdict { faults: Faults::NONE, channels: 0 };
        Self { channels: [Channel::NEW; CHANNELS], limits, until: 0, left, verdict }
    }

    /// Forgets all codes, and where each channel was.
    pub fn restart(&mut self) {
        *self = Self::new(self.limits);
    }

    /// Looks at some frames of a block of interleaved codes; the verdict as it stands then.
    pub fn block(&mut self, codes: &[i32]) -> Verdict {
        let frames = codes.len().checked_div(CHANNELS).unwrap_or(0);
        let mut at = self.until;
        while at < frames {
            if let Some(frame) = codes.get(at * CHANNELS..(at + 1) * CHANNELS) {
                self.look(frame);
            }
            at += STRIDE;
        }
        self.until = at - frames;
        self.verdict
    }

    fn look(&mut self, frame: &[i32]) {
        look(&mut self.channels, frame);
        self.left = self.left.saturating_sub(1);
        if self.left == 0 {
            self.left = self.limits.looks.max(2);
            self.verdict = judge(&mut self.channels, &self.limits);
        }
    }
}

/// One frame.
#[inline(never)]
fn look(channels: &mut [Channel], frame: &[i32]) {
    let next = frame.iter().skip(1).map(Some).chain([None]);
    for ((channel, code), next) in channels.iter_mut().zip(frame).zip(next) {
        channel.least = channel.least.min(*code);
        channel.most = channel.most.max(*code);
        channel.sum += i64::from(*code);
        channel.size += i64::from(code.unsigned_abs());
        if let Some(next) = next {
            let difference = i64::from(*code) - i64::from(*next);
            channel.least_difference = channel.least_difference.min(difference);
            channel.most_difference = channel.most_difference.max(difference);
        }
    }
}

/// The verdict on `channels`, which begin anew.
#[inline(never)]
fn judge(channels: &mut [Channel], limits: &Limits) -> Verdict {
    let looks = u64::from(limits.looks.max(2));
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
        let Some(before) = channel.before else { continue };
        let (away, most) = (channel.away(before), u64::from(limits.most_step) * looks);
        let anothers = |other: &Channel| other.before.is_some_and(|b| 8 * channel.away(b) < away);
        if most > 0 && away > most && channels.iter().any(anothers) {
            tell(Faults::SWAPPED, own);
        }
    }
    let swapped = verdict.faults.has(Faults::SWAPPED);
    for channel in channels {
        // Where channels are swapped the places that they had are kept: the fault stands until they are back.
        let before = if swapped { channel.before } else { Some([channel.sum, channel.size]) };
        *channel = Channel { before, ..Channel::NEW };
    }
    verdict
}
