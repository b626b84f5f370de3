//! The sample loop of the folded front end: rows of codes into the columns' running sums.

mod sized;
mod vector;

use crate::list::List;
use crate::over_range::Ends;
use crate::over_range::energy::{BY_ENERGY, Energy, with_square};

/// Running sums A_1 to A_N of every column, and E of all codes since the section's start.
#[derive(Clone, Debug)]
pub(super) struct Columns<const ORDER: usize, const COLUMNS: usize, const EXACT: bool> {
    pub(super) sums: List<[i32; ORDER], COLUMNS>,
    squares: u64,
}

impl<const ORDER: usize, const COLUMNS: usize, const EXACT: bool> Columns<ORDER, COLUMNS, EXACT> {
    /// Whether as many columns as there is room for, a constant for the compiler.
    pub(super) fn is_sized(&self) -> bool {
        EXACT || self.sums.len() == COLUMNS
    }

    /// No columns.
    pub(super) const IDLE: Self = Self { sums: List::empty([0; ORDER]), squares: 0 };

    /// Empties the sums of so many columns.
    pub(super) fn refill(&mut self, columns: usize) {
        self.sums.refill([0; ORDER], columns);
        self.squares = 0;
    }

    /// Whether codes are not looked at but proven.
    #[inline(always)]
    fn is_proven(&self, ends: Ends) -> bool {
        BY_ENERGY && self.is_sized() && ends.are_proven_by_energy()
    }

    /// What was gathered of the section that ends, columns' sums still to be added.
    #[inline(always)]
    pub(super) fn take_energy(&mut self) -> Energy {
        Energy::of(core::mem::take(&mut self.squares))
    }

    /// What `energy` tells of so many rows.
    #[inline(always)]
    pub(super) fn judge(&self, energy: Energy, rows: u32, ends: Ends) -> i32 {
        if !self.is_proven(ends) || energy.excludes_ends(rows, ends) { 0 } else { Ends::UNPROVEN }
    }

    /// The same of the section's rows so far.
    pub(super) fn prove(&self, rows: u32, ends: Ends) -> i32 {
        let mut energy = Energy::of(self.squares);
        for sums in self.sums.iter() {
            energy.add_column(sums[0]);
        }
        self.judge(energy, rows, ends)
    }

    /// Adds one frame, or takes it off where `negative`, to the columns from `first` on: the slow way. What
    /// was seen of its codes.
    pub(super) fn add_frame(
        &mut self,
        first: usize,
        frame: &[i32],
        negative: bool,
        ends: Ends,
    ) -> i32 {
        let mut seen = 0;
        for (sums, code) in self.sums.iter_mut().skip(first).zip(frame) {
            seen = ends.look(seen, *code);
            self.squares = with_square(self.squares, *code);
            let mut state = sums.map(|sum| [sum]);
            add_codes(&mut state, &[*code], negative);
            *sums = state.map(|[sum]| sum);
        }
        seen
    }

    /// Adds the whole rows of `data`, whole pairs where they `alternate`, to all columns; the first is an even one. What was
    /// seen of their codes, and what is left of them.
    pub(super) fn add_rows<'a>(
        &mut self,
        data: &'a [i32],
        alternate: bool,
        ends: Ends,
    ) -> (i32, &'a [i32]) {
        if self.is_sized() {
            // Firmware sizes the readout for its sensor: then the row's length is a constant.
            let (sums, squares) = (&mut self.sums, &mut self.squares);
            return sized::sum_columns::<ORDER, COLUMNS>(sums, squares, data, alternate, ends);
        }
        let width = self.sums.len().max(1);
        let rows = data.len().checked_div(width).unwrap_or(0);
        let whole = if alternate { rows & !1 } else { rows };
        let (data, rest) = data.split_at_checked(whole * width).unwrap_or((data, &[]));
        let seen = if cfg!(target_os = "none") {
            // Slow, and no flash for a second set of loops.
            let mut seen = 0;
            for (row, codes) in (0u32..).zip(data.chunks_exact(width)) {
                seen |= self.add_frame(0, codes, alternate && row % 2 == 1, ends);
            }
            seen
        } else if alternate {
            vector::sum_columns::<ORDER, true>(&mut self.sums, data, ends)
        } else {
            vector::sum_columns::<ORDER, false>(&mut self.sums, data, ends)
        };
        (seen, rest)
    }
}

/// `L` columns take a code each into their cascaded sums. `negative` turns the codes round.
///
/// Wrapping: the bound is the plan's, the over-range watch its proof.
#[inline(always)]
fn add_codes<const ORDER: usize, const L: usize>(
    sums: &mut [[i32; L]; ORDER],
    codes: &[i32; L],
    negative: bool,
) {
    for lane in 0..L {
        let mut carry = if negative { codes[lane].wrapping_neg() } else { codes[lane] };
        for sum in sums.iter_mut() {
            sum[lane] = sum[lane].wrapping_add(carry);
            carry = sum[lane];
        }
    }
}
