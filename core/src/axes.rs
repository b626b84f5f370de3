//! **Axes matrix.** Bridge displacements to translations and rotations.
//!
//! Receives displacements from [`crate::bridge`], hands axes to [`crate::readout`].
//! q = W x with W the least-squares inverse of the geometry H, worked out by the host;
//! with more bridges than axes the disagreement x - H q is a health figure.

use crate::bridge::BridgeReading;
use crate::config::{AxesConfig, MAX_AXES, MAX_BRIDGES};
use crate::error::{ConfigError, Stage, attempt};
use crate::guard::Checksum;
use crate::word::{Coefficient, dot, least};
use heapless::Vec;

/// Both matrices, Q16.48, row by row, with room for so many bridges.
#[derive(Clone, Copy, Debug)]
pub struct Axes<const BRIDGES: usize> {
    solve: [[i64; BRIDGES]; MAX_AXES],
    geometry: [[i64; MAX_AXES]; BRIDGES],
    axes: usize,
    /// Bit 0 to 5: x, y, z, theta, eta, phi.
    which: u32,
    residual_am: i64,
}

impl<const BRIDGES: usize> Axes<BRIDGES> {
    /// Of no plan.
    pub(crate) const NONE: Self = Self {
        solve: [[0; BRIDGES]; MAX_AXES],
        geometry: [[0; MAX_AXES]; BRIDGES],
        axes: 0,
        which: 0,
        residual_am: 0,
    };

    /// Copies the matrices.
    ///
    /// # Errors
    /// [`ConfigError`] when there are more than six axes or more axes than bridges, when a
    /// matrix has not axes x bridges entries, or when the magnitudes in a row of the solving one add up to 131072 or more,
    /// in one of the geometry to 32768.
    pub const fn new(config: &AxesConfig<'_>, bridges: usize) -> Result<Self, ConfigError> {
        const fn check(
            quantity: &'static str,
            given: usize,
            min: usize,
            max: usize,
        ) -> Result<(), ConfigError> {
            ConfigError::check(Stage::Axes, quantity, given as i64, min as i64, max as i64)
        }
        let AxesConfig { solve, geometry, residual_am, .. } = *config;
        let which = config.axes as u32;
        attempt!(check("set of axes", config.axes as usize, 0, (1 << MAX_AXES) - 1));
        let axes = which.count_ones() as usize;
        let most = least(BRIDGES as u32, MAX_BRIDGES as u32) as usize;
        attempt!(check("bridges", bridges, 1, most));
        let most = least(bridges as u32, MAX_AXES as u32) as usize;
        attempt!(check("axes", axes, 0, most));
        let entries = axes * bridges;
        attempt!(check("entries of the solving matrix", solve.len(), entries, entries));
        attempt!(check("entries of the geometry", geometry.len(), entries, entries));
        let quantity = "residual limit, am";
        attempt!(ConfigError::check(Stage::Axes, quantity, residual_am, 0, i64::MAX));
        let quantity = "row of the solving matrix, sum of magnitudes";
        attempt!(check_rows(quantity, solve, bridges, 4 * WHOLE));
        attempt!(check_rows("row of the geometry, sum of magnitudes", geometry, axes, WHOLE));
        let (solve, geometry) = (matrix(solve, bridges), matrix(geometry, axes));
        Ok(Self { solve, geometry, axes, which, residual_am })
    }

    /// Sums up what never changes.
    #[inline(never)]
    pub(crate) fn check(&self, sum: &mut Checksum) {
        for row in self.solve.iter().take(self.axes) {
            sum.add_all_long(row);
        }
        sum.add_all_long(self.geometry.as_flattened());
        sum.add_size(self.axes);
        sum.add(self.which);
        sum.add_long(self.residual_am);
    }

    /// Solves for the axes (attometres and attoradians); returns the largest residual.
    ///
    /// In am x Q16.48, exact in `i128`: of two gaps and an offset, below 2^62 am, by rows whose magnitudes add up to
    /// less than 2^65, and of axes by rows of less than 2^63; out am or arad, half to even, saturated at 9.2 m or rad.
    /// The flag of the residual: above the configured limit.
    #[inline(never)]
    pub fn solve(&self, bridges: &[BridgeReading], axes: &mut Vec<i64, MAX_AXES>) -> (i64, bool) {
        let mut x = [0; BRIDGES];
        x.iter_mut().zip(bridges).for_each(|(to, bridge)| *to = bridge.displacement_am);
        axes.clear();
        for row in self.solve.iter().take(self.axes) {
            // Capacity is MAX_AXES, rows are at most that.
            let _ = axes.push(dot(&x, row, Coefficient::FRAC_NBITS));
        }
        let mut residual = 0;
        if self.axes > 0 {
            for (row, bridge) in self.geometry.iter().zip(bridges) {
                let apart =
                    bridge.displacement_am.saturating_sub(dot(axes, row, Coefficient::FRAC_NBITS));
                residual = residual.max(apart.saturating_abs());
            }
        }
        (residual, residual > self.residual_am)
    }

    /// Displacement of bridge `b` that the axes give, attometres.
    #[must_use]
    pub fn back(&self, b: usize, axes: &[i64]) -> i64 {
        self.geometry.get(b).map_or(0, |row| dot(axes, row, Coefficient::FRAC_NBITS))
    }

    /// x, y, z, theta, eta, phi, zero for those that are not solved for.
    #[must_use]
    pub fn all_six(&self, axes: &[i64]) -> [i64; MAX_AXES] {
        let mut given = axes.iter();
        core::array::from_fn(|axis| {
            if self.which >> axis & 1 == 1 { given.next().copied().unwrap_or(0) } else { 0 }
        })
    }
}

/// What an entry's magnitude is within, 1 or 1/m.
const WHOLE: i64 = 1 << 15;

/// That magnitudes in each row add up to less than `limit`.
const fn check_rows(
    quantity: &'static str,
    entries: &[Coefficient],
    columns: usize,
    limit: i64,
) -> Result<(), ConfigError> {
    let (mut rest, mut sum, mut column) = (entries, 0i128, 0);
    while let [entry, later @ ..] = rest {
        sum += entry.to_bits().unsigned_abs() as i128;
        let whole = (sum >> Coefficient::FRAC_NBITS) as i64;
        attempt!(ConfigError::check(Stage::Axes, quantity, whole, 0, limit - 1));
        (rest, column) = (later, column + 1);
        if column == columns {
            (sum, column) = (0, 0);
        }
    }
    Ok(())
}

/// Rows of `columns` entries each into room for larger ones.
const fn matrix<const ROWS: usize, const COLUMNS: usize>(
    entries: &[Coefficient],
    columns: usize,
) -> [[i64; COLUMNS]; ROWS] {
    let mut matrix = [[0; COLUMNS]; ROWS];
    let (mut rest, mut row, mut column) = (entries, 0, 0);
    while let [entry, later @ ..] = rest
        && row < ROWS
        && column < COLUMNS
    {
        matrix[row][column] = entry.to_bits();
        (rest, column) = (later, column + 1);
        if column == columns {
            (row, column) = (row + 1, 0);
        }
    }
    matrix
}
