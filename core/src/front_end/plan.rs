//! Plan arithmetic of the first decimation: which way, how long its sections, how wide its words.
//!
//! The functions are for plans within the ranges that [`FrontEndPlan::new`] checks first: order 1 to
//! 6, ratio 2 to 4096, delay 1 or 2, code bits 8 to 32. Of others they say nothing, and overflow.

use crate::carrier::CarrierRatio;
use crate::cic::{IntervalWeights, gain, step_weights, width};
use crate::config::{FrontEndConfig, Path};
use crate::error::{ConfigError, Stage, attempt};
use crate::guard::Checksum;
use crate::mixer::{self, section, table_bits};
use crate::over_range::OverRange;
use crate::section::{Folding, MAX_COLUMNS, SectionWeights, Sections, sum_bound};
use crate::word::{Register, Shift, Word, least};

/// Longest ratio of the first decimation.
pub const MAX_RATIO: u16 = 4096;

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
/// 32-bit sums and the path allows it; by [`Path::Auto`] up to [`MAX_COLUMNS`].
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
        (Some(folding), Path::Auto) if folding.columns > MAX_COLUMNS => None,
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
/// CIC's output fit 64 bits, at most 30 folded (less where the period is long) and 28 mixed, 24 for order 2. A plan
/// that leaves fewer than 22 for that takes the most and needs a 128-bit register.
#[must_use]
pub const fn fraction_bits(config: FrontEndConfig, code_bits: u32, folded: Option<Folding>) -> u32 {
    let delay = config.differential_delay as u32;
    let taken = width(code_bits, config.order as u32, config.ratio as u32, delay);
    let taken = taken.saturating_sub(config.pruned_bits as u32);
    let mut most = match folded {
        Some(folding) => folding.most_fraction_bits(),
        None => table_bits(config.order as u32),
    };
    if config.pruned_bits > 0 {
        // What is rounded off has to be there: sums of a section within 62 bits, not modulo 2^64.
        let longest = match folded {
            Some(folding) => folding.section(config.order as u32, code_bits),
            None => 1,
        };
        let samples = least(longest, config.ratio as u32);
        let room = sum_bound(config.order as u32, code_bits, samples).leading_zeros();
        // Of 128 bits, 66 stand above the 62nd.
        let room = room.saturating_sub(66);
        most = least(room, most);
    }
    if taken + LEAST_FRACTION_BITS > 64 || taken + most < 64 { most } else { 64 - taken }
}

/// Bits that the CIC's register has to have; folded or mixed.
#[must_use]
pub const fn register_bits(config: FrontEndConfig, code_bits: u32, folded: Option<Folding>) -> u32 {
    let bits = code_bits + fraction_bits(config, code_bits, folded);
    let delay = config.differential_delay as u32;
    let bits = width(bits, config.order as u32, config.ratio as u32, delay);
    bits.saturating_sub(config.pruned_bits as u32)
}

/// From the register to words; folded or mixed.
#[must_use]
pub const fn word_shift(config: FrontEndConfig, code_bits: u32, folded: Option<Folding>) -> Shift {
    let (_, exponent) = words_per_code(config, code_bits);
    let fraction_bits = fraction_bits(config, code_bits, folded) as i32;
    // The mixer halves an amplitude.
    Shift::new(exponent + fraction_bits - 1 - config.pruned_bits as i32)
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
    let longest = least(longest, ratio);
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
pub(super) struct Constants<const ORDER: usize> {
    pub(super) ratio: u32,
    pub(super) differential_delay: u8,
    /// Section length.
    pub(super) section: u32,
    pub(super) weights: SectionWeights<ORDER>,
}

impl<const ORDER: usize> Constants<ORDER> {
    /// Of no plan.
    pub(super) const NONE: Self =
        Self { ratio: 0, differential_delay: 0, section: 0, weights: SectionWeights::NONE };

    /// Length of the impulse response, samples: N (R M - 1) + 1.
    pub(super) const fn span(&self) -> u64 {
        let longest = self.ratio as u64 * self.differential_delay as u64;
        ORDER as u64 * longest.saturating_sub(1) + 1
    }

    /// Sums up what never changes.
    pub(super) fn check(&self, sum: &mut Checksum) {
        sum.add(self.ratio);
        sum.add(self.differential_delay.into());
        let SectionWeights { whole, last, interval, shift, pruned } = &self.weights;
        interval.check(sum);
        sum.add(self.section);
        sum.add_all_long(whole);
        sum.add_all_long(last);
        shift.check(sum);
        sum.add(*pruned);
    }
}

/// A plan of the first decimation, checked; `T` are its way's tables ([`crate::section::Way::Tables`]),
/// or, until these are worked out, the sections that they are made from.
#[derive(Clone, Copy, Debug)]
pub struct FrontEndPlan<const ORDER: usize, const CHANNELS: usize, T> {
    pub(super) watch: OverRange,
    pub(super) channels: usize,
    pub(super) constants: Constants<ORDER>,
    pub(super) tables: T,
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
        let most = least(CHANNELS as u32, 32) as i64;
        attempt!(ConfigError::check(Stage::Converter, "channels", channels as i64, 1, most));
        let delay = config.differential_delay as u32;
        let ratio = config.ratio as u32;
        attempt!(check("order", config.order as i64, ORDER as i64, ORDER as i64));
        attempt!(check("order", ORDER as i64, 1, crate::cic::MAX_ORDER as i64));
        attempt!(check("ratio", config.ratio as i64, 2, MAX_RATIO as i64));
        attempt!(check("differential delay", delay as i64, 1, 2));
        let folded = folding(carrier, config, code_bits);
        if matches!(config.path, Path::Coherent) {
            let periods = if period_within(carrier, ratio).is_some() { 1 } else { 0 };
            let quantity = "carrier periods that divide the ratio, for the coherent path";
            attempt!(check(quantity, periods, 1, 1));
            let samples = if folded.is_some() { 1 } else { 0 };
            let quantity = "samples of codes so wide in a folded section";
            attempt!(check(quantity, samples, 1, ratio as i64));
        }
        let most = if R::PRUNES { 32 } else { 0 };
        attempt!(check("pruned bits", config.pruned_bits as i64, 0, most));
        let pruned = config.pruned_bits as u32;
        let fraction_bits = fraction_bits(config, code_bits, folded);
        let bits = register_bits(config, code_bits, folded);
        let most = least(R::BITS, 127);
        attempt!(check("CIC register bits", bits as i64, 1, most as i64));
        let section = section_length(config, code_bits, folded);
        attempt!(check("samples in a section", section as i64, 1, ratio as i64));
        let last = match ratio.checked_rem(section) {
            Some(0) | None => section,
            Some(rest) => rest,
        };
        let constants = Constants {
            ratio,
            differential_delay: config.differential_delay,
            section,
            weights: SectionWeights {
                whole: step_weights(section),
                last: step_weights(last),
                interval: IntervalWeights::new(ratio, config.differential_delay),
                shift: word_shift(config, code_bits, folded),
                pruned,
            },
        };
        let order = ORDER as u32;
        let tables =
            Sections { carrier, channels, folded, fraction_bits, order, whole: section, last };
        let watch = OverRange::new(channels, code_bits);
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

#[cfg(test)]
mod tests;
