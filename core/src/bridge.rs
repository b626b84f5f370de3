//! **Bridge inversion.** Aligned phasors to gap fraction, exactly (not the linear slope), with both
//! electrodes of a pair as they are.
//!
//! Receives phasors from [`crate::phasor`] and what a pair's gaps and tilts are at a position from
//! [`crate::housing`]; hands displacements to [`crate::axes`].
//!
//! With C1 = w1 d1 T1/(D1 - x), C2 = w2 d2 T2/(D2 + x) (in units of the pair's capacitance at rest, w its
//! shares, d the gaps at rest, D the gaps but for x, T what tilt does, lengths in units of the reference
//! gap), both wirings lead to
//!
//! p (D1 - x) - q (D2 + x) + s (D1 - x)(D2 + x) = 0
//!
//! - difference bridge, r = C1 - C2: p = w2 d2 T2, q = w1 d1 T1, s = r;
//! - separate electrodes, a1 : a2 = C1 + s1 : C2 + s2 with their strays s1, s2: p = a1 w2 d2 T2,
//!   q = a2 w1 d1 T1, s = a1 s2 - a2 s1. What polarises the mass is in both amplitudes alike: it need
//!   not be known.
//!
//! For a pair of equal, parallel electrodes these are u = 2 r/(1 + sqrt(1 + 4 r^2)), r = u/(1 - u^2), and
//! u = (a1 - a2)/(a1 + a2 - strays).

use crate::config::{BridgeConfig, BridgeKind};
use crate::guard::Checksum;
use crate::health::Health;
use crate::monitor::RATIO_BITS;
use crate::phasor::Phasor;
use crate::word::{Fraction, Word, ratio, square_root, times};

/// 1 in the formats of this stage, Q6.58.
pub(crate) const ONE: i64 = 1 << RATIO_BITS;
/// Largest |r| the inversion takes, 5.5: u = 0.913 of an equal pair.
const RATIO_LIMIT: i64 = 11 << (RATIO_BITS - 1);

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

/// A bridge as the chain keeps it: [`BridgeConfig`] without an enumeration, whose mark a flipped bit
/// would make unlike any.
#[derive(Clone, Copy, Debug)]
pub struct Bridge {
    /// 1 for one channel that reads C1 - C2, 2 for a channel of each electrode.
    wiring: u32,
    channels: [u8; 2],
    /// Of one channel: word of the whole bridge; of two: the smallest sum.
    word: Word,
    /// Strays over C01 + C02.
    strays: [Fraction; 2],
    /// w1 d1, w2 d2.
    weights: [Fraction; 2],
    gaps: [Fraction; 2],
    gap_am: i64,
    offset_am: i64,
    range: Fraction,
    quadrature: Fraction,
    phase: Fraction,
    floor: Fraction,
}

const ONE_CHANNEL: u32 = 1;
const TWO_CHANNELS: u32 = 2;

/// What a bridge's phasors say, before the position is known: the same in every round.
#[derive(Clone, Copy, Debug, Default)]
pub struct Measured {
    /// r of a difference bridge; a1/(a1 + a2), a2/(a1 + a2) of separate electrodes: Q6.58.
    amplitudes: [i64; 2],
    quadrature: i64,
    health: Health,
}

/// A pair at a position: gaps but for the bridge's own displacement, and capacitance over that of
/// parallel plates, of electrodes 1 and 2; Q6.58, gaps in units of the reference gap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pair {
    /// D1 and D2.
    pub gaps: [i64; 2],
    /// T1 and T2.
    pub tilts: [i64; 2],
}

impl Measured {
    /// Of a difference bridge the ratio r, Q6.58; of separate electrodes a1/(a1 + a2).
    pub(crate) const fn amplitude(&self) -> i64 {
        self.amplitudes[0]
    }

    /// Takes so much off that, saturated.
    pub(crate) const fn take_off(&mut self, share: i64) {
        self.amplitudes[0] = self.amplitudes[0].saturating_sub(share);
    }
}

impl Bridge {
    /// Fills room for bridges.
    pub(crate) const NONE: Self = Self {
        wiring: 0,
        channels: [0; 2],
        word: Word::ZERO,
        strays: [Fraction::ZERO; 2],
        weights: [Fraction::ZERO; 2],
        gaps: [Fraction::ZERO; 2],
        gap_am: 0,
        offset_am: 0,
        range: Fraction::ZERO,
        quadrature: Fraction::ZERO,
        phase: Fraction::ZERO,
        floor: Fraction::ZERO,
    };

    /// The same constants.
    #[must_use]
    pub const fn new(config: &BridgeConfig) -> Self {
        let BridgeConfig { kind, strays, gaps, gap_am, .. } = *config;
        let BridgeConfig { offset_am, range, quadrature, phase, floor, .. } = *config;
        let (wiring, channels, word) = match kind {
            BridgeKind::Difference { channel, full } => (ONE_CHANNEL, [channel; 2], full),
            BridgeKind::Separate { channels, least_sum } => (TWO_CHANNELS, channels, least_sum),
        };
        let ([w1, w2], [d1, d2]) = (config.weights, gaps);
        let weights = [weight(w1, d1), weight(w2, d2)];
        Self {
            wiring,
            channels,
            word,
            strays,
            weights,
            gaps,
            gap_am,
            offset_am,
            range,
            quadrature,
            phase,
            floor,
        }
    }

    /// Sums up what never changes.
    #[inline(never)]
    pub(crate) fn check(&self, sum: &mut Checksum) {
        sum.add(self.wiring);
        self.channels.iter().for_each(|channel| sum.add(u32::from(*channel)));
        sum.add_all_long(&[self.word.to_bits(), self.gap_am, self.offset_am]);
        let pairs = [self.strays, self.weights, self.gaps];
        pairs.iter().flatten().for_each(|fraction| sum.add_long(fraction.to_bits()));
        let limits = [self.range, self.quadrature, self.phase, self.floor];
        limits.iter().for_each(|fraction| sum.add_long(fraction.to_bits()));
    }

    /// The reference gap, attometres.
    pub(crate) const fn gap_am(&self) -> i64 {
        self.gap_am
    }

    /// The pair at rest.
    #[must_use]
    pub fn at_rest(&self) -> Pair {
        Pair { gaps: self.gaps.map(|gap| gap.to_bits() >> (62 - RATIO_BITS)), tilts: [ONE; 2] }
    }

    /// What the phasors say: amplitudes and quadrature over those of the whole bridge, `scale` being the
    /// monitor's ratio.
    ///
    /// In: phasors Q12.52 (below 2^55), scale Q6.58 (below 2^63). Scaled words below 2^60; times 2^58
    /// below 2^118, over a full-bridge word of 2^30 or more; out Q6.58, half to even, saturated.
    #[inline(never)]
    #[must_use]
    pub fn measure(&self, phasors: &[Phasor], scale: i64) -> Measured {
        let at = |channel: u8| phasors.get(usize::from(channel)).copied().unwrap_or_default();
        let [a, b] = self.channels.map(at);
        let one = self.wiring == ONE_CHANNEL;
        let [a, b] = [a, b].map(|p| [p.i.to_bits(), p.q.to_bits()]);
        // Amplitudes as they are read, and what they are judged by.
        let (divisor, scale, mut health) = if one {
            (self.word.to_bits(), scale, Health::OK)
        } else {
            let sum = a[0].wrapping_add(b[0]);
            let lost = sum < self.word.to_bits();
            (sum, ONE, Health::when(Health::CARRIER_LOST, lost))
        };
        // Scaled words are below 2^60, times 2^58 below 2^118.
        let over = |x: i64| ratio(times(x, scale, RATIO_BITS), RATIO_BITS, divisor);
        let first = over(a[0]);
        let beyond = first.unsigned_abs() > RATIO_LIMIT.unsigned_abs();
        health |= Health::when(Health::BRIDGE_RANGE, one & beyond);
        let first = first.clamp(-RATIO_LIMIT, RATIO_LIMIT);
        // Against the signal, what is left of it in quadrature tells a phase that is off.
        let (signal, off, quadrature) = if one {
            let quadrature = over(a[1]);
            (first, quadrature.saturating_abs(), quadrature)
        } else {
            let [a, b] = [a[1], b[1]].map(over);
            (ONE, a.saturating_abs().saturating_add(b.saturating_abs()), a.saturating_sub(b))
        };
        let floor = self.floor.to_bits() >> (62 - RATIO_BITS);
        let allowed =
            times(signal.saturating_abs(), self.phase.to_bits(), 62).saturating_add(floor);
        // Q2.62, saturated.
        const MOST: i64 = i64::MAX >> (62 - RATIO_BITS);
        let quadrature = quadrature.clamp(-MOST, MOST) << (62 - RATIO_BITS);
        let wrong = quadrature.saturating_abs() > self.quadrature.to_bits() || off > allowed;
        health |= Health::when(Health::QUADRATURE, wrong);
        // The two shares of separate electrodes add up to 1.
        let second = if one { 0 } else { ONE.wrapping_sub(first) };
        Measured { amplitudes: [first, second], quadrature, health }
    }

    /// Displacement at a pair, `polarisation` being the carrier on the mass at rest over now, Q6.58.
    ///
    /// In: ratios and a pair in Q6.58, weights and strays Q2.62; each product is rounded half to even to
    /// Q6.58. Out: see [`gap_fraction`].
    #[inline(never)]
    #[must_use]
    pub fn invert(&self, measured: &Measured, pair: &Pair, polarisation: i64) -> BridgeReading {
        let times = |x: i64, y: i64| times(x, y, RATIO_BITS);
        let [w1, w2] = self.weights.map(Fraction::to_bits);
        let [t1, t2] = pair.tilts;
        // Q2.62 x Q6.58.
        let [w1, w2] = [[w1, t1], [w2, t2]].map(|[w, t]| crate::word::times(w, t, 62));
        let [s1, s2] = self.strays.map(|stray| stray.to_bits() >> (62 - RATIO_BITS));
        let [a1, a2] = measured.amplitudes;
        let mut health = measured.health;
        let (p, q, s) = if self.wiring == ONE_CHANNEL {
            // Below 5.5 x 32.
            let r = times(a1, polarisation).saturating_sub(s1 - s2);
            health |= Health::when(Health::BRIDGE_RANGE, r.saturating_abs() > RATIO_LIMIT);
            (w2, w1, r)
        } else {
            (times(a1, w2), times(a2, w1), times(a1, s2).wrapping_sub(times(a2, s1)))
        };
        let u = gap_fraction([p, q], s, pair.gaps);
        let beyond = u.is_none();
        let u = u.unwrap_or(0);
        let beyond = beyond | (u.unsigned_abs() > self.range.to_bits().unsigned_abs());
        health |= Health::when(Health::BRIDGE_RANGE, beyond);
        // |u| < 2 and gap <= 1e18: below 2^61 am after the shift.
        let displacement = crate::word::times(self.gap_am, u, 62);
        BridgeReading {
            gap_fraction: Fraction::from_bits(u),
            displacement_am: displacement.saturating_sub(self.offset_am),
            quadrature: Fraction::from_bits(measured.quadrature),
            health,
        }
    }
}

/// Of a pair's capacitance at rest the share of an electrode, by its gap.
const fn weight(share: Fraction, gap: Fraction) -> Fraction {
    Fraction::from_bits(times(share.to_bits(), gap.to_bits(), 62))
}

/// The u with p (D1 - u) - q (D2 + u) + s (D1 - u)(D2 + u) = 0 that lies between the electrodes, Q2.62;
/// `None` where there is none within two gaps.
///
/// With b = p + q - s (D1 - D2) and c = p D1 - q D2 + s D1 D2: u = 2 c/(b + sqrt(b^2 + 4 s c)), stable at
/// c = 0. In Q6.58, taken as |s| <= 5.5, |p|, |q| <= 2.25 and 0 <= D <= 2: |b| < 2^4 and |c| < 2^5, so the
/// radicand, Q12.116, is below 2^127; root Q6.58 rounded down; c 2^63 below 2^126. Out half to even,
/// within eight steps of the root where |u| <= 0.9 and electrodes are alike.
#[inline(never)]
#[must_use]
pub fn gap_fraction([p, q]: [i64; 2], s: i64, gaps: [i64; 2]) -> Option<i64> {
    const MOST: i64 = 9 * (ONE / 4);
    let times = |x: i64, y: i64| times(x, y, RATIO_BITS);
    let s = s.clamp(-RATIO_LIMIT, RATIO_LIMIT);
    let [p, q] = [p, q].map(|x| x.clamp(-MOST, MOST));
    let [d1, d2] = gaps.map(|gap| gap.clamp(0, 2 * ONE));
    let b = p + q - times(s, d1 - d2);
    let c = times(p, d1) - times(q, d2) + times(s, times(d1, d2));
    let radicand = i128::from(b) * i128::from(b) + 4 * i128::from(s) * i128::from(c);
    if radicand < 0 {
        return None;
    }
    let root = square_root(radicand.unsigned_abs());
    let u = ratio(c, 63, i64::try_from(root.wrapping_add_signed(b)).ok()?);
    if u.unsigned_abs() < i64::MAX.unsigned_abs() { Some(u) } else { None }
}
