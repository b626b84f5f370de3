//! The sample loop of the folded front end: rows of codes into the columns' running sums.

mod sized;
mod vector;

use crate::list::List;
use crate::over_range::Ends;

/// Running sums A_1 to A_N of every column.
#[derive(Clone, Debug)]
pub(super) struct Columns<const ORDER: usize, const COLUMNS: usize, const EXACT: bool> {
    pub(super) sums: List<[i32; ORDER], COLUMNS>,
}

impl<const ORDER: usize, const COLUMNS: usize, const EXACT: bool> Columns<ORDER, COLUMNS, EXACT> {
    /// Whether as many columns as there is room for, a constant for the compiler.
    pub(super) fn is_sized(&self) -> bool {
        EXACT || self.sums.len() == COLUMNS
    }

    /// No columns.
    pub(super) const IDLE: Self = Self { sums: List::empty([0; ORDER]) };

    /// Splits `data`, from an even row's start on, behind its last whole row, or pair of rows where
    /// they `alternate`.
    pub(super) fn whole_rows<'a>(
        &self,
        data: &'a [i32],
        alternate: bool,
    ) -> (&'a [i32], &'a [i32]) {
        // A firmware's readout, sized for its sensor, divides by a constant.
        let width = if self.is_sized() { COLUMNS } else { self.sums.len().max(1) };
        let rows = data.len().checked_div(width).unwrap_or(0);
        let whole = if alternate { rows & !1 } else { rows };
        data.split_at_checked(whole * width).unwrap_or((data, &[]))
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
        let mut seen = [0];
        for (sums, code) in self.sums.iter_mut().skip(first).zip(frame) {
            let mut state = sums.map(|sum| [sum]);
            add_codes(&mut state, &[*code], negative, ends, &mut seen);
            *sums = state.map(|[sum]| sum);
        }
        seen[0]
    }

    /// Adds whole rows, in pairs where they `alternate`, to all columns. What was seen of their codes.
    pub(super) fn add_rows(&mut self, data: &[i32], alternate: bool, ends: Ends) -> i32 {
        if self.is_sized() {
            // Firmware sizes the readout for its sensor: then the row's length is a constant.
            if alternate {
                sized::sum_columns::<ORDER, COLUMNS, true>(&mut self.sums, data, ends)
            } else {
                sized::sum_columns::<ORDER, COLUMNS, false>(&mut self.sums, data, ends)
            }
        } else if cfg!(target_os = "none") {
            // Slow, and no flash for a second set of loops.
            let mut seen = 0;
            for (row, codes) in (0u32..).zip(data.chunks_exact(self.sums.len().max(1))) {
                seen |= self.add_frame(0, codes, alternate && row % 2 == 1, ends);
            }
            seen
        } else if alternate {
            vector::sum_columns::<ORDER, true>(&mut self.sums, data, ends)
        } else {
            vector::sum_columns::<ORDER, false>(&mut self.sums, data, ends)
        }
    }
}

/// `L` columns take a code each into their cascaded sums. `negative` turns the codes round. What is seen of them
/// is gathered in `S` words: one for a small core's registers, one a lane for vectors.
///
/// Wrapping: the bound is the plan's, the over-range watch its proof.
#[inline(always)]
fn add_codes<const ORDER: usize, const L: usize, const S: usize>(
    sums: &mut [[i32; L]; ORDER],
    codes: &[i32; L],
    negative: bool,
    ends: Ends,
    seen: &mut [i32; S],
) {
    for lane in 0..L {
        seen[lane % S] = ends.look(seen[lane % S], codes[lane]);
        let mut carry = if negative { codes[lane].wrapping_neg() } else { codes[lane] };
        for sum in sums.iter_mut() {
            sum[lane] = sum[lane].wrapping_add(carry);
            carry = sum[lane];
        }
    }
}
