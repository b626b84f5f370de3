//! Rows of a constant length, for a small core: two columns' sums stay in its registers.

use super::add_codes;
use crate::over_range::Ends;
use crate::over_range::energy::{BY_ENERGY, with_square};

/// Columns summed side by side: a double load's.
const LANES: usize = 2;
/// A double load reaches so many words from a turn's first row.
const REACH: usize = 1020 / 4;

/// All columns take whole rows, in pairs where they `alternate`. What was seen of their codes, and what is left of them.
pub(super) fn sum_columns<'a, const ORDER: usize, const WIDTH: usize>(
    sums: &mut [[i32; ORDER]],
    squares: &mut u64,
    data: &'a [i32],
    alternate: bool,
    ends: Ends,
) -> (i32, &'a [i32]) {
    let (rows, _) = data.as_chunks::<WIDTH>();
    let Some(sums) = sums.first_chunk_mut::<WIDTH>() else { return (0, &[]) };
    let mut watch = Watch { ends, squares: *squares, seen: 0 };
    // As many rows a turn of the loop as a double load reaches, at least into the last.
    let rest = if 7 * WIDTH <= REACH {
        sum_blocks_of::<ORDER, WIDTH, 8, 8>(sums, rows, alternate, &mut watch)
    } else {
        sum_blocks_of::<ORDER, WIDTH, 4, 4>(sums, rows, alternate, &mut watch)
    };
    let rest = sum_blocks_of::<ORDER, WIDTH, 2, 1>(sums, rest, alternate, &mut watch);
    let left = rest.len() * WIDTH + data.len() % WIDTH;
    let (_, left) = data.split_at_checked(data.len() - left).unwrap_or((data, &[]));
    if BY_ENERGY && !ends.are_proven_by_energy() {
        watch.seen = Ends::UNPROVEN;
    }
    *squares = watch.squares;
    (watch.seen, left)
}

/// Whole blocks of so many rows that `alternate`, or of so many that do not; returns what is left.
#[inline(always)]
fn sum_blocks_of<
    'a,
    const ORDER: usize,
    const WIDTH: usize,
    const ALTERNATING: usize,
    const PLAIN: usize,
>(
    sums: &mut [[i32; ORDER]; WIDTH],
    rows: &'a [[i32; WIDTH]],
    alternate: bool,
    watch: &mut Watch,
) -> &'a [[i32; WIDTH]] {
    if alternate {
        let (blocks, rest) = rows.as_chunks::<ALTERNATING>();
        if !blocks.is_empty() {
            sum_blocks::<ORDER, WIDTH, ALTERNATING, true>(sums, blocks, watch);
        }
        rest
    } else {
        let (blocks, rest) = rows.as_chunks::<PLAIN>();
        if !blocks.is_empty() {
            sum_blocks::<ORDER, WIDTH, PLAIN, false>(sums, blocks, watch);
        }
        rest
    }
}

/// Blocks of `ROWS` rows, an even number where they alternate: columns in pairs, the last one by
/// itself where their number is odd.
///
/// Never inlined: a small core has registers for this and no more.
#[inline(never)]
fn sum_blocks<const ORDER: usize, const WIDTH: usize, const ROWS: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]; WIDTH],
    blocks: &[[[i32; WIDTH]; ROWS]],
    watch: &mut Watch,
) {
    let (mut pairs, single) = sums.as_chunks_mut::<LANES>();
    if ROWS <= 2 {
        // Their number a constant, these loops would be unrolled, and take more flash than those of
        // the many rows before.
        pairs = core::hint::black_box(pairs);
    }
    for (pair, sums) in pairs.iter_mut().enumerate() {
        let first = LANES * pair;
        sum_lanes::<ORDER, WIDTH, ROWS, LANES, ALTERNATE>(sums, blocks, first, watch);
    }
    if let [sums] = single {
        let sums = core::array::from_mut(sums);
        let first = WIDTH - 1;
        sum_lanes::<ORDER, WIDTH, ROWS, 1, ALTERNATE>(sums, blocks, first, watch);
    }
}

/// The inner loop over `L` columns: half a load, N adds and an instruction of the watch (two where there is no long
/// product with a sum) a sample.
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
    watch: &mut Watch,
) {
    let mut now = *watch;
    let mut sums: [[i32; L]; ORDER] = core::array::from_fn(|level| state.map(|s| s[level]));
    // By number: of the three ways to write this loop the one that costs the same under any of the compiler's settings.
    for n in 0..blocks.len() {
        let block = &blocks[n];
        for (r, row) in block.iter().enumerate() {
            let Some(codes) = row.get(first..).and_then(|d| d.first_chunk()) else { return };
            for code in codes {
                now.take(*code);
            }
            add_codes(&mut sums, codes, ALTERNATE && r % 2 == 1);
        }
    }
    for (lane, state) in state.iter_mut().enumerate() {
        *state = core::array::from_fn(|level| sums[level][lane]);
    }
    *watch = now;
}

/// What is gathered of all codes beside their sums: one of the two.
#[derive(Clone, Copy)]
struct Watch {
    ends: Ends,
    squares: u64,
    seen: i32,
}

impl Watch {
    #[inline(always)]
    fn take(&mut self, code: i32) {
        if BY_ENERGY {
            self.squares = with_square(self.squares, code);
        } else {
            self.seen = self.ends.look(self.seen, code);
        }
    }
}
