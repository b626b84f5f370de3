//! **Readout.** The one type firmware owns: interleaved converter codes in, readings out.

mod chain;
mod holds;
mod reading;
pub(crate) mod settings;

pub use chain::Chain;
pub use reading::Reading;

use crate::config::ReadoutConfig;
use crate::error::ConfigError;
use crate::fir::{FirChain, Waiting};
use crate::front_end::way::AnyWay;
use crate::front_end::{FrontEnd, Interval};
use crate::guard::{Checksum, Voted};
use crate::health::{Health, HealthCounts};
use crate::phasor::Phasor;
use crate::plan::Plan;
use crate::section::Way;
use crate::word::{Register, divide_long};
use holds::Holds;
use settings::Settings;

/// Largest sample number to seek: 36 000 years at 1 MS/s.
pub const MAX_SAMPLE: u64 = 1 << 60;

/// The whole chain for one instrument.
///
/// `ORDER` is the CIC's order. Capacities: `CHANNELS` converter channels; `COLUMNS` carrier
/// phases x channels of the folded front end, or samples of a mixed section; `TAPS` and
/// `OPEN` taps and open sums of all FIR stages ([`FirChain`]).
/// `R` is the register ([`Register`]), `W` the front end's [`Way`].
#[derive(Clone, Debug)]
pub struct Readout<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R = i64,
    W = AnyWay<ORDER, CHANNELS, COLUMNS>,
> {
    front_end: FrontEnd<R, ORDER, CHANNELS, COLUMNS, W>,
    firs: FirChain<TAPS, OPEN>,
    /// Of their first, on the way through the others.
    waiting: [Waiting; CHANNELS],
    settings: Settings<CHANNELS>,
    counts: HealthCounts,
    /// Frame cut in two by a block's end, and how many of its codes are here.
    partial: [i32; CHANNELS],
    held: Voted<u32>,
    /// Number of the reading to come, counted from the run's start.
    next: Voted<u64>,
    /// Intervals of the front end to that reading, at least 1.
    due: Voted<u32>,
    /// Sample from which on all is known since the start or the last gap.
    first_sample: Voted<u64>,
    /// Codes since the last reading, and how many make its absence a fault.
    quiet: Voted<u64>,
    patience: Voted<u64>,
    /// Sum of all that never changes.
    constants: Checksum,
    /// Faults of samples that are still in the filters.
    holds: Holds,
    /// Gathered since the last reading; the stages were out of step.
    gathered: Interval,
    out_of_step: bool,
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R: Register,
    W: Way<ORDER>,
> Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>
{
    /// Builds the chain; nothing can fail afterwards.
    ///
    /// # Errors
    /// [`ConfigError`]: the stage, the quantity, its value and what is allowed. A plan that
    /// could overflow any word is refused here.
    pub fn new(config: &ReadoutConfig<'_>) -> Result<Self, ConfigError> {
        Plan::checked(config).map(|plan| Self::start(&plan))
    }

    /// [`Self::IDLE`] with a plan loaded.
    #[must_use]
    pub fn start(plan: &Plan<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>) -> Self {
        let mut readout = Self::IDLE;
        readout.load(plan);
        readout
    }

    /// Without a plan: zeros throughout, so that a `static` takes no flash. Gives no reading that is
    /// not flagged [`Health::MEMORY`].
    pub const IDLE: Self = Self {
        front_end: FrontEnd::IDLE,
        firs: FirChain::IDLE,
        waiting: [Waiting::NONE; CHANNELS],
        settings: Settings::NONE,
        counts: HealthCounts::NONE,
        partial: [0; CHANNELS],
        held: Voted::new(0),
        next: Voted::new(0),
        due: Voted::new(0),
        first_sample: Voted::new(0),
        quiet: Voted::new(0),
        patience: Voted::new(0),
        constants: Checksum::NONE,
        holds: Holds::NONE,
        gathered: Interval { over_range: 0, saturated: false },
        out_of_step: false,
    };

    /// Takes a plan, in place; at rest, before sample 0. All that was, counts too, is forgotten.
    ///
    /// The plan's constants are copied: on a board, memory is faster than flash. To recover from
    /// [`Health::MEMORY`], load again and [`Self::seek`].
    pub fn load(&mut self, plan: &Plan<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>) {
        self.front_end.load(&plan.front_end);
        self.firs.load(&plan.firs);
        self.settings = plan.settings;
        self.counts = HealthCounts::NONE;
        let patience = self.settings.interval + u64::from(self.front_end.ratio());
        self.patience.set(patience * self.channels() as u64);
        self.constants = self.checksum();
        self.seek(0);
    }

    /// Channels of a frame.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.settings.alignments.len()
    }

    /// Samples from one reading to the next.
    #[must_use]
    pub const fn interval(&self) -> u64 {
        self.settings.interval
    }

    /// Samples that one reading is made of: the length of the impulse response.
    #[must_use]
    pub const fn span(&self) -> u64 {
        self.settings.span
    }

    /// Half samples from the instant that a reading stands for to its last sample: twice the delay of a
    /// slow motion, less than one below [`Self::span`] where taps lead.
    #[must_use]
    pub const fn delay_half_samples(&self) -> u64 {
        self.settings.delay
    }

    /// Faults counted since the readout was built.
    #[must_use]
    pub const fn counts(&self) -> &HealthCounts {
        &self.counts
    }

    /// The first stage, for its exact gain and its way.
    #[must_use]
    pub const fn front_end(&self) -> &FrontEnd<R, ORDER, CHANNELS, COLUMNS, W> {
        &self.front_end
    }

    /// Goes on with frame `sample` of the run: after lost frames, or to start in mid-run.
    ///
    /// All filter state is forgotten, carrier and time stamps are those of that sample, and
    /// readings carry [`Health::SETTLING`] until the filters hold only samples from here on.
    /// From then on they are bit for bit those of a readout that saw everything. `sample` is
    /// taken as at most [`MAX_SAMPLE`].
    pub fn seek(&mut self, sample: u64) {
        let sample = sample.min(MAX_SAMPLE);
        let clear_from = self.front_end.seek(sample);
        self.firs.seek(divide_long(sample, self.front_end.ratio().into()).0);
        self.held.set(0);
        let (next, _) = divide_long(sample, self.settings.interval);
        self.next.set(next);
        // A begun interval of the front end counts.
        let left = (next + 1).wrapping_mul(self.settings.interval).wrapping_sub(sample);
        let ratio = u64::from(self.front_end.ratio().max(1));
        self.due.set(divide_long(left.wrapping_add(ratio - 1), ratio).0 as u32);
        self.first_sample.set(clear_from);
        self.quiet.set(0);
        self.holds = Holds::NONE;
        self.gathered = Interval::default();
        self.out_of_step = false;
    }

    /// Samples since the last reading had `faults` that were found before the chain: readings carry them for as long as these
    /// samples are in the filters.
    pub fn flag(&mut self, faults: Health) {
        self.holds.tell(faults);
    }

    /// Takes a block of interleaved codes of any length, a cut frame included, and hands each
    /// finished reading to `sink`. How a run is cut into blocks never changes a bit.
    pub fn push(&mut self, block: &[i32], mut sink: impl FnMut(&Reading)) {
        let channels = self.channels().max(1);
        let mut rest = block;
        let held = self.held.get() as usize;
        if held > 0 {
            let (head, tail) = rest.split_at_checked(channels - held).unwrap_or((rest, &[]));
            if let Some(partial) = self.partial.get_mut(held..held + head.len()) {
                partial.copy_from_slice(head);
            }
            rest = tail;
            if held + head.len() < channels {
                self.held.set((held + head.len()) as u32);
                return;
            }
            let partial = self.partial;
            self.push_frames(partial.get(..channels).unwrap_or(&[]), &mut sink);
        }
        let whole = rest.len() - rest.len().checked_rem(channels).unwrap_or(0);
        let (frames, cut) = rest.split_at_checked(whole).unwrap_or((rest, &[]));
        self.push_frames(frames, &mut sink);
        if let Some(partial) = self.partial.get_mut(..cut.len()) {
            partial.copy_from_slice(cut);
        }
        self.held.set(cut.len() as u32);
    }

    #[inline(never)]
    fn push_frames(&mut self, frames: &[i32], sink: &mut impl FnMut(&Reading)) {
        let mut phasors = [Phasor::default(); CHANNELS];
        let phasors = phasors.get_mut(..self.channels()).unwrap_or(&mut []);
        let quiet = self.quiet.get().wrapping_add(frames.len() as u64);
        self.quiet.set(quiet);
        let mut rest = frames;
        let mut left = rest.len();
        while let Some(interval) = self.decimate(&mut rest, phasors) {
            if rest.len() >= left {
                // Only where a constant has changed: nothing may go round for ever.
                break;
            }
            left = rest.len();
            let mut made = false;
            self.push_all(phasors, interval, &mut |reading: &Reading| {
                made = true;
                sink(reading);
            });
            if made {
                self.quiet.set(rest.len() as u64);
                self.front_end.align(self.next.get().wrapping_mul(self.settings.interval));
            }
        }
        if quiet > self.patience.get() && self.quiet.get() == quiet {
            // A constant that changed keeps the front end from ending its intervals.
            self.quiet.set(0);
            let mut reading = Reading::default();
            self.read(phasors, &mut reading);
            sink(&reading);
        }
    }

    /// First half of the chain, for a board or host that runs the two halves on two cores: takes
    /// whole frames off the front of `frames` until an interval of the front end is full, and
    /// writes its phasors to `out`, one of each channel; `None` when the frames are used up.
    ///
    /// The other core's readout takes them by [`Self::push_phasors`]. A front end that starts
    /// in mid-run, by [`Self::seek`], gives the bits of one that saw everything after N R M samples.
    pub fn decimate(&mut self, frames: &mut &[i32], out: &mut [Phasor]) -> Option<Interval> {
        self.front_end.decimate(frames, out)
    }

    /// Second half of the chain: one phasor of each channel, which it works on in place, and what
    /// its interval told. Any other number of phasors flags the reading [`Health::MEMORY`].
    pub fn push_phasors(
        &mut self,
        phasors: &mut [Phasor],
        interval: Interval,
        mut sink: impl FnMut(&Reading),
    ) {
        let channels = self.channels();
        self.out_of_step |= phasors.len() != channels;
        // No more than there are sums for: others' are not touched.
        let (phasors, _) = phasors.split_at_mut(phasors.len().min(channels));
        self.push_all(phasors, interval, &mut sink);
    }

    /// [`Self::push_phasors`] of as many phasors as there are channels, or fewer.
    #[inline(always)]
    fn push_all(
        &mut self,
        phasors: &mut [Phasor],
        interval: Interval,
        sink: &mut impl FnMut(&Reading),
    ) {
        self.gathered.over_range |= interval.over_range;
        self.gathered.saturated |= interval.saturated;
        let due = self.due.get().saturating_sub(1);
        let output = self.firs.push(phasors, &mut self.waiting, due == 0);
        if due > 0 {
            self.due.set(due);
            self.out_of_step |= output.is_some();
            return;
        }
        self.gathered.saturated |= output == Some(true);
        self.out_of_step |= output.is_none() | !self.firs.align();
        self.due.set(self.settings.intervals);
        self.quiet.set(0);
        let mut reading = Reading::default();
        self.read(phasors, &mut reading);
        sink(&reading);
    }

    /// Sum of all that the plan set and no sample changes, as it stands in memory now: of one plan in a
    /// readout of one type the same on every machine, and another if a single setting is another.
    #[inline(never)]
    #[must_use]
    pub fn checksum(&self) -> Checksum {
        let mut sum = Checksum::START;
        self.front_end.check(&mut sum);
        self.firs.check(&mut sum);
        self.settings.check(&mut sum);
        sum
    }
}

#[cfg(test)]
mod tests;
