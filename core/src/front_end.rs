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
//! (R M)^N, and one rounding, half to even, into Q12.52. The shift s makes a full-scale
//! carrier between 0.5 and 1.0 ([`words_per_code`] tells the exact factor).

use crate::cic::{Cic, CicBank, IntervalWeights, gain, step_weights, width};
use crate::config::{FrontEndConfig, Path, Watch};
use crate::error::{ConfigError, Stage};
use crate::fold::{self, Fold};
use crate::mixer::{Mixer, TABLE_BITS, section};
use crate::word::{Register, Shift, Word};
use crate::{carrier::CarrierRatio, phasor::Phasor};
use heapless::Vec;

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

/// The carrier's period if the plan folds by it: where it divides the ratio, codes are narrow
/// enough for 32-bit sums and the path allows it; by [`Path::Auto`] up to [`AUTO_PHASES`].
#[must_use]
pub fn folded_period(carrier: CarrierRatio, config: FrontEndConfig, code_bits: u32) -> Option<u32> {
    carrier.period().filter(|period| {
        u32::from(config.ratio).is_multiple_of(*period)
            && fold::section(*period, config.order.into(), code_bits) > 0
            && match config.path {
                Path::Auto => fold::phases(*period) <= AUTO_PHASES,
                Path::Coherent => true,
                Path::General => false,
            }
    })
}

/// Most carrier phases that [`Path::Auto`] folds by.
pub const AUTO_PHASES: u32 = 64;

/// Fraction bits of the carrier's cosines, folded with a period or mixed without: what lets the
/// CIC's output fit 64 bits, at most 30 folded (less where the period is long) and 28 mixed. A plan
/// that leaves fewer than 24 for that takes the most and needs a 128-bit register.
#[must_use]
pub const fn fraction_bits(config: FrontEndConfig, code_bits: u32, folded: Option<u32>) -> u32 {
    let delay = config.differential_delay as u32;
    let taken = width(code_bits, config.order as u32, config.ratio as u32, delay);
    let most = match folded {
        Some(period) => fold::most_fraction_bits(period),
        None => TABLE_BITS,
    };
    if taken + LEAST_FRACTION_BITS > 64 || taken + most < 64 { most } else { 64 - taken }
}

/// Samples that reach the integrators together, at most the ratio; the last section of an interval
/// may be shorter; folded with a period or mixed without. Zero where not even one sample's sums fit.
#[must_use]
pub fn section_length(config: FrontEndConfig, code_bits: u32, folded: Option<u32>) -> u32 {
    let (order, ratio) = (u32::from(config.order), u32::from(config.ratio));
    match folded {
        Some(period) => fold::section(period, order, code_bits).min(ratio),
        // As few sections as may be, all about as long.
        None => {
            let longest = section(order, code_bits, fraction_bits(config, code_bits, None));
            let sections = ratio.div_ceil(longest.max(1));
            ratio.div_ceil(sections.max(1)).min(longest)
        }
    }
}

/// Fewest fraction bits for the sake of a 64-bit register: cosines within 2^-25.
const LEAST_FRACTION_BITS: u32 = 24;

// The folded way carries its columns in itself: no allocation to point to.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug)]
enum Way<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    Folded(Fold<ORDER, CHANNELS, COLUMNS>),
    Mixed(Mixer<ORDER, CHANNELS, COLUMNS>),
}

/// Mixer and first decimation of all channels.
///
/// `R` is the CIC's register: `i64` on a board, `i128` for any plan.
#[derive(Clone, Debug)]
pub struct FrontEnd<R, const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    way: Way<ORDER, CHANNELS, COLUMNS>,
    cics: CicBank<R, ORDER, CHANNELS>,
    ratio: u32,
    differential_delay: u8,
    interval_weights: IntervalWeights<ORDER>,
    /// Section length, and integrator weights for a whole and for the last section.
    section: u32,
    whole_weights: [i64; ORDER],
    last_weights: [i64; ORDER],
    /// Frames missing to the end of the running output interval and of its running section.
    missing: u32,
    section_missing: u32,
    /// Whether the running section is the interval's first and its last.
    first: bool,
    last: bool,
    shift: Shift,
    code_bits: u32,
}

impl<R: Register, const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    FrontEnd<R, ORDER, CHANNELS, COLUMNS>
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
            let rows = folds.map_or(0, |period| fold::section(period, order, code_bits));
            check("samples in a folded section", rows.into(), 1, i64::MAX)?;
        }
        let folds = folded_period(carrier, config, code_bits);
        let fraction_bits = fraction_bits(config, code_bits, folds);
        let bits = width(code_bits + fraction_bits, order, ratio, config.differential_delay.into());
        check("CIC register bits", bits.into(), 1, R::BITS.min(127).into())?;
        let section = section_length(config, code_bits, folds);
        check("samples in a section", section.into(), 1, ratio.into())?;
        let last = match ratio.checked_rem(section) {
            Some(0) | None => section,
            Some(rest) => rest,
        };
        let sparse = config.watch == Watch::Sparse;
        let way = if folds.is_some() {
            Way::Folded(Fold::new(carrier, channels, fraction_bits, [section, last], sparse)?)
        } else {
            Way::Mixed(Mixer::new(carrier, channels, section, fraction_bits, sparse)?)
        };
        let mut cics = Vec::new();
        cics.resize(channels, Cic::default()).map_err(|_| {
            ConfigError::new(Stage::Converter, "channels", channels as i64, 1, CHANNELS as i64)
        })?;
        let (_, exponent) = words_per_code(config, code_bits);
        // The mixer halves an amplitude.
        let shift = exponent + fraction_bits as i32 - 1;
        Ok(Self {
            way,
            cics,
            ratio,
            differential_delay: config.differential_delay,
            interval_weights: IntervalWeights::new(ratio, config.differential_delay),
            section,
            whole_weights: step_weights(section),
            last_weights: step_weights(last),
            missing: ratio,
            section_missing: section,
            first: true,
            last: section == ratio,
            shift: Shift::new(shift),
            code_bits,
        })
    }

    /// Whether the carrier is folded (no multiplication per sample).
    #[must_use]
    pub const fn is_folded(&self) -> bool {
        matches!(self.way, Way::Folded(_))
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

    /// Frames still missing to the next output.
    #[must_use]
    pub const fn missing(&self) -> u32 {
        self.missing
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
        match &mut self.way {
            Way::Folded(fold) => fold.seek(into),
            Way::Mixed(mixer) => mixer.seek(sample - u64::from(into), into),
        }
        self.cics.fill(Cic::default());
        self.missing = self.ratio - (position - into);
        self.start_section();
        let rest = if into == 0 { 0 } else { self.section_missing - into };
        self.missing -= into;
        self.section_missing -= into;
        if self.is_folded() || sample == 0 {
            return sample;
        }
        sample + u64::from(rest) + ORDER as u64 - 1
    }

    fn start_section(&mut self) {
        self.first = self.missing == self.ratio;
        self.last = self.missing <= self.section;
        self.section_missing = self.section.min(self.missing);
    }

    /// Takes whole frames up to the end of the interval, at most [`Self::missing`].
    #[inline(never)]
    pub fn push(&mut self, frames: &[i32]) {
        let channels = self.cics.len();
        let mut rest = frames;
        while !rest.is_empty() {
            let room = (self.section_missing as usize * channels).min(rest.len());
            let (now, later) = rest.split_at_checked(room).unwrap_or((rest, &[]));
            match &mut self.way {
                Way::Folded(fold) => fold.push(now),
                Way::Mixed(mixer) => mixer.push(now),
            }
            let taken = now.len().checked_div(channels).unwrap_or(0) as u32;
            self.missing -= taken;
            self.section_missing -= taken;
            if self.section_missing == 0 {
                self.end_section();
            }
            rest = later;
        }
    }

    #[inline(never)]
    fn end_section(&mut self) {
        let weights = if self.last { &self.last_weights } else { &self.whole_weights };
        match &mut self.way {
            Way::Folded(fold) => fold.finish(&mut self.cics, self.first, self.last, weights),
            Way::Mixed(mixer) => mixer.finish(&mut self.cics, self.first, weights),
        }
        self.start_section();
    }

    /// Ends a full interval: writes each channel's phasor.
    ///
    /// In: CIC output, the register; out Q12.52: shifted by s, half to even, saturated at ±8 (which
    /// codes within their b bits cannot reach).
    #[inline(never)]
    pub fn decimate(&mut self, out: &mut [Phasor]) -> Interval {
        let over_range = match &mut self.way {
            Way::Folded(fold) => fold.over_range(self.code_bits),
            Way::Mixed(mixer) => mixer.over_range(self.code_bits),
        };
        let mut interval = Interval { over_range, saturated: false };
        for (cic, phasor) in self.cics.iter_mut().zip(out) {
            let [i, q] = cic.decimate(&self.interval_weights).map(|part| {
                let (word, saturated) = part.to_word(self.shift);
                interval.saturated |= saturated;
                word
            });
            *phasor = Phasor { i, q };
        }
        self.missing = self.ratio;
        self.start_section();
        interval
    }
}
