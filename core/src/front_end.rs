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

use crate::cic::{Cic, CicBank, gain, step_weights, width};
use crate::config::{FrontEndConfig, Path};
use crate::error::{ConfigError, Stage};
use crate::fold::{self, Fold, sum_bound};
use crate::mixer::{Mixer, TABLE_BITS, section};
use crate::word::{WORD_LIMIT, Word, saturate, shift_round};
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

// The folded way carries its columns in itself: no allocation to point to.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug)]
enum Way<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    Folded(Fold<ORDER, COLUMNS>),
    Mixed(Mixer<ORDER, CHANNELS, COLUMNS>),
}

/// Mixer and first decimation of all channels.
#[derive(Clone, Debug)]
pub struct FrontEnd<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    way: Way<ORDER, CHANNELS, COLUMNS>,
    cics: CicBank<ORDER, CHANNELS>,
    ratio: u32,
    differential_delay: u8,
    /// Section length, and integrator weights for a whole and for the last section.
    section: u32,
    whole_weights: [i64; ORDER],
    last_weights: [i64; ORDER],
    /// Frames taken of the running output interval.
    position: u32,
    shift: i32,
    code_bits: u32,
    over_range: u32,
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    FrontEnd<ORDER, CHANNELS, COLUMNS>
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
        let room =
            folds.is_some_and(|p| Fold::<ORDER, COLUMNS>::phases(p) as usize * channels <= COLUMNS);
        let folded = match config.path {
            Path::Auto => room,
            Path::Coherent => {
                check("carrier periods in the ratio", i64::from(folds.is_some()), 1, i64::MAX)?;
                true
            }
            Path::General => false,
        };
        let fraction_bits = if folded { fold::FRACTION_BITS } else { TABLE_BITS };
        let bits = width(code_bits + fraction_bits, order, ratio, config.differential_delay.into());
        check("CIC register bits", bits.into(), 1, 127)?;
        let section = match folds.filter(|_| folded) {
            Some(period) => {
                let fits = |l: &u32| sum_bound(order, code_bits, *l) <= 1 << 62;
                let longest = (1..=ratio / period).map(|n| n * period).take_while(fits).last();
                longest.unwrap_or(0)
            }
            None => section(order, code_bits, COLUMNS).min(ratio),
        };
        check("samples in a section", section.into(), 1, ratio.into())?;
        let way = if folded {
            Way::Folded(Fold::new(carrier, channels, code_bits)?)
        } else {
            Way::Mixed(Mixer::new(carrier, channels, section)?)
        };
        let mut cics = Vec::new();
        cics.resize(channels, Cic::default()).map_err(|_| {
            ConfigError::new(Stage::Converter, "channels", channels as i64, 1, CHANNELS as i64)
        })?;
        let last = match ratio % section {
            0 => section,
            rest => rest,
        };
        let (_, exponent) = words_per_code(config, code_bits);
        // The mixer halves an amplitude.
        let shift = exponent + fraction_bits as i32 - 1;
        Ok(Self {
            way,
            cics,
            ratio,
            differential_delay: config.differential_delay,
            section,
            whole_weights: step_weights(section),
            last_weights: step_weights(last),
            position: 0,
            shift,
            code_bits,
            over_range: 0,
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
        self.ratio - self.position
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
        self.position = position;
        self.over_range = 0;
        if self.is_folded() || sample == 0 {
            return sample;
        }
        let length = self.section.min(self.ratio - (position - into));
        let rest = if into == 0 { 0 } else { length - into };
        sample + u64::from(rest) + ORDER as u64 - 1
    }

    /// Takes whole frames up to the end of the interval, at most [`Self::missing`].
    pub fn push(&mut self, frames: &[i32]) {
        let channels = self.cics.len();
        let mut rest = frames;
        while !rest.is_empty() {
            let done = self.position.checked_rem(self.section).unwrap_or(0);
            let length = self.section.min(self.ratio - (self.position - done));
            let room = ((length - done) as usize * channels).min(rest.len());
            let (now, later) = rest.split_at_checked(room).unwrap_or((rest, &[]));
            match &mut self.way {
                Way::Folded(fold) => fold.push(now),
                Way::Mixed(mixer) => mixer.push(now),
            }
            let taken = now.len().checked_div(channels).unwrap_or(0) as u32;
            self.position += taken;
            if done + taken >= length {
                self.end_section(length);
            }
            rest = later;
        }
    }

    fn end_section(&mut self, length: u32) {
        let weights = if length == self.section { &self.whole_weights } else { &self.last_weights };
        let (cics, over_range, bit) = (&mut self.cics, &mut self.over_range, self.code_bits - 1);
        let sink = |channel: usize, sums: &[[i128; 2]; ORDER], seen: i32| {
            if let Some(cic) = cics.get_mut(channel) {
                cic.advance(sums, weights);
            }
            // `seen` is a code's reach: no bit at or above b-1 but for an end code or beyond.
            *over_range |= u32::from(seen >> bit != 0) << channel;
        };
        match &mut self.way {
            Way::Folded(fold) => fold.finish(sink),
            Way::Mixed(mixer) => mixer.finish(sink),
        }
    }

    /// Ends a full interval: writes each channel's phasor.
    ///
    /// In: CIC output, `i128`; out Q12.52: shifted by s, half to even, saturated at ±8 (which
    /// codes within their b bits cannot reach).
    pub fn decimate(&mut self, out: &mut [Phasor]) -> Interval {
        let mut interval = Interval { over_range: self.over_range, saturated: false };
        for (cic, phasor) in self.cics.iter_mut().zip(out) {
            let [i, q] = cic.decimate(self.differential_delay).map(|part| {
                let part = if self.shift >= 0 {
                    shift_round(part, self.shift.unsigned_abs())
                } else {
                    part << self.shift.unsigned_abs().min(63)
                };
                let (bits, saturated) = saturate(part, WORD_LIMIT);
                interval.saturated |= saturated;
                Word::from_bits(bits)
            });
            *phasor = Phasor { i, q };
        }
        self.position = 0;
        self.over_range = 0;
        interval
    }
}
