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

pub mod way;

use crate::cic::{Cic, CicBank, IntervalWeights, gain, step_weights, width};
use crate::config::{FrontEndConfig, Path};
use crate::error::{ConfigError, Stage, attempt};
use crate::fold::{self, Folding, sum_bound};
use crate::guard::{Checksum, Voted};
use crate::list::List;
use crate::mixer::{self, TABLE_BITS, section};
use crate::over_range::OverRange;
use crate::word::{Register, Shift, Word, divide_long};
use crate::{carrier::CarrierRatio, phasor::Phasor};
use way::{AnyWay, SectionEnd, Sections, Way};

/// Longest ratio of the first decimation.
pub const MAX_RATIO: u16 = 4096;

/// What a front end tells of its interval beside the phasors.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Interval {
    /// Bit c: channel c met an over-range code.
    pub over_range: u32,
    /// A word had to saturate.
    pub saturated: bool,
}

/// Steps of a word (2^-52) per converter code of an in-phase carrier's amplitude, exact, as
/// numerator (R M)^N and the power of two that divides it.
///
/// The power makes a full-scale carrier, 2^(b-1) codes, more than 0.5 and at most 1.0.
#[must_use]
pub const fn words_per_code(config: FrontEndConfig, code_bits: u32) -> (u128, i32) {
    let delay = config.differential_delay as u32;
    let gain = gain(config.order as u32, config.ratio as u32, delay);
    let gain_bits = 128 - gain.saturating_sub(1).leading_zeros();
    (gain, (code_bits - 1 + gain_bits) as i32 - Word::FRAC_NBITS as i32)
}

/// How the plan folds: where the carrier's period divides the ratio, codes are narrow enough for
/// 32-bit sums and the path allows it; by [`Path::Auto`] up to [`fold::MAX_COLUMNS`].
#[must_use]
pub const fn folding(
    carrier: CarrierRatio,
    config: FrontEndConfig,
    code_bits: u32,
) -> Option<Folding> {
    let (order, ratio) = (config.order as u32, config.ratio as u32);
    let Some(period) = period_within(carrier, ratio) else { return None };
    let folding = if config.pruned_bits > 0 {
        Folding::short(period, order, code_bits)
    } else {
        Folding::new(period, ratio, order, code_bits)
    };
    match (folding, config.path) {
        (Some(folding), Path::Auto) if folding.columns > fold::MAX_COLUMNS => None,
        (_, Path::General) => None,
        (folding, _) => folding,
    }
}

/// The carrier's period where it divides the ratio.
const fn period_within(carrier: CarrierRatio, ratio: u32) -> Option<u32> {
    match carrier.period() {
        Some(period) if ratio.is_multiple_of(period) => Some(period),
        _ => None,
    }
}

/// Fraction bits of the carrier's cosines, folded or mixed: what lets the
/// CIC's output fit 64 bits, at most 30 folded (less where the period is long) and 28 mixed. A plan
/// that leaves fewer than 22 for that takes the most and needs a 128-bit register.
#[must_use]
pub const fn fraction_bits(config: FrontEndConfig, code_bits: u32, folded: Option<Folding>) -> u32 {
    let delay = config.differential_delay as u32;
    let taken = width(code_bits, config.order as u32, config.ratio as u32, delay);
    let taken = taken.saturating_sub(config.pruned_bits as u32);
    let mut most = match folded {
        Some(folding) => folding.most_fraction_bits(),
        None => TABLE_BITS,
    };
    if config.pruned_bits > 0 {
        // What is rounded off has to be there: sums of a section within 62 bits, not modulo 2^64.
        let longest = match folded {
            Some(folding) => folding.section(config.order as u32, code_bits),
            None => 1,
        };
        let samples = if longest < config.ratio as u32 { longest } else { config.ratio as u32 };
        let room = sum_bound(config.order as u32, code_bits, samples).leading_zeros();
        // Of 128 bits, 66 stand above the 62nd.
        let room = room.saturating_sub(66);
        most = if room < most { room } else { most };
    }
    if taken + LEAST_FRACTION_BITS > 64 || taken + most < 64 { most } else { 64 - taken }
}

/// Samples that reach the integrators together, at most the ratio; the last section of an interval
/// may be shorter; folded or mixed. Zero where not even one sample's sums fit.
#[must_use]
pub const fn section_length(
    config: FrontEndConfig,
    code_bits: u32,
    folded: Option<Folding>,
) -> u32 {
    let (order, ratio) = (config.order as u32, config.ratio as u32);
    let longest = match folded {
        Some(folding) => folding.section(order, code_bits),
        None => section(order, code_bits, fraction_bits(config, code_bits, None)),
    };
    let longest = if longest < ratio { longest } else { ratio };
    if folded.is_some() || longest == 0 {
        return longest;
    }
    // As few sections as may be, all about as long, and whole turns of the sample loop where they
    // fit.
    let sections = ratio.div_ceil(longest);
    // Not zero, nor is the ratio; the compiler sees it here.
    let even = ratio.div_ceil(if sections > 0 { sections } else { 1 });
    let whole = even.next_multiple_of(mixer::BLOCK as u32);
    if whole <= longest { whole } else { even }
}

/// Fewest fraction bits for the sake of a 64-bit register: cosines within 2^-23.
const LEAST_FRACTION_BITS: u32 = 22;

/// What never changes in a front end, by the plan alone.
#[derive(Clone, Copy, Debug)]
struct Constants<const ORDER: usize> {
    ratio: u32,
    differential_delay: u8,
    interval_weights: IntervalWeights<ORDER>,
    /// Section length, and integrator weights for a whole and for the last section.
    section: u32,
    whole_weights: [i64; ORDER],
    last_weights: [i64; ORDER],
    shift: Shift,
    pruned: u32,
}

impl<const ORDER: usize> Constants<ORDER> {
    /// Of no plan.
    const NONE: Self = Self {
        ratio: 0,
        differential_delay: 0,
        interval_weights: IntervalWeights::NONE,
        section: 0,
        whole_weights: [0; ORDER],
        last_weights: [0; ORDER],
        shift: Shift::NONE,
        pruned: 0,
    };

    /// Length of the impulse response, samples: N (R M - 1) + 1.
    const fn span(&self) -> u64 {
        let longest = self.ratio as u64 * self.differential_delay as u64;
        ORDER as u64 * longest.saturating_sub(1) + 1
    }

    /// Sums up what never changes.
    fn check(&self, sum: &mut Checksum) {
        sum.add(self.ratio);
        sum.add(self.differential_delay.into());
        self.interval_weights.check(sum);
        sum.add(self.section);
        sum.add_all_long(&self.whole_weights);
        sum.add_all_long(&self.last_weights);
        self.shift.check(sum);
        sum.add(self.pruned);
    }
}

/// A plan of the first decimation, checked; `T` are its way's tables ([`Way::Tables`]), or, until
/// these are worked out, the sections that they are made from.
#[derive(Clone, Copy, Debug)]
pub struct FrontEndPlan<const ORDER: usize, const CHANNELS: usize, T> {
    watch: OverRange<CHANNELS>,
    channels: usize,
    constants: Constants<ORDER>,
    tables: T,
}

impl<const ORDER: usize, const CHANNELS: usize> FrontEndPlan<ORDER, CHANNELS, Sections> {
    /// Checks the plan of the first decimation and chooses the way, for the register `R`.
    ///
    /// # Errors
    /// [`ConfigError`] with the number that does not fit: order, ratio, delay, code bits,
    /// channels, the CIC's width in bits, or a carrier that cannot be folded on request.
    pub const fn new<R: Register>(
        carrier: CarrierRatio,
        config: FrontEndConfig,
        channels: usize,
        code_bits: u32,
    ) -> Result<Self, ConfigError> {
        const fn check(
            quantity: &'static str,
            given: i64,
            min: i64,
            max: i64,
        ) -> Result<(), ConfigError> {
            ConfigError::check(Stage::FrontEnd, quantity, given, min, max)
        }
        let bits = code_bits as i64;
        attempt!(ConfigError::check(Stage::Converter, "code bits", bits, 8, 32));
        let most = if CHANNELS < 32 { CHANNELS as i64 } else { 32 };
        attempt!(ConfigError::check(Stage::Converter, "channels", channels as i64, 1, most));
        let delay = config.differential_delay as u32;
        let (order, ratio) = (ORDER as u32, config.ratio as u32);
        attempt!(check("order", config.order as i64, ORDER as i64, ORDER as i64));
        attempt!(check("order", ORDER as i64, 1, crate::cic::MAX_ORDER as i64));
        attempt!(check("ratio", config.ratio as i64, 2, MAX_RATIO as i64));
        attempt!(check("differential delay", delay as i64, 1, 2));
        if matches!(config.path, Path::Coherent) {
            let period = period_within(carrier, ratio);
            let periods = if period.is_some() { 1 } else { 0 };
            attempt!(check("carrier periods in the ratio", periods, 1, i64::MAX));
            let rows = match period {
                Some(period) => match Folding::new(period, ratio, order, code_bits) {
                    Some(folding) => folding.section(order, code_bits),
                    None => 0,
                },
                None => 0,
            };
            attempt!(check("samples in a folded section", rows as i64, 1, i64::MAX));
        }
        let folded = folding(carrier, config, code_bits);
        let most = if R::PRUNES { 32 } else { 0 };
        attempt!(check("pruned bits", config.pruned_bits as i64, 0, most));
        let pruned = config.pruned_bits as u32;
        let fraction_bits = fraction_bits(config, code_bits, folded);
        let bits = width(code_bits + fraction_bits, order, ratio, delay).saturating_sub(pruned);
        let most = if R::BITS < 127 { R::BITS } else { 127 };
        attempt!(check("CIC register bits", bits as i64, 1, most as i64));
        let section = section_length(config, code_bits, folded);
        attempt!(check("samples in a section", section as i64, 1, ratio as i64));
        let last = match ratio.checked_rem(section) {
            Some(0) | None => section,
            Some(rest) => rest,
        };
        let (_, exponent) = words_per_code(config, code_bits);
        // The mixer halves an amplitude.
        let shift = exponent + fraction_bits as i32 - 1 - pruned as i32;
        let constants = Constants {
            ratio,
            differential_delay: config.differential_delay,
            interval_weights: IntervalWeights::new(ratio, config.differential_delay),
            section,
            whole_weights: step_weights(section),
            last_weights: step_weights(last),
            shift: Shift::new(shift),
            pruned,
        };
        let tables = Sections { carrier, channels, folded, fraction_bits, whole: section, last };
        let watch = OverRange::new(channels, code_bits, config.watch);
        Ok(Self { watch, channels, constants, tables })
    }
}

impl<const ORDER: usize, const CHANNELS: usize, T: Copy> FrontEndPlan<ORDER, CHANNELS, T> {
    /// What the tables are made from, or they themselves.
    pub const fn tables(&self) -> &T {
        &self.tables
    }

    /// The same plan with the tables of a way.
    #[must_use]
    pub const fn with<U: Copy>(&self, tables: U) -> FrontEndPlan<ORDER, CHANNELS, U> {
        let Self { watch, channels, constants, .. } = *self;
        FrontEndPlan { watch, channels, constants, tables }
    }

    /// Length of the impulse response, samples.
    #[must_use]
    pub const fn span(&self) -> u64 {
        self.constants.span()
    }
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
    watch: OverRange<CHANNELS>,
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
        self.watch.seek(sample);
        self.way.seek(sample - u64::from(into));
        self.cics.fill([Cic::IDLE; 2]);
        self.at.set(position);
        if self.is_folded() || sample == 0 {
            return sample;
        }
        let section = section.min(ratio - (position - into));
        let rest = if into == 0 { 0 } else { section - into };
        sample + u64::from(rest) + ORDER as u64 - 1
    }

    /// The next frame is number `sample` of the run, an interval's first: changes nothing where that
    /// is known. What follows from the number of the sample is set by it again.
    pub fn align(&mut self, sample: u64) {
        self.watch.align(sample);
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
    /// channel's phasor to `out`. `None` when the frames are used up before.
    ///
    /// In: CIC output, the register; out Q12.52: shifted by s, half to even, saturated at ±8 (which
    /// codes within their b bits cannot reach).
    #[inline(never)]
    pub fn decimate(&mut self, frames: &mut &[i32], out: &mut [Phasor]) -> Option<Interval> {
        let channels = if W::SIZED { CHANNELS } else { self.cics.len() };
        let constants = &self.constants;
        let mut at = self.at.get();
        while !frames.is_empty() {
            let into = at.checked_rem(constants.section).unwrap_or(0);
            let start = at - into;
            let left = constants.ratio.saturating_sub(start);
            let length = constants.section.min(left);
            let room = (length.saturating_sub(into) as usize * channels).min(frames.len());
            let (now, later) = frames.split_at_checked(room).unwrap_or((frames, &[]));
            self.watch.push(now, W::SIZED);
            self.way.push(now, into);
            *frames = later;
            let taken = now.len().checked_div(channels).unwrap_or(0) as u32;
            if taken == 0 {
                // Only where a constant has changed: nothing may go round for ever.
                *frames = &[];
            }
            at = at.wrapping_add(taken);
            if into.wrapping_add(taken) < length {
                break;
            }
            let last = length == left;
            let end = SectionEnd {
                first: start == 0,
                last,
                length,
                step: if last { &constants.last_weights } else { &constants.whole_weights },
                interval: &constants.interval_weights,
                shift: constants.shift,
                pruned: constants.pruned,
            };
            let saturated = self.way.finish(end, &mut self.cics, out);
            if last {
                self.at.set(0);
                return Some(Interval { over_range: self.watch.take(), saturated });
            }
        }
        self.at.set(at);
        None
    }
}
