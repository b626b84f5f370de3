//! **Housing.** The mass as a rigid body between its electrodes: every electrode's gap and tilt at a
//! position, and with them what polarises the mass.
//!
//! Receives a position from [`crate::axes`], hands [`Pair`]s to [`crate::bridge`] and the polarisation to
//! [`crate::position`].
//!
//! With R the rotation by the vector (theta, eta, phi), t the translation, n an electrode's normal, e its
//! centre from the mass's at rest and d its gap at rest, the face of the mass opposite has the normal
//! m = R n, and the gap at the electrode's centre is, exactly,
//!
//! g = (d - t m + e (m - n))/(n m)
//!
//! and changes along the electrode's half sides W by (W m)/(n m). Its capacitance is C0 (d/g) T, T the mean
//! of 1/(1 - a s - b v) over s, v from -1 to 1, a and b being those changes over g. The carrier on the mass
//! is proportional to the injection electrodes' part of all capacitance.

mod place;

pub use place::Place;

use crate::bridge::{ONE, Pair};
use crate::config::ElectrodeConfig;
use crate::guard::Checksum;
use crate::monitor::RATIO_BITS;
use crate::word::{Fraction, dot, ratio, times};

/// Electrodes there is room for, for every channel.
pub const ELECTRODES_PER_CHANNEL: usize = 3;

/// Largest ratio of gaps, and of polarisations: beyond it a reading is flagged.
const MOST_RATIO: i64 = 15 * ONE;

/// Terms of the tilt's series behind the first: with a + b at most [`MAX_TILT`] the next is below 3e-12.
const TERMS: usize = 16;
/// Largest |a| + |b|, half, Q2.62.
const MAX_TILT: i64 = 1 << 61;
/// 1/((2 n + 1)(n + 1)) for n from 1, Q2.62.
const WEIGHTS: [i64; TERMS] = {
    let (mut weights, mut n) = ([0; TERMS], 0);
    while n < TERMS {
        let product = (2 * n as i64 + 3) * (n as i64 + 2);
        weights[n] = ((1 << 62) + product / 2) / product;
        n += 1;
    }
    weights
};

/// One electrode at a place.
#[derive(Clone, Copy, Debug)]
struct Seen {
    gap_am: i64,
    /// T, Q6.58.
    tilt: i64,
    /// C/C0 - 1, Q6.58.
    rise: i64,
    /// Too close or too oblique for the formulas.
    beyond: bool,
}

impl ElectrodeConfig {
    /// The electrode at a place.
    ///
    /// Gap: in am, Q2.62 and their products, exact in `i128`; 1/(n m) by its series in
    /// w = n m - 1 to the third power (the fourth, 4e-13 at 0.04 rad, is left out); within 4 am. Slopes: I8F24 as Q16.48
    /// x Q2.62, out Q2.62. Gap ratio: d x 2^58 over g, half to even, saturated at 15.
    #[inline(never)]
    fn seen(&self, place: &Place) -> Seen {
        let normal = self.normal.map(Fraction::to_bits);
        // m - n: R - 1 on the normal.
        let change = place.turn.each_ref().map(|row| dot(row, &normal, 62));
        let along = dot(&change, &normal, 62);
        // 1 - 1/(1 + w) = w (1 - w (1 - w)).
        const UNIT: i64 = Fraction::ONE.to_bits();
        let less = times(along, UNIT.wrapping_sub(along), 62);
        let less = times(along, UNIT.wrapping_sub(less), 62);
        let over = |x: i64| x.wrapping_sub(times(x, less, 62));
        // t m - e (m - n) = t n + (t - e)(m - n).
        let mut from = [place.translation_am; 2];
        let [_, apart] = &mut from;
        for (apart, centre) in apart.iter_mut().zip(&self.position_am) {
            *apart = apart.saturating_sub(*centre);
        }
        let approach = dot(from.as_flattened(), [normal, change].as_flattened(), 62);
        let gap_am = over(self.gap_am.saturating_sub(approach));
        let ratio = ratio(self.gap_am, RATIO_BITS, gap_am);
        let touching = ratio > MOST_RATIO;
        let ratio = ratio.min(MOST_RATIO);
        // In units of the gap at rest; changes at right angles to the normal.
        let [a, b] = self.half_sides.each_ref().map(|side| {
            let side = side.map(|x| i64::from(x.to_bits()) << 24);
            times(over(dot(&change, &side, 48)), ratio, RATIO_BITS)
        });
        let oblique = a.unsigned_abs().saturating_add(b.unsigned_abs()) > MAX_TILT.unsigned_abs();
        let tilt = if oblique { ONE } else { tilt_factor([a, b]) };
        let rise = times(ratio, tilt, RATIO_BITS) - ONE;
        Seen { gap_am, tilt, rise, beyond: touching | oblique }
    }
}

/// Mean of 1/(1 - a s - b v) over s, v from -1 to 1, a and b Q2.62 with |a| + |b| at most a half; Q6.58.
///
/// With P = (a + b)^2 and M = (a - b)^2: the sum over n of S_n/((2 n + 1)(n + 1)), S_n being the sum of
/// P^i M^(n - i); S_n = P S_(n-1) + M^n. All terms are positive and below 1; each product is rounded half
/// to even, together below 2^-56.
#[must_use]
pub fn tilt_factor([a, b]: [i64; 2]) -> i64 {
    let product = |x: i64, y: i64| times(x, y, 62);
    let [plus, minus] = [a.wrapping_add(b), a.wrapping_sub(b)].map(|x| product(x, x));
    let (mut sum, mut power, mut total) = (plus + minus, minus, Fraction::ONE.to_bits());
    for weight in &WEIGHTS {
        let term = product(sum, *weight);
        if term == 0 {
            // Later ones are smaller.
            break;
        }
        total += term;
        power = product(power, minus);
        sum = product(sum, plus) + power;
    }
    // To Q6.58.
    (total >> 4) + i64::from(total & 15 > 8 || total & 31 == 24)
}

/// The electrodes, those of bridge b at 2 b and 2 b + 1, then all others that move.
#[derive(Clone, Copy, Debug)]
pub struct Housing<const CHANNELS: usize> {
    room: [[ElectrodeConfig; ELECTRODES_PER_CHANNEL]; CHANNELS],
    count: usize,
}

impl<const CHANNELS: usize> Housing<CHANNELS> {
    /// Without electrodes: pairs are taken as at rest.
    pub const NONE: Self =
        Self { room: [[ElectrodeConfig::NONE; ELECTRODES_PER_CHANNEL]; CHANNELS], count: 0 };

    /// Room.
    pub const MOST: usize = CHANNELS * ELECTRODES_PER_CHANNEL;

    /// Copies the electrodes, at most [`Self::MOST`].
    #[must_use]
    pub const fn new(electrodes: &[ElectrodeConfig]) -> Self {
        let mut housing = Self::NONE;
        let mut rest = electrodes;
        while let [electrode, later @ ..] = rest
            && housing.count < Self::MOST
        {
            let (row, column) =
                (housing.count / ELECTRODES_PER_CHANNEL, housing.count % ELECTRODES_PER_CHANNEL);
            housing.room[row][column] = *electrode;
            housing.count += 1;
            rest = later;
        }
        housing
    }

    /// The electrodes.
    #[must_use]
    pub fn electrodes(&self) -> &[ElectrodeConfig] {
        self.room.as_flattened().get(..self.count).unwrap_or(&[])
    }

    /// Sums up what never changes.
    pub(crate) fn check(&self, sum: &mut Checksum) {
        sum.add_size(self.count);
        self.electrodes().iter().for_each(|electrode| electrode.check(sum));
    }
}

/// All pairs and the polarisation at a place. `displacements` are those that the axes give for each bridge
/// (attometres), `gaps_am` the bridges' reference gaps.
///
/// Returns the carrier on the mass at rest over now, Q6.58: (1 + sum of shares of all capacitance x rise)
/// over (1 + sum of shares of the injection's x rise); rises are below 2^5, shares add up to 1 at most. And
/// whether an electrode was beyond what the formulas are for.
#[inline(never)]
pub fn place_pairs(
    electrodes: &[ElectrodeConfig],
    place: &Place,
    bridges: impl Iterator<Item = (i64, i64)>,
    pairs: &mut [Pair],
) -> (i64, bool) {
    let (mut total, mut drive, mut beyond) = (ONE, ONE, false);
    let mut pairs = pairs.iter_mut();
    let mut bridges = bridges;
    // Two by two: first those of the bridges.
    for two in electrodes.chunks(2) {
        let mut own = pairs.next().zip(bridges.next());
        for (number, electrode) in two.iter().enumerate() {
            let seen = electrode.seen(place);
            beyond |= seen.beyond;
            // Most have no part in the injection.
            let share = |of: Fraction| if of == 0 { 0 } else { times(seen.rise, of.to_bits(), 62) };
            total = total.saturating_add(share(electrode.total_share));
            drive = drive.saturating_add(share(electrode.drive_share));
            let Some((pair, (displacement, reference))) = &mut own else { continue };
            let towards = if number == 0 { *displacement } else { -*displacement };
            let gap = ratio(seen.gap_am.saturating_add(towards), RATIO_BITS, *reference);
            beyond |= gap > 2 * ONE;
            if let (Some(to), Some(tilt)) = (pair.gaps.get_mut(number), pair.tilts.get_mut(number))
            {
                (*to, *tilt) = (gap, seen.tilt);
            }
        }
    }
    let all = ratio(total, RATIO_BITS, drive);
    (all.clamp(-MOST_RATIO, MOST_RATIO), beyond | (all > MOST_RATIO))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::HalfSide;

    const MM: i64 = 1_000_000_000_000_000;

    /// A gap of 2 mm along x, 10 mm off, sides of 20 mm.
    fn plate() -> ElectrodeConfig {
        ElectrodeConfig {
            gap_am: 2 * MM,
            position_am: [10 * MM, 0, 0],
            normal: [Fraction::ONE, Fraction::ZERO, Fraction::ZERO],
            half_sides: [[0, 5, 0], [0, 0, 5]].map(|side| side.map(HalfSide::from_num)),
            ..ElectrodeConfig::NONE
        }
    }

    /// Too close at 15 times the capacitance, too oblique where slopes add up to a half: each by itself.
    #[test]
    fn too_close_or_too_oblique() {
        let at = |x: i64, turn: i64| plate().seen(&Place::new([x, 0, 0, 0, 0, turn]));
        assert!(!at(0, 0).beyond && at(0, 0).gap_am == 2 * MM);
        // Touching: a fifteenth of the gap is left at 1.866 mm.
        assert!(!at(1_866 * MM / 1000, 0).beyond);
        assert!(at(1_868 * MM / 1000, 0).beyond);
        // Oblique: 5 gaps of half side times 0.1 rad, and the gap itself is 2 % less there.
        let milliradian = MM;
        assert!(!at(0, 95 * milliradian).beyond);
        assert!(at(0, 101 * milliradian).beyond && at(0, -101 * milliradian).beyond);
        assert!(at(0, 95 * milliradian).rise > 0);
    }

    /// A series' weights to the nearest step.
    #[test]
    fn weights_are_the_nearest() {
        for (n, weight) in WEIGHTS.iter().enumerate() {
            let product = (2 * n as i128 + 3) * (n as i128 + 2);
            let off = (i128::from(*weight) * product - (1 << 62)).abs();
            assert!(2 * off <= product, "{n}: {off} of {product}");
        }
    }

    /// A fifteenth of the gap, fifteen times the capacitance and two reference gaps are still within.
    #[test]
    fn limits_themselves() {
        let all = ElectrodeConfig { gap_am: 15 * MM, total_share: Fraction::ONE, ..plate() };
        let place = |x: i64| Place::new([x, 0, 0, 0, 0, 0]);
        assert!(!all.seen(&place(14 * MM)).beyond);
        assert!(all.seen(&place(14 * MM + 1)).beyond);
        let at = |x: i64| place_pairs(&[all], &place(x), [].into_iter(), &mut []);
        assert_eq!(at(14 * MM), (MOST_RATIO, false));
        // Too close, and more than is taken.
        let twice = place_pairs(&[all, all], &place(14 * MM + 1), [].into_iter(), &mut []);
        assert_eq!(twice, (MOST_RATIO, true));
        let at = |displacement: i64| {
            let mut pairs = [Pair::default()];
            let bridge = [(displacement, 2 * MM)];
            place_pairs(&[plate()], &place(0), bridge.into_iter(), &mut pairs).1
        };
        assert!(!at(2 * MM));
        assert!(at(2 * MM + 1));
        assert!(at(3 * MM));
    }

    /// Slopes of a half of the gap, to the bit: R - 1 here turns the normal by a quarter of its length, across
    /// it alone, along half sides of two gaps.
    #[test]
    fn a_slope_of_a_half() {
        let plate = ElectrodeConfig {
            half_sides: [[0, 2, 0], [0, 0, 2]].map(|side| side.map(HalfSide::from_num)),
            ..plate()
        };
        let at = |quarter: i64| {
            let turn = [[0; 3], [quarter, 0, 0], [0; 3]];
            plate.seen(&Place { translation_am: [0; 3], turn })
        };
        let oblique = at(1 << 60);
        assert!(!oblique.beyond && oblique.gap_am == 2 * MM);
        // 2 atanh(1/2) = ln 3.
        assert!((oblique.tilt as f64 / ONE as f64 - 3f64.ln()).abs() < 4e-12);
        assert!(at((1 << 60) + 1).beyond);
    }

    /// Of an injection electrode that moves alone the polarisation keeps its part of all capacitance.
    #[test]
    fn the_part_of_injection() {
        let half = Fraction::from_bits(1 << 61);
        let drive = ElectrodeConfig { total_share: half, drive_share: Fraction::ONE, ..plate() };
        let at = |x: i64, electrodes: &[ElectrodeConfig]| {
            let place = Place::new([x, 0, 0, 0, 0, 0]);
            place_pairs(electrodes, &place, [].into_iter(), &mut [])
        };
        assert_eq!(at(0, &[drive]), (ONE, false));
        // C = 2 C0: all capacitance is half as much again, that of the drive twice.
        let (ratio, beyond) = at(MM, &[drive]);
        assert!((ratio - ONE / 4 * 3).abs() < 8 && !beyond, "{ratio}");
        // A sensing electrode: more capacitance, less polarisation.
        let sense = ElectrodeConfig { total_share: half, ..plate() };
        let (ratio, _) = at(MM, &[sense]);
        assert!((ratio - ONE / 2 * 3).abs() < 8, "{ratio}");
        // Two that rise by 12 and have all of the capacitance twice over: 25 is more than is taken.
        let all = ElectrodeConfig { total_share: Fraction::ONE, ..plate() };
        let x = 2 * MM / 13 * 12;
        let (ratio, beyond) = at(x, &[all]);
        assert!((ratio - 13 * ONE).abs() < ONE / 1000 && !beyond, "{ratio}");
        assert_eq!(at(x, &[all, all]), (MOST_RATIO, true));
    }
}
