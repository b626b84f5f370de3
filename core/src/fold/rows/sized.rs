//! Rows of a constant length, for a small core: two columns' sums stay in its registers.

use super::add_codes;
use crate::over_range::Ends;

/// Columns summed side by side: a double load's.
const LANES: usize = 2;
/// A double load reaches so many words from a turn's first row.
const REACH: usize = 1020 / 4;

/// All columns take whole rows, in pairs where they alternate.
pub(super) fn sum_columns<const ORDER: usize, const WIDTH: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]],
    data: &[i32],
    ends: Ends,
) -> i32 {
    let (rows, _) = data.as_chunks::<WIDTH>();
    let Some(sums) = sums.first_chunk_mut::<WIDTH>() else { return 0 };
    let mut seen = 0;
    // As many rows a turn of the loop as a double load reaches, at least into the last.
    let rest = if 7 * WIDTH <= REACH {
        sum_blocks_of::<ORDER, WIDTH, 8, ALTERNATE>(sums, rows, ends, &mut seen)
    } else {
        sum_blocks_of::<ORDER, WIDTH, 4, ALTERNATE>(sums, rows, ends, &mut seen)
    };
    let rest = sum_blocks_of::<ORDER, WIDTH, 2, ALTERNATE>(sums, rest, ends, &mut seen);
    sum_blocks_of::<ORDER, WIDTH, 1, ALTERNATE>(sums, rest, ends, &mut seen);
    seen
}

/// Whole blocks of `ROWS` rows; returns what is left.
#[inline(always)]
fn sum_blocks_of<
    'a,
    const ORDER: usize,
    const WIDTH: usize,
    const ROWS: usize,
    const ALTERNATE: bool,
>(
    sums: &mut [[i32; ORDER]; WIDTH],
    rows: &'a [[i32; WIDTH]],
    ends: Ends,
    seen: &mut i32,
) -> &'a [[i32; WIDTH]] {
    let (blocks, rest) = rows.as_chunks::<ROWS>();
    if !blocks.is_empty() {
        *seen |= sum_blocks::<ORDER, WIDTH, ROWS, ALTERNATE>(sums, blocks, ends);
    }
    rest
}

/// Blocks of `ROWS` rows, an even number where they alternate: columns in pairs, the last one by
/// itself where their number is odd.
///
/// Never inlined: a small core has registers for this and no more.
#[inline(never)]
fn sum_blocks<const ORDER: usize, const WIDTH: usize, const ROWS: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]; WIDTH],
    blocks: &[[[i32; WIDTH]; ROWS]],
    ends: Ends,
) -> i32 {
    let mut seen = [0];
    let (mut pairs, single) = sums.as_chunks_mut::<LANES>();
    if ROWS <= 2 {
        // Their number a constant, these loops would be unrolled, and take more flash than those of
        // the many rows before.
        pairs = core::hint::black_box(pairs);
    }
    for (pair, sums) in pairs.iter_mut().enumerate() {
        let first = LANES * pair;
        sum_lanes::<ORDER, WIDTH, ROWS, LANES, ALTERNATE>(sums, blocks, first, ends, &mut seen);
    }
    if let [sums] = single {
        let sums = core::array::from_mut(sums);
        let first = WIDTH - 1;
        sum_lanes::<ORDER, WIDTH, ROWS, 1, ALTERNATE>(sums, blocks, first, ends, &mut seen);
    }
    seen[0]
}

/// The inner loop over `L` columns: half a load, N adds and two instructions of the watch a sample.
#[inline(always)]
fn sum_lanes<
    const ORDER: usize,
    const WIDTH: usize,
    const ROWS: usize,
    const L: usize,
    const ALTERNATE: bool,
>(
    state: &mut [[i32; ORDER]; L],
    blocks: &[[[i32; WIDTH]; ROWS]],
    first: usize,
    ends: Ends,
    seen: &mut [i32; 1],
) {
    let mut watch = *seen;
    let mut sums: [[i32; L]; ORDER] = core::array::from_fn(|level| state.map(|s| s[level]));
    for block in blocks {
        for (r, row) in block.iter().enumerate() {
            let Some(codes) = row.get(first..).and_then(|d| d.first_chunk()) else { return };
            add_codes(&mut sums, codes, ALTERNATE && r % 2 == 1, ends, &mut watch);
        }
    }
    for (lane, state) in state.iter_mut().enumerate() {
        *state = core::array::from_fn(|level| sums[level][lane]);
    }
    *seen = watch;
}
