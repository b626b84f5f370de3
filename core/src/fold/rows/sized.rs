//! Rows of a constant length, for a small core: two columns' sums stay in its registers.

use super::{Watch, add_codes, centre, middle};
use core::hint::black_box;

/// Columns summed side by side: a double load's.
const LANES: usize = 2;

/// Rows of a turn of the loop.
const TURN: usize = 8;

/// All columns take whole rows, in pairs where they `alternate`: to what is there or, where they are the `whole` section, in
/// its place and with A_2 from the middle row.
#[inline(always)]
pub(super) fn sum_columns<const ORDER: usize, const WIDTH: usize>(
    sums: &mut [[i32; ORDER]; WIDTH],
    rows: &[[i32; WIDTH]],
    alternate: bool,
    whole: bool,
    mut watch: Watch,
) -> Watch {
    let (turns, rest) = rows.as_chunks();
    let middle = if whole { middle(rows.len()) } else { 0 };
    if turns.is_empty() && whole {
        sums.fill([0; ORDER]);
    }
    if !turns.is_empty() {
        let part = Part { fresh: whole, middle: if rest.is_empty() { middle } else { 0 } };
        if alternate {
            sum_turns::<ORDER, WIDTH, true>(sums, turns, part, &mut watch);
        } else {
            sum_turns::<ORDER, WIDTH, false>(sums, turns, part, &mut watch);
        }
    }
    if !rest.is_empty() {
        sum_rest(sums, rest, alternate, middle, &mut watch);
    }
    watch
}

/// What some rows are of all.
#[derive(Clone, Copy)]
struct Part {
    /// The first of a section: nothing was there.
    fresh: bool,
    /// A_2 counts from so many rows before the last at their end.
    middle: i32,
}

/// Turns of the loop: columns in pairs, the last one by itself where their number is odd.
///
/// Never inlined: a small core has registers for this and no more.
#[inline(never)]
fn sum_turns<const ORDER: usize, const WIDTH: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]; WIDTH],
    turns: &[[[i32; WIDTH]; TURN]],
    part: Part,
    watch: &mut Watch,
) {
    let (pairs, single) = sums.as_chunks_mut::<LANES>();
    for (pair, sums) in pairs.iter_mut().enumerate() {
        sum_lanes::<ORDER, WIDTH, LANES, ALTERNATE>(sums, turns, LANES * pair, part, watch);
    }
    if let [sums] = single {
        let sums = core::array::from_mut(sums);
        sum_lanes::<ORDER, WIDTH, 1, ALTERNATE>(sums, turns, WIDTH - 1, part, watch);
    }
}

/// Rows that make no turn: column by column, and one loop whether they `alternate` or not.
#[inline(never)]
fn sum_rest<const ORDER: usize, const WIDTH: usize>(
    sums: &mut [[i32; ORDER]; WIDTH],
    rows: &[[i32; WIDTH]],
    alternate: bool,
    middle: i32,
    watch: &mut Watch,
) {
    // Known, they would make two loops of it, and unroll both.
    let turn = black_box(if alternate { -1 } else { 1 });
    for (column, sums) in black_box(sums.as_mut_slice()).iter_mut().enumerate() {
        let mut now = sums.map(|sum| [sum]);
        let mut sign = 1i32;
        for row in rows {
            let Some(code) = row.get(column) else { break };
            watch.take(*code);
            add_codes(&mut now, &[code.wrapping_mul(sign)], false);
            sign = sign.wrapping_mul(turn);
        }
        *sums = now.map(|[sum]| sum);
        centre(sums, middle);
    }
}

/// The inner loop over `L` columns: half a load, N adds and an instruction of the watch (two where there is no long
/// product with a sum) a sample.
#[inline(always)]
fn sum_lanes<const ORDER: usize, const WIDTH: usize, const L: usize, const ALTERNATE: bool>(
    state: &mut [[i32; ORDER]; L],
    turns: &[[[i32; WIDTH]; TURN]],
    first: usize,
    part: Part,
    watch: &mut Watch,
) {
    let mut now = *watch;
    let before = if part.fresh { [[0; ORDER]; L] } else { *state };
    let mut sums: [[i32; L]; ORDER] = core::array::from_fn(|level| before.map(|s| s[level]));
    // By number: of the three ways to write this loop the one that costs the same under any of the compiler's settings.
    for n in 0..turns.len() {
        let turn = &turns[n];
        for (r, row) in turn.iter().enumerate() {
            let Some(codes) = row.get(first..).and_then(|d| d.first_chunk()) else { return };
            for code in codes {
                now.take(*code);
            }
            add_codes(&mut sums, codes, ALTERNATE && r % 2 == 1);
        }
    }
    for (lane, state) in state.iter_mut().enumerate() {
        *state = core::array::from_fn(|level| sums[level][lane]);
        centre(state, part.middle);
    }
    *watch = now;
}
