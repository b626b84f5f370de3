//! **Bridge inversion.** Aligned phasors to gap fraction, exactly (not the linear slope).
//!
//! Receives phasors from [`crate::phasor`], hands displacements to [`crate::axes`].
//!
//! With C1 = eps0 A/(d - x), C2 = eps0 A/(d + x) and u = x/d:
//! a difference bridge reads r = a/a0 = u/(1 - u^2), so u = 2 r/(1 + sqrt(1 + 4 r^2));
//! separate electrodes read u = (a1 - a2)/(a1 + a2 - s1 - s2) with their strays s taken off.

use crate::config::{BridgeConfig, BridgeKind, MonitorConfig};
use crate::guard::Checksum;
use crate::health::Health;
use crate::phasor::Phasor;
use crate::word::{
    Fraction, Word, divide_round, multiply_round, saturate, scale_by_fraction, shift_round,
    square_root,
};

/// Fraction bits of bridge and monitor ratios (Q4.60).
const RATIO_BITS: u32 = 60;
/// Largest |r| the inversion takes, 5.5 (u = 0.913): 1 + 4 r^2 stays below 2^127 in Q.120.
const RATIO_LIMIT: i64 = 11 << (RATIO_BITS - 1);
/// Rounds of the polarisation correction; each leaves at most a fifth of the error before it.
const CORRECTION_ROUNDS: usize = 12;

/// One bridge of a reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BridgeReading {
    /// Gap fraction u = x/d, Q2.62.
    pub gap_fraction: Fraction,
    /// Displacement u d less the calibrated offset, attometres.
    pub displacement_am: i64,
    /// Quadrature in the unit of the ratio r, Q2.62, saturated: loss, phase drift or wrong alignment.
    pub quadrature: Fraction,
    /// What is wrong with this bridge.
    pub health: Health,
}

/// m_cal / m, Q4.60, and the carrier's health. 1 when there is no monitor.
///
/// In: magnitude Q12.52 (below 2^55.5), calibration Q12.52; quotient of (calibration x 2^60)
/// (below 2^116) rounded half to even; saturated at 8 (a lost carrier).
#[inline(never)]
#[must_use]
pub fn monitor_ratio(monitor: Option<&MonitorConfig>, phasors: &[Phasor]) -> (i64, Health) {
    let Some(monitor) = monitor else { return (1 << RATIO_BITS, Health::OK) };
    let phasor = phasors.get(usize::from(monitor.channel)).copied().unwrap_or_default();
    let magnitude = phasor.magnitude();
    let health = if magnitude < monitor.lost {
        Health::CARRIER_LOST
    } else if magnitude < monitor.weak {
        Health::CARRIER_WEAK
    } else {
        Health::OK
    };
    let scaled = i128::from(monitor.calibration.to_bits()) << RATIO_BITS;
    let ratio = divide_round(scaled, magnitude.to_bits().into()).unwrap_or(i128::from(i64::MAX));
    (saturate(ratio, i64::MAX).0, health)
}

/// Inverts all bridges of a frame of aligned phasors, `scale` being [`monitor_ratio`].
#[inline(never)]
pub fn invert(configs: &[Bridge], phasors: &[Phasor], scale: i64, out: &mut [BridgeReading]) {
    let corrects = configs.iter().any(|b| b.share != Fraction::ZERO);
    let mut polarisation = 1i64 << RATIO_BITS;
    for _ in 0..if corrects { CORRECTION_ROUNDS } else { 1 } {
        for (config, reading) in configs.iter().zip(out.iter_mut()) {
            *reading = invert_one(config, phasors, scale, polarisation);
        }
        if corrects {
            polarisation = polarisation_ratio(configs, out);
        }
    }
}

/// A bridge as the chain keeps it: [`BridgeConfig`] without an enumeration, whose mark a flipped bit
/// would make unlike any.
#[derive(Clone, Copy, Debug)]
pub struct Bridge {
    /// 1 for one channel that reads C1 - C2, 2 for a channel of each electrode.
    wiring: u32,
    channels: [u8; 2],
    /// Of one channel: word of the whole bridge, imbalance, share of the mass's capacitance.
    full: Word,
    imbalance: Fraction,
    share: Fraction,
    /// Of two channels: strays and the smallest sum.
    strays: [Word; 2],
    least_sum: Word,
    gap_am: i64,
    offset_am: i64,
    range: Fraction,
    quadrature: Fraction,
}

const ONE_CHANNEL: u32 = 1;
const TWO_CHANNELS: u32 = 2;

impl Bridge {
    /// Fills room for bridges.
    pub(crate) const NONE: Self = Self {
        wiring: 0,
        channels: [0; 2],
        full: Word::ZERO,
        imbalance: Fraction::ZERO,
        share: Fraction::ZERO,
        strays: [Word::ZERO; 2],
        least_sum: Word::ZERO,
        gap_am: 0,
        offset_am: 0,
        range: Fraction::ZERO,
        quadrature: Fraction::ZERO,
    };

    /// The same constants.
    #[must_use]
    pub const fn new(config: &BridgeConfig) -> Self {
        let BridgeConfig { kind, gap_am, offset_am, range, quadrature } = *config;
        let bridge = Self { gap_am, offset_am, range, quadrature, ..Self::NONE };
        match kind {
            BridgeKind::Difference { channel, full, imbalance, share } => Self {
                wiring: ONE_CHANNEL,
                channels: [channel; 2],
                full,
                imbalance,
                share,
                ..bridge
            },
            BridgeKind::Separate { channels, strays, least_sum } => {
                Self { wiring: TWO_CHANNELS, channels, strays, least_sum, ..bridge }
            }
        }
    }

    /// Sums up what never changes.
    #[inline(never)]
    pub(crate) fn check(&self, sum: &mut Checksum) {
        sum.add(self.wiring);
        self.channels.iter().for_each(|channel| sum.add(u32::from(*channel)));
        let words = [self.full, self.strays[0], self.strays[1], self.least_sum];
        words.iter().for_each(|word| sum.add_long(word.to_bits()));
        let fractions = [self.imbalance, self.share, self.range, self.quadrature];
        fractions.iter().for_each(|fraction| sum.add_long(fraction.to_bits()));
        sum.add_all_long(&[self.gap_am, self.offset_am]);
    }
}

/// V_m at rest over V_m now, Q4.60: 1 + sum share u^2/(1 - u^2), as a pair's C1 + C2 is 2 C0/(1 - u^2).
///
/// u^2 and its quotient in Q.62: |u| <= 0.913 makes u^2/(1 - u^2) < 5.1 (Q.62 in `i128`);
/// times a share below 1, twelve bridges: below 62, saturated at 8 in Q4.60.
#[inline(never)]
fn polarisation_ratio(configs: &[Bridge], readings: &[BridgeReading]) -> i64 {
    let one = i128::from(Fraction::ONE.to_bits());
    let mut total = one;
    for (config, reading) in configs.iter().zip(readings) {
        let u = reading.gap_fraction.to_bits();
        let square = scale_by_fraction(u, u);
        let quotient = divide_round(square << 62, one - square).unwrap_or(0);
        total += shift_round(quotient * i128::from(config.share.to_bits()), 62);
    }
    saturate(shift_round(total, 62 - RATIO_BITS), i64::MAX).0
}

#[inline(never)]
fn invert_one(config: &Bridge, phasors: &[Phasor], scale: i64, polarisation: i64) -> BridgeReading {
    let at = |channel: u8| phasors.get(usize::from(channel)).copied().unwrap_or_default();
    // Q12.52 (below 2^55) x Q4.60 (below 2^63): back to Q12.52, below 2^58.
    let scaled = |word: Word| multiply_round(word.to_bits(), scale, RATIO_BITS) as i64;
    let (u, quadrature, mut health) = if config.wiring == ONE_CHANNEL {
        let phasor = at(config.channels[0]);
        // (Q12.52 below 2^58 x Q4.60 below 2^63) back to Q12.52, x 2^60 below 2^122.
        let ratio = |word| {
            let corrected = multiply_round(scaled(word), polarisation, RATIO_BITS);
            let (corrected, _) = saturate(corrected, 1 << 62);
            let wide = i128::from(corrected) << RATIO_BITS;
            divide_round(wide, config.full.to_bits().into()).unwrap_or(0)
        };
        let offset = i128::from(config.imbalance.to_bits() >> (62 - RATIO_BITS));
        let (r, beyond) = saturate(ratio(phasor.i) - offset, RATIO_LIMIT);
        let health = if beyond { Health::BRIDGE_RANGE } else { Health::OK };
        (difference_gap_fraction(r), ratio(phasor.q) << (62 - RATIO_BITS), health)
    } else {
        let [a, b] = config.channels.map(at);
        // Within 2^58 and 2^55; beyond only by a flipped bit.
        let first = scaled(a.i).wrapping_sub(config.strays[0].to_bits());
        let second = scaled(b.i).wrapping_sub(config.strays[1].to_bits());
        let sum = first.wrapping_add(second);
        let health =
            if sum < config.least_sum.to_bits() { Health::CARRIER_LOST } else { Health::OK };
        // Below 2^60 x 2^62: exact; a sum not above zero reads as centre, flagged above.
        let over_sum =
            |difference: i64| divide_round(i128::from(difference) << 62, sum.into()).unwrap_or(0);
        let (u, beyond) = saturate(over_sum(first.wrapping_sub(second)), i64::MAX);
        let health = if beyond { health | Health::BRIDGE_RANGE } else { health };
        (u, over_sum(scaled(a.q).wrapping_sub(scaled(b.q))), health)
    };
    if u.unsigned_abs() > config.range.to_bits().unsigned_abs() {
        health |= Health::BRIDGE_RANGE;
    }
    let (quadrature, _) = saturate(quadrature, i64::MAX);
    if quadrature.unsigned_abs() > config.quadrature.to_bits().unsigned_abs() {
        health |= Health::QUADRATURE;
    }
    // |u| < 2 and gap <= 1e18: below 2^61 am after the shift.
    let displacement = scale_by_fraction(config.gap_am, u) - i128::from(config.offset_am);
    BridgeReading {
        gap_fraction: Fraction::from_bits(u),
        displacement_am: saturate(displacement, i64::MAX).0,
        quadrature: Fraction::from_bits(quadrature),
        health,
    }
}

/// u = 2 r/(1 + sqrt(1 + 4 r^2)): stable at r = 0, where it is r.
///
/// In r, Q4.60, |r| <= 5.5. Square exact in `u128`, 1 + 4 r^2 in Q.120 below 2^127; root
/// Q.60 rounded down; numerator 2 r in Q.122 below 2^125.5; out Q2.62, rounded half to even,
/// |u| < 0.92, within two steps (5e-19).
#[inline(never)]
#[must_use]
pub fn difference_gap_fraction(r: i64) -> i64 {
    let r = r.clamp(-RATIO_LIMIT, RATIO_LIMIT);
    let magnitude = u128::from(r.unsigned_abs());
    let root = square_root((1 << (2 * RATIO_BITS)) + 4 * magnitude * magnitude);
    let denominator = (1i128 << RATIO_BITS) + i128::from(root);
    divide_round(i128::from(r) << 63, denominator).unwrap_or(0) as i64
}
