//! Rows of any length, for a host: as many columns side by side as its vectors hold.

use super::add_codes;
use crate::over_range::Ends;

/// Columns summed side by side.
const LANES: usize = 16;
/// The same for what is left over.
const FEW: usize = 4;
/// Rows of a turn of the loop: one pair.
const BLOCK: usize = 2;

/// All columns in groups of [`LANES`], then of [`FEW`], the rest one by one.
#[inline(never)]
pub(super) fn sum_columns<const ORDER: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]],
    data: &[i32],
    ends: Ends,
) -> i32 {
    let width = sums.len();
    let (mut first, mut seen) = (0, 0);
    while LANES <= width && first <= width - LANES {
        seen |= sum_lanes::<ORDER, LANES, ALTERNATE>(sums, data, width, first, ends);
        first += LANES;
    }
    while first + FEW <= width {
        seen |= sum_lanes::<ORDER, FEW, ALTERNATE>(sums, data, width, first, ends);
        first += FEW;
    }
    while first < width {
        seen |= sum_lanes::<ORDER, 1, ALTERNATE>(sums, data, width, first, ends);
        first += 1;
    }
    seen
}

/// The inner loop over `L` columns: a load, N adds and the watch a sample.
#[inline(always)]
fn sum_lanes<const ORDER: usize, const L: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]],
    data: &[i32],
    width: usize,
    first: usize,
    ends: Ends,
) -> i32 {
    let Some(state) = sums.get_mut(first..).and_then(|s| s.first_chunk_mut::<L>()) else {
        return 0;
    };
    let mut seen = [0; L];
    // Level by level, as vectors want them.
    let mut sums: [[i32; L]; ORDER] = core::array::from_fn(|level| state.map(|s| s[level]));
    let mut blocks = data.chunks_exact((BLOCK * width).max(1));
    for block in &mut blocks {
        for r in 0..BLOCK {
            if let Some(codes) = block.get(r * width + first..).and_then(|d| d.first_chunk()) {
                look(codes, ends, &mut seen);
                add_codes(&mut sums, codes, ALTERNATE && r % 2 == 1);
            }
        }
    }
    // Rows that alternate come in pairs: the last one of an odd number does not.
    if let Some(codes) = blocks.remainder().get(first..).and_then(|d| d.first_chunk()) {
        look(codes, ends, &mut seen);
        add_codes(&mut sums, codes, false);
    }
    for (lane, state) in state.iter_mut().enumerate() {
        *state = core::array::from_fn(|level| sums[level][lane]);
    }
    seen.iter().fold(0, |all, seen| all | seen)
}

#[inline(always)]
fn look<const L: usize>(codes: &[i32; L], ends: Ends, seen: &mut [i32; L]) {
    for (seen, code) in seen.iter_mut().zip(codes) {
        *seen = ends.look(*seen, *code);
    }
}
