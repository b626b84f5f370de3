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
use crate::error::{ConfigError, Stage};
use crate::fold::{self, Folding, sum_bound};
use crate::guard::{Checksum, Voted};
use crate::list::List;
use crate::mixer::{self, TABLE_BITS, section};
use crate::over_range::OverRange;
use crate::word::{Register, Shift, Word};
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
pub fn folding(carrier: CarrierRatio, config: FrontEndConfig, code_bits: u32) -> Option<Folding> {
    let ratio = u32::from(config.ratio);
    let period = carrier.period().filter(|period| ratio.is_multiple_of(*period))?;
    let order = config.order.into();
    let folding = if config.pruned_bits > 0 {
        Folding::short(period, order, code_bits)
    } else {
        Folding::new(period, ratio, order, code_bits)
    };
    folding.filter(|folding| match config.path {
        Path::Auto => folding.columns <= fold::MAX_COLUMNS,
        Path::Coherent => true,
        Path::General => false,
    })
}

/// Fraction bits of the carrier's cosines, folded or mixed: what lets the
/// CIC's output fit 64 bits, at most 30 folded (less where the period is long) and 28 mixed. A plan
/// that leaves fewer than 22 for that takes the most and needs a 128-bit register.
#[must_use]
pub fn fraction_bits(config: FrontEndConfig, code_bits: u32, folded: Option<Folding>) -> u32 {
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
pub fn section_length(config: FrontEndConfig, code_bits: u32, folded: Option<Folding>) -> u32 {
    let (order, ratio) = (u32::from(config.order), u32::from(config.ratio));
    match folded {
        Some(folding) => folding.section(order, code_bits).min(ratio),
        // As few sections as may be, all about as long.
        None => {
            let longest = section(order, code_bits, fraction_bits(config, code_bits, None));
            let sections = ratio.div_ceil(longest.max(1));
            let even = ratio.div_ceil(sections.max(1));
            // Whole turns of the sample loop where they fit.
            let whole = even.next_multiple_of(mixer::BLOCK as u32);
            if whole <= longest.min(ratio) { whole } else { even.min(longest) }
        }
    }
}

/// Fewest fraction bits for the sake of a 64-bit register: cosines within 2^-23.
const LEAST_FRACTION_BITS: u32 = 22;

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
    ratio: u32,
    differential_delay: u8,
    interval_weights: IntervalWeights<ORDER>,
    /// Section length, and integrator weights for a whole and for the last section.
    section: u32,
    whole_weights: [i64; ORDER],
    last_weights: [i64; ORDER],
    /// Frames of the running interval taken.
    at: Voted<u32>,
    shift: Shift,
    pruned: u32,
}

impl<R: Register, const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize, W: Way<ORDER>>
    FrontEnd<R, ORDER, CHANNELS, COLUMNS, W>
{
    /// Checks the plan of the first decimation and chooses the way.
    ///
    /// # Errors
    /// [`ConfigError`] with the number that does not fit: order, ratio, delay, code bits,
    /// channels, the CIC's width in bits, or a carrier that cannot be folded on request.
    pub fn new(
        carrier: CarrierRatio,
        config: FrontEndConfig,
        channels: usize,
        code_bits: u32,
    ) -> Result<Self, ConfigError> {
        let check = |quantity, given, min, max| {
            ConfigError::check(Stage::FrontEnd, quantity, given, min, max)
        };
        ConfigError::check(Stage::Converter, "code bits", code_bits.into(), 8, 32)?;
        ConfigError::check(
            Stage::Converter,
            "channels",
            channels as i64,
            1,
            CHANNELS.min(32) as i64,
        )?;
        check("order", config.order.into(), ORDER as i64, ORDER as i64)?;
        check("order", ORDER as i64, 1, crate::cic::MAX_ORDER as i64)?;
        check("ratio", config.ratio.into(), 2, MAX_RATIO.into())?;
        check("differential delay", config.differential_delay.into(), 1, 2)?;
        let (order, ratio) = (ORDER as u32, u32::from(config.ratio));
        let folds = carrier.period().filter(|period| ratio.is_multiple_of(*period));
        if config.path == Path::Coherent {
            check("carrier periods in the ratio", i64::from(folds.is_some()), 1, i64::MAX)?;
            let folds = folds.and_then(|period| Folding::new(period, ratio, order, code_bits));
            let rows = folds.map_or(0, |folding| folding.section(order, code_bits));
            check("samples in a folded section", rows.into(), 1, i64::MAX)?;
        }
        let folds = folding(carrier, config, code_bits);
        check("pruned bits", config.pruned_bits.into(), 0, if R::PRUNES { 32 } else { 0 })?;
        let pruned = u32::from(config.pruned_bits);
        let fraction_bits = fraction_bits(config, code_bits, folds);
        let bits = width(code_bits + fraction_bits, order, ratio, config.differential_delay.into());
        let bits = bits.saturating_sub(pruned);
        check("CIC register bits", bits.into(), 1, R::BITS.min(127).into())?;
        let section = section_length(config, code_bits, folds);
        check("samples in a section", section.into(), 1, ratio.into())?;
        let last = match ratio.checked_rem(section) {
            Some(0) | None => section,
            Some(rest) => rest,
        };
        let way = W::new(&Sections {
            carrier,
            channels,
            folded: folds,
            fraction_bits,
            whole: section,
            last,
        })?;
        let cics = List::filled([Cic::default(); 2], channels).ok_or_else(|| {
            ConfigError::new(Stage::Converter, "channels", channels as i64, 1, CHANNELS as i64)
        })?;
        let (_, exponent) = words_per_code(config, code_bits);
        // The mixer halves an amplitude.
        let shift = exponent + fraction_bits as i32 - 1 - pruned as i32;
        Ok(Self {
            watch: OverRange::new(channels, code_bits, config.watch),
            way,
            cics,
            ratio,
            differential_delay: config.differential_delay,
            interval_weights: IntervalWeights::new(ratio, config.differential_delay),
            section,
            whole_weights: step_weights(section),
            last_weights: step_weights(last),
            at: Voted::new(0),
            shift: Shift::new(shift),
            pruned,
        })
    }

    /// Whether the carrier is folded (no multiplication per sample).
    #[must_use]
    pub fn is_folded(&self) -> bool {
        self.way.is_folded()
    }

    /// Length of the impulse response, samples: N (R M - 1) + 1.
    #[must_use]
    pub const fn span(&self) -> u64 {
        ORDER as u64 * (self.ratio as u64 * self.differential_delay as u64 - 1) + 1
    }

    /// Decimation ratio.
    #[must_use]
    pub const fn ratio(&self) -> u32 {
        self.ratio
    }

    /// Forgets all samples; the next frame is number `sample` of the run. Frames between the
    /// start of its interval and itself count as zero.
    ///
    /// Returns the sample from which on nothing of the time before is in the sums: `sample`
    /// itself when folded. The mixed way rounds once a section, and that rounding knows the
    /// section's lost samples and outlasts them by N - 1: the next section's start and N - 1.
    pub fn seek(&mut self, sample: u64) -> u64 {
        let position = sample.checked_rem(u64::from(self.ratio)).unwrap_or(0) as u32;
        let into = position.checked_rem(self.section).unwrap_or(0);
        self.watch.seek(sample);
        self.way.seek(sample - u64::from(into));
        self.cics.fill([Cic::default(); 2]);
        self.at.set(position);
        if self.is_folded() || sample == 0 {
            return sample;
        }
        let section = self.section.min(self.ratio - (position - into));
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
        sum.add(self.ratio);
        sum.add(self.differential_delay.into());
        self.interval_weights.check(sum);
        sum.add(self.section);
        sum.add_all_long(&self.whole_weights);
        sum.add_all_long(&self.last_weights);
        self.shift.check(sum);
        sum.add(self.pruned);
    }

    /// Takes whole frames off the front of `frames` until an interval is full: then writes each
    /// channel's phasor to `out`. `None` when the frames are used up before.
    ///
    /// In: CIC output, the register; out Q12.52: shifted by s, half to even, saturated at ±8 (which
    /// codes within their b bits cannot reach).
    #[inline(never)]
    pub fn decimate(&mut self, frames: &mut &[i32], out: &mut [Phasor]) -> Option<Interval> {
        let channels = if W::SIZED { CHANNELS } else { self.cics.len() };
        let mut at = self.at.get();
        while !frames.is_empty() {
            let into = at.checked_rem(self.section).unwrap_or(0);
            let start = at - into;
            let left = self.ratio.saturating_sub(start);
            let length = self.section.min(left);
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
                step: if last { &self.last_weights } else { &self.whole_weights },
                interval: &self.interval_weights,
                shift: self.shift,
                pruned: self.pruned,
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
