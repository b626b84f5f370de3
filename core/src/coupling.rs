//! **Cross-coupling.** What channels pick up of each other's bridges, taken off their ratios.
//!
//! Receives ratios of difference bridges from [`crate::bridge`], hands them to [`crate::position`].
//!
//! Of ratios r that the bridges have, amplifiers and wires make (1 + C) r: C is found by a calibration.
//! The host works out S = 1 - (1 + C)^-1, so that r = r' - S r' of what is measured, diagonal included.
//! A bridge of separate electrodes has no part in it: what its two channels pick up is no one ratio.

use crate::bridge::Measured;
use crate::config::{BridgeConfig, BridgeKind, MAX_BRIDGES};
use crate::error::{ConfigError, Stage, attempt};
use crate::guard::Checksum;
use crate::word::{Fraction, dot};

/// Largest share, 3/8: more is no coupling, but channels changed about.
pub const MAX_SHARE: Fraction = Fraction::from_bits(3 << 59);

/// S, Q2.62, row by row, with room for so many bridges.
#[derive(Clone, Copy, Debug)]
pub struct Coupling<const BRIDGES: usize> {
    shares: [[i64; BRIDGES]; BRIDGES],
    /// Bridges that it is of; none where nothing is taken off.
    bridges: usize,
}

impl<const BRIDGES: usize> Coupling<BRIDGES> {
    /// Takes nothing off.
    pub(crate) const NONE: Self = Self { shares: [[0; BRIDGES]; BRIDGES], bridges: 0 };

    /// Copies the matrix, `shares` row by row.
    ///
    /// # Errors
    /// [`ConfigError`] unless there are none or bridges x bridges of them, each at most [`MAX_SHARE`], and
    /// none but zero in rows and columns of separate electrodes.
    pub const fn new(shares: &[Fraction], bridges: &[BridgeConfig]) -> Result<Self, ConfigError> {
        const STAGE: Stage = Stage::Coupling;
        let Self { shares: mut rows, .. } = Self::NONE;
        if shares.is_empty() {
            return Ok(Self::NONE);
        }
        let (count, entries) = (bridges.len(), shares.len() as i64);
        let all = (count * count) as i64;
        attempt!(ConfigError::check(STAGE, "entries of the matrix", entries, all, all));
        let (mut rest, mut row, mut column) = (shares, 0, 0);
        while let [share, later @ ..] = rest
            && row < BRIDGES
            && column < BRIDGES
        {
            let coupled = is_difference(bridges, row) && is_difference(bridges, column);
            let most = if coupled { MAX_SHARE.to_bits() } else { 0 };
            attempt!(ConfigError::check(STAGE, "share, Q2.62", share.to_bits(), -most, most));
            rows[row][column] = share.to_bits();
            (rest, column) = (later, column + 1);
            if column == count {
                (row, column) = (row + 1, 0);
            }
        }
        Ok(Self { shares: rows, bridges: count })
    }

    /// Sums up what never changes.
    #[inline(never)]
    pub(crate) fn check(&self, sum: &mut Checksum) {
        sum.add_size(self.bridges);
        // What stands in the room behind is never used.
        for row in self.shares.iter().take(self.bridges) {
            sum.add_all_long(row.get(..self.bridges).unwrap_or(row));
        }
    }

    /// Takes the shares off what was measured, one of each bridge in order.
    pub fn take_off(&self, measured: &mut [Measured]) {
        take_off(self.shares.as_flattened(), BRIDGES, self.bridges, measured);
    }
}

/// Of `bridges` bridges, `shares` in rows of `room`: the same code for every size.
///
/// In: r Q6.58, S Q2.62 (up to 3/8). Ratios as measured are up to 5.5, below 2^61, shares below 2^61: products below
/// 2^122, twelve of them below 2^126, exact in `i128`. Out Q6.58, half to even, saturated.
#[inline(never)]
fn take_off(shares: &[i64], room: usize, bridges: usize, measured: &mut [Measured]) {
    if bridges == 0 {
        return;
    }
    let mut ratios = [0; MAX_BRIDGES];
    ratios.iter_mut().zip(measured.iter()).for_each(|(to, from)| *to = from.amplitude());
    for (row, measured) in shares.chunks_exact(room.max(1)).zip(measured).take(bridges) {
        measured.take_off(dot(&ratios, row, Fraction::FRAC_NBITS));
    }
}

const fn is_difference(bridges: &[BridgeConfig], number: usize) -> bool {
    match bridges.split_at_checked(number) {
        Some((_, [bridge, ..])) => matches!(bridge.kind, BridgeKind::Difference { .. }),
        _ => false,
    }
}
