//! The sample loop of the folded front end: rows of codes into the columns' running sums.

mod sized;
#[cfg(feature = "wide")]
mod vector;

use crate::list::List;
use crate::over_range::Ends;
use crate::over_range::energy::{BY_ENERGY, Energy, with_square};

/// Columns of a turn of the loop that ends their section.
const TURN: usize = 5;

/// Running sums A_1 to A_N of every column, and E of all codes since the section's start.
#[derive(Clone, Debug)]
pub(super) struct Columns<const ORDER: usize, const COLUMNS: usize, const EXACT: bool> {
    pub(super) sums: List<[i32; ORDER], COLUMNS>,
    squares: u64,
}

impl<const ORDER: usize, const COLUMNS: usize, const EXACT: bool> Columns<ORDER, COLUMNS, EXACT> {
    /// Whether sums stand level by level ([`vector`]), not column by column.
    pub(super) const BY_LEVEL: bool = cfg!(feature = "wide") && !EXACT;

    /// No columns.
    pub(super) const IDLE: Self = Self { sums: List::empty([0; ORDER]), squares: 0 };

    /// Empties the sums of so many columns.
    pub(super) fn refill(&mut self, columns: usize) {
        self.sums.refill([0; ORDER], columns);
        self.squares = 0;
    }

    /// Empties the sums.
    pub(super) fn clear(&mut self) {
        self.sums.fill([0; ORDER]);
        self.squares = 0;
    }

    /// Whether as many columns as there is room for, a constant for the compiler.
    #[inline(always)]
    pub(super) fn is_sized(&self) -> bool {
        EXACT || !Self::BY_LEVEL && self.sums.len() == COLUMNS
    }

    /// Adds one frame, or takes it off where `negative`, to the columns from `first` on: the slow way. What
    /// was seen of its codes.
    #[inline(never)]
    pub(super) fn add_frame(
        &mut self,
        first: usize,
        frame: &[i32],
        negative: bool,
        ends: Ends,
    ) -> i32 {
        let (mut seen, mut squares) = (0, self.squares);
        if Self::BY_LEVEL {
            let width = self.sums.len();
            let sums = self.sums.as_flattened_mut();
            for (column, code) in (first..width).zip(frame) {
                seen = ends.look(seen, *code);
                add_to_levels(sums, width, column, *code, negative);
            }
            return seen;
        }
        for (sums, code) in self.sums.iter_mut().skip(first).zip(frame) {
            seen = ends.look(seen, *code);
            squares = with_square(squares, *code);
            let mut state = sums.map(|sum| [sum]);
            add_codes(&mut state, &[*code], negative);
            *sums = state.map(|[sum]| sum);
        }
        self.squares = squares;
        seen
    }

    /// Takes a whole section in place of what is there, A_2 from its middle row: what was seen of its codes. `None` where it
    /// takes [`Self::add_rows`].
    #[inline(never)]
    pub(super) fn take_section(
        &mut self,
        data: &[i32],
        alternate: bool,
        ends: Ends,
    ) -> Option<i32> {
        #[cfg(feature = "wide")]
        if Self::BY_LEVEL {
            let sums = self.sums.as_flattened_mut();
            return Some(vector::sum_columns::<ORDER>(sums, data, alternate, true, ends));
        }
        let (rows, _) = data.as_chunks::<COLUMNS>();
        let sums = self.sized_sums()?;
        let watch = sized::sum_columns(sums, rows, alternate, true, Watch::new(ends));
        Some(judge(watch, sums, rows.len()))
    }

    /// The sums where firmware sizes the readout for its sensor: then the row's length is a constant.
    #[inline(always)]
    fn sized_sums(&mut self) -> Option<&mut [[i32; ORDER]; COLUMNS]> {
        if self.is_sized() { self.sums.first_chunk_mut() } else { None }
    }

    /// Adds the whole rows of `data`, whole pairs where they `alternate`, to all columns; the first is an even one. What was
    /// seen of their codes, and what is left of them.
    pub(super) fn add_rows<'a>(
        &mut self,
        data: &'a [i32],
        alternate: bool,
        ends: Ends,
    ) -> (i32, &'a [i32]) {
        let width = if self.is_sized() { COLUMNS } else { self.sums.len().max(1) };
        let rows = data.len().checked_div(width).unwrap_or(0);
        let whole = if alternate { rows & !1 } else { rows };
        let (data, rest) = data.split_at_checked(whole * width).unwrap_or((data, &[]));
        if self.is_sized() {
            let mut watch = Watch { squares: self.squares, ..Watch::new(ends) };
            let (rows, _) = data.as_chunks::<COLUMNS>();
            let Some(sums) = self.sized_sums() else { return (0, &[]) };
            watch = sized::sum_columns(sums, rows, alternate, false, watch);
            self.squares = watch.squares;
            return (watch.seen, rest);
        }
        #[cfg(feature = "wide")]
        if Self::BY_LEVEL {
            let sums = self.sums.as_flattened_mut();
            let seen = vector::sum_columns::<ORDER>(sums, data, alternate, false, ends);
            return (seen, rest);
        }
        // Slow, and no flash for a second set of loops.
        let mut seen = 0;
        for (row, codes) in (0u32..).zip(data.chunks_exact(width)) {
            seen |= self.add_frame(0, codes, alternate && row % 2 == 1, ends);
        }
        (seen, rest)
    }

    /// What the watch tells of the section's whole rows so far that were added by [`Self::add_rows`].
    pub(super) fn prove(&mut self, rows: u32, ends: Ends) -> i32 {
        let watch = Watch { squares: self.squares, ..Watch::new(ends) };
        self.sized_sums().map_or(0, |sums| judge(watch, sums, rows as usize))
    }

    /// Counts A_2 from the middle one of so many rows.
    #[inline(never)]
    pub(super) fn centre(&mut self, rows: u32) {
        let middle = middle(rows as usize);
        if Self::BY_LEVEL {
            let width = self.sums.len();
            return centre_levels(self.sums.as_flattened_mut(), width, middle);
        }
        for sums in self.sums.iter_mut() {
            centre(sums, middle);
        }
    }
}

/// C(t + 1, 1) = t + 1 from the last row: so many to the middle one.
const fn middle(rows: usize) -> i32 {
    rows.div_ceil(2) as i32
}

#[inline(always)]
fn centre<const ORDER: usize>(sums: &mut [i32; ORDER], middle: i32) {
    if ORDER > 1 {
        sums[1] = sums[1].wrapping_sub(sums[0].wrapping_mul(middle));
    }
}

/// The same of so many columns whose sums stand level by level.
#[inline(always)]
fn centre_levels(sums: &mut [i32], width: usize, middle: i32) {
    let (first, behind) = sums.split_at_mut_checked(width).unwrap_or((&mut [], &mut []));
    for (first, second) in first.iter().zip(behind) {
        *second = second.wrapping_sub(first.wrapping_mul(middle));
    }
}

/// What the watch over so many rows tells, whose columns' sums are those.
#[inline(never)]
fn judge<const ORDER: usize, const COLUMNS: usize>(
    watch: Watch,
    sums: &[[i32; ORDER]; COLUMNS],
    rows: usize,
) -> i32 {
    if !BY_ENERGY {
        return watch.seen;
    }
    let mut energy = Energy::of(watch.squares);
    // Some a turn, which the compiler would find too many to unroll by itself.
    let (turns, rest) = sums.as_chunks::<TURN>();
    for turn in turns {
        turn.iter().for_each(|sums| energy.add_column(sums[0]));
    }
    rest.iter().for_each(|sums| energy.add_column(sums[0]));
    let ends = watch.ends;
    let proven = ends.are_proven_by_energy() && energy.excludes_ends(rows as u32, ends);
    if proven { 0 } else { Ends::UNPROVEN }
}

/// What is gathered of codes beside their sums: one of the two.
#[derive(Clone, Copy)]
struct Watch {
    ends: Ends,
    squares: u64,
    seen: i32,
}

impl Watch {
    const fn new(ends: Ends) -> Self {
        Self { ends, squares: 0, seen: 0 }
    }

    #[inline(always)]
    fn take(&mut self, code: i32) {
        if BY_ENERGY {
            self.squares = with_square(self.squares, code);
        } else {
            self.seen = self.ends.look(self.seen, code);
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

/// The same of one column of so many whose sums stand level by level.
#[inline(always)]
fn add_to_levels(sums: &mut [i32], width: usize, column: usize, code: i32, negative: bool) {
    let mut carry = if negative { code.wrapping_neg() } else { code };
    for sum in sums.iter_mut().skip(column).step_by(width) {
        *sum = sum.wrapping_add(carry);
        carry = *sum;
    }
}

#[cfg(test)]
mod tests;
