//! **Front end.** Converter codes to decimated phasors: mixing and the first decimation,
//! by the way that suits the carrier.
//!
//! Receives interleaved codes from [`crate::readout`], hands a [`Phasor`] per channel to
//! [`crate::fir`]. Both ways, [`crate::fold`] and [`crate::mixer`], feed the same
//! [`crate::cic`] and obey the same contract: for a channel x,
//!
//! y\[k\] = 2^-s sum_n h\[(k+1) R - 1 - n\] x\[n\] e^(-i 2 pi f_c n / f_s)
//!
//! with h the impulse response of a CIC (order N, ratio R, differential delay M), h's sum
//! (R M)^N, and one rounding, half to even, into Q12.52 (with pruning one more, of each section
//! sum). The shift s makes a full-scale carrier between 0.5 and 1.0 ([`words_per_code`] tells the
//! exact factor).

mod plan;
pub mod way;

pub use plan::{
    FrontEndPlan, MAX_RATIO, folding, fraction_bits, register_bits, section_length, word_shift,
    words_per_code,
};

use crate::carrier::CarrierRatio;
use crate::cic::{Cic, CicBank};
use crate::config::FrontEndConfig;
use crate::error::ConfigError;
use crate::guard::{Checksum, Voted};
use crate::list::List;
use crate::over_range::OverRange;
use crate::phasor::Phasor;
use crate::section::{SectionEnd, Way};
use crate::word::{Register, divide_long};
use plan::Constants;
use way::AnyWay;

/// What a front end tells of its interval beside the phasors.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Interval {
    /// Bit c: channel c met an over-range code.
    pub over_range: u32,
    /// A word had to saturate.
    pub saturated: bool,
}

/// Mixer and first decimation of all channels.
///
/// `R` is the CIC's register: `i64` on a board ([`crate::word::Pruned`] for a plan that prunes),
/// `i128` for any plan. `W` is the [`Way`]: by default
/// the plan decides; firmware for one sensor names its own.
#[derive(Clone, Debug)]
pub struct FrontEnd<
    R,
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    W = AnyWay<ORDER, CHANNELS, COLUMNS>,
> {
    watch: OverRange,
    way: W,
    cics: CicBank<R, ORDER, CHANNELS>,
    constants: Constants<ORDER>,
    /// Frames of the running interval taken.
    at: Voted<u32>,
}

impl<R: Register, const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize, W: Way<ORDER>>
    FrontEnd<R, ORDER, CHANNELS, COLUMNS, W>
{
    /// Checks the plan of the first decimation and starts it.
    ///
    /// # Errors
    /// Those of [`FrontEndPlan::new`] and [`Way::tables`].
    pub fn new(
        carrier: CarrierRatio,
        config: FrontEndConfig,
        channels: usize,
        code_bits: u32,
    ) -> Result<Self, ConfigError> {
        let plan = FrontEndPlan::new::<R>(carrier, config, channels, code_bits)?;
        let tables = W::tables(plan.tables())?;
        let mut front_end = Self::IDLE;
        front_end.load(&plan.with(tables));
        Ok(front_end)
    }

    /// Without a plan: zeros throughout.
    pub const IDLE: Self = Self {
        watch: OverRange::IDLE,
        way: W::IDLE,
        cics: List::empty([Cic::IDLE; 2]),
        constants: Constants::NONE,
        at: Voted::new(0),
    };

    /// Takes a plan; at rest, before sample 0.
    pub fn load(&mut self, plan: &FrontEndPlan<ORDER, CHANNELS, W::Tables>) {
        self.watch = plan.watch;
        self.way.load(&plan.tables);
        self.cics.refill([Cic::IDLE; 2], plan.channels);
        self.constants = plan.constants;
        self.at.set(0);
    }

    /// Whether the carrier is folded (no multiplication per sample).
    #[must_use]
    pub fn is_folded(&self) -> bool {
        self.way.is_folded()
    }

    /// Length of the impulse response, samples: N (R M - 1) + 1.
    #[must_use]
    pub const fn span(&self) -> u64 {
        self.constants.span()
    }

    /// Decimation ratio.
    #[must_use]
    pub const fn ratio(&self) -> u32 {
        self.constants.ratio
    }

    /// Forgets all samples; the next frame is number `sample` of the run. Frames between the
    /// start of its interval and itself count as zero.
    ///
    /// Returns the sample from which on nothing of the time before is in the sums: `sample`
    /// itself when folded. The mixed way rounds once a section, and that rounding knows the
    /// section's lost samples and outlasts them by N - 1: the next section's start and N - 1.
    pub fn seek(&mut self, sample: u64) -> u64 {
        let Constants { ratio, section, .. } = self.constants;
        let position = divide_long(sample, ratio.into()).1 as u32;
        let into = position.checked_rem(section).unwrap_or(0);
        self.watch.seek();
        self.way.seek(sample - u64::from(into));
        self.cics.fill([Cic::IDLE; 2]);
        self.at.set(position);
        if self.is_folded() || sample == 0 {
            return sample;
        }
        let section = section.min(ratio - (position - into));
        let rest = if into == 0 { 0 } else { section - into };
        sample.saturating_add(u64::from(rest) + ORDER as u64 - 1)
    }

    /// The next frame is number `sample` of the run, an interval's first: changes nothing where that
    /// is known. What follows from the number of the sample is set by it again.
    pub fn align(&mut self, sample: u64) {
        self.way.align(sample);
    }

    /// Sums up what never changes.
    pub fn check(&self, sum: &mut Checksum) {
        self.watch.check(sum);
        self.way.check(sum);
        sum.add_size(self.cics.len());
        self.constants.check(sum);
    }

    /// Takes whole frames off the front of `frames` until an interval is full: then writes each
    /// channel's phasor to `out`. `None` when the frames are used up before, or where `out` has no
    /// room for all channels.
    ///
    /// In: CIC output, the register; out Q12.52: shifted by s, half to even, saturated at ±8 (which
    /// codes within their b bits cannot reach).
    #[inline(never)]
    pub fn decimate(&mut self, frames: &mut &[i32], out: &mut [Phasor]) -> Option<Interval> {
        let channels = if W::SIZED { CHANNELS } else { self.cics.len() };
        if out.len() < channels {
            *frames = &[];
        }
        if frames.is_empty() {
            return None;
        }
        // Most often an interval is one section, all of whose frames are there.
        let Constants { ratio, section, .. } = self.constants;
        if self.at.get() == 0
            && section == ratio
            && let Some((now, later)) = frames.split_at_checked(ratio as usize * channels)
            && ratio > 0
        {
            *frames = later;
            let saturated = self.take(now, [0, 0, ratio], true, out);
            self.at.set(0);
            return Some(Interval { over_range: self.watch.take(), saturated });
        }
        self.decimate_parts(frames, out, channels)
    }

    /// The same of blocks that cut an interval, and of sections that do.
    #[inline(never)]
    fn decimate_parts(
        &mut self,
        frames: &mut &[i32],
        out: &mut [Phasor],
        channels: usize,
    ) -> Option<Interval> {
        let Constants { ratio, section, .. } = self.constants;
        let mut at = self.at.get();
        while !frames.is_empty() {
            let into = at.checked_rem(section).unwrap_or(0);
            let start = at - into;
            let left = ratio.saturating_sub(start);
            let length = section.min(left);
            let room = (length.saturating_sub(into) as usize * channels).min(frames.len());
            let (now, later) = frames.split_at_checked(room).unwrap_or((frames, &[]));
            *frames = later;
            let taken = now.len().checked_div(channels).unwrap_or(0) as u32;
            at = at.wrapping_add(taken);
            let full = into.wrapping_add(taken) >= length;
            let saturated = self.take(now, [start, into, length], full, out);
            if taken == 0 {
                // Only where a constant has changed: nothing may go round for ever.
                *frames = &[];
            }
            if !full {
                break;
            }
            if length == left {
                self.at.set(0);
                return Some(Interval { over_range: self.watch.take(), saturated });
            }
        }
        self.at.set(at);
        None
    }

    /// Frames of the section that starts so many samples into the interval, from its sample `into` on, and its end where
    /// they are its last; whether a word had to saturate.
    #[inline(always)]
    fn take(
        &mut self,
        frames: &[i32],
        [start, into, length]: [u32; 3],
        full: bool,
        out: &mut [Phasor],
    ) -> bool {
        let Constants { ratio, weights, .. } = &self.constants;
        let seen = self.way.push(frames, into, length, self.watch.ends());
        let (first, last) = (start == 0, length == ratio.saturating_sub(start));
        let end = SectionEnd { first, last, length, weights };
        let saturated = full && self.way.finish(end, &mut self.cics, out);
        self.watch.note(seen, frames);
        saturated
    }
}
