//! The sample loop of the folded front end: rows of codes into the columns' running sums.

mod sized;
mod vector;

use heapless::Vec;

/// Running sums A_1 to A_N of every column.
#[derive(Clone, Debug)]
pub(super) struct Columns<const ORDER: usize, const COLUMNS: usize> {
    pub(super) sums: Vec<[i32; ORDER], COLUMNS>,
    /// Odd rows count negative.
    alternate: bool,
}

impl<const ORDER: usize, const COLUMNS: usize> Columns<ORDER, COLUMNS> {
    /// `count` columns; `None` when they exceed the capacity.
    pub(super) fn new(count: usize, alternate: bool) -> Option<Self> {
        let mut sums = Vec::new();
        sums.resize(count, [0; ORDER]).ok()?;
        Some(Self { sums, alternate })
    }

    /// Rows that must come together.
    pub(super) fn step(&self) -> u32 {
        if self.alternate { 2 } else { 1 }
    }

    /// Adds one frame of row `row` to the columns from `first` on: the slow way.
    pub(super) fn add_frame(&mut self, first: usize, frame: &[i32], row: u32) {
        let negative = self.alternate && row % 2 == 1;
        for (sums, code) in self.sums.iter_mut().skip(first).zip(frame) {
            let mut state = sums.map(|sum| [sum]);
            add_codes(&mut state, &[*code], negative);
            *sums = state.map(|[sum]| sum);
        }
    }

    /// Adds whole rows, a multiple of [`Self::step`], to all columns.
    pub(super) fn add_rows(&mut self, data: &[i32]) {
        if self.sums.len() == COLUMNS {
            // Firmware sizes the readout for its sensor: then the row's length is a constant.
            if self.alternate {
                sized::sum_columns::<ORDER, COLUMNS, true>(&mut self.sums, data);
            } else {
                sized::sum_columns::<ORDER, COLUMNS, false>(&mut self.sums, data);
            }
        } else if cfg!(target_arch = "arm") {
            // Slow, and no flash for a second set of loops.
            for (row, codes) in (0..).zip(data.chunks_exact(self.sums.len().max(1))) {
                self.add_frame(0, codes, row);
            }
        } else if self.alternate {
            vector::sum_columns::<ORDER, true>(&mut self.sums, data);
        } else {
            vector::sum_columns::<ORDER, false>(&mut self.sums, data);
        }
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
