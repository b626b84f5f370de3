//! **Position.** Bridges, axes and housing brought to agree: what a displacement does to the other bridges'
//! gaps, to their tilts and to the carrier on the mass is taken off by the readings themselves.
//!
//! Receives what the bridges measured ([`crate::bridge`]), hands axes to [`crate::readout`].
//!
//! A round inverts the bridges with the pairs and the polarisation known so far, solves the axes, and looks
//! the housing up at that position. Gaps and tilts of the other axes come in at second order: a round leaves
//! a small share of their error. The polarisation p must meet p = G(p), G what the housing says at the
//! position that p leads to; rounds in a row give the slope of G - p, and p takes the step that a straight
//! line asks for. It ends when nothing moves by more than [`SETTLED`] of a gap, or tells that it did not.

use crate::axes::Axes;
use crate::bridge::{Bridge, BridgeReading, Measured, ONE, Pair};
use crate::config::{ElectrodeConfig, MAX_AXES};
use crate::housing::{Place, place_pairs};
use crate::monitor::RATIO_BITS;
use crate::word::{ratio, times};
use heapless::Vec;

/// Most rounds; a reading that is not flagged has settled in fewer.
pub const ROUNDS: usize = 16;
/// Bits of the gap below which a change is none: 2^-42, 2e-13 of it; fewer for gaps below 18 um, of which
/// it would be no four attometres: steps of that size go on for ever.
pub const SETTLED: u32 = 42;

/// Position of a reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Solved {
    /// Largest disagreement of a bridge with the axes, attometres, and whether it is above its limit.
    pub residual_am: i64,
    /// See `residual_am`.
    pub disagree: bool,
    /// Bridges, axes and housing agree.
    pub settled: bool,
    /// Rounds taken.
    pub rounds: usize,
}

/// Inverts all bridges and solves the axes. `pairs` are those at rest, and room for as many as there are
/// bridges. Without electrodes one round is all.
#[inline(never)]
pub fn solve<const BRIDGES: usize>(
    bridges: &[Bridge],
    electrodes: &[ElectrodeConfig],
    matrix: &Axes<BRIDGES>,
    measured: &[Measured],
    pairs: &mut [Pair],
    readings: &mut [BridgeReading],
    axes: &mut Vec<i64, MAX_AXES>,
) -> Solved {
    let mut polarisation = ONE;
    // Polarisation and what it missed by, a round ago.
    let mut before = None;
    let mut solved = Solved::default();
    let bits = |gap_am: i64| 61u32.saturating_sub(gap_am.leading_zeros());
    let settled = bridges.iter().fold(SETTLED, |least, bridge| least.min(bits(bridge.gap_am())));
    while solved.rounds < ROUNDS {
        solved.rounds += 1;
        let mut moved = false;
        let all = bridges.iter().zip(measured).zip(pairs.iter()).zip(readings.iter_mut());
        for (((bridge, measured), pair), reading) in all {
            let old = reading.displacement_am;
            *reading = bridge.invert(measured, pair, polarisation);
            let change = reading.displacement_am.abs_diff(old);
            moved |= change > bridge.gap_am().unsigned_abs() >> settled;
        }
        (solved.residual_am, solved.disagree) = matrix.solve(readings, axes);
        if electrodes.is_empty() {
            solved.settled = true;
            break;
        }
        let place = Place::new(matrix.all_six(axes));
        let gaps =
            bridges.iter().enumerate().map(|(b, bridge)| (matrix.back(b, axes), bridge.gap_am()));
        let (housing, beyond) = place_pairs(electrodes, &place, gaps, pairs);
        let miss = housing - polarisation;
        moved |= miss.unsigned_abs() >> (RATIO_BITS - settled) > 0;
        if before.is_some() && !moved {
            solved.settled = !beyond;
            break;
        }
        let step = before
            .map_or(miss, |(old, old_miss): (i64, i64)| step(polarisation - old, miss, old_miss));
        before = Some((polarisation, miss));
        polarisation = polarisation.saturating_add(step).clamp(ONE >> 4, 15 * ONE);
    }
    solved
}

/// Where a straight line through two rounds' misses meets zero: -miss x moved/(miss - old miss), from the
/// plain step to eight times that, as G's slope may be taken as within 0 to 7/8.
fn step(moved: i64, miss: i64, old_miss: i64) -> i64 {
    let change = old_miss.saturating_sub(miss);
    // Signs alike, or it is the plain step; Q6.58.
    let slope = if change == 0 {
        ONE
    } else {
        ratio(moved.saturating_abs(), RATIO_BITS, change.saturating_abs())
    };
    let slope = if (moved < 0) == (change < 0) { slope } else { ONE };
    times(miss, slope.clamp(ONE / 2, 8 * ONE), RATIO_BITS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sixteenths: moved by 8, missed by 16 and then by 12: a miss that falls by a half of what is moved
    /// takes 24 more.
    #[test]
    fn a_straight_line_to_no_miss() {
        let step = |moved: i64, miss: i64, old: i64| {
            let unit = ONE / 64;
            step(moved * unit, miss * unit, old * unit) as f64 / unit as f64
        };
        assert_eq!(step(8, 12, 16), 24.0);
        assert_eq!(step(-8, -12, -16), -24.0);
        // No line, or one that leads away: the plain step.
        assert_eq!(step(8, 12, 12), 12.0);
        assert_eq!(step(8, 16, 12), 16.0);
        assert_eq!(step(-8, 12, 16), 12.0);
        // From half to eight times that.
        assert_eq!(step(0, 12, 16), 6.0);
        assert_eq!(step(1, 12, 16), 6.0);
        assert_eq!(step(3, 12, 16), 9.0);
        assert_eq!(step(31, 12, 16), 93.0);
        assert_eq!(step(64, 12, 16), 96.0);
    }
}
