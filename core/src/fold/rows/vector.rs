//! Rows of any length, for a host: as many columns side by side as its vectors hold.

use super::add_codes;
use crate::over_range::Ends;

/// Columns summed side by side.
const LANES: usize = 16;
/// The same for what is left over.
const FEW: usize = 4;
/// Rows of a turn of the loop: one pair.
const BLOCK: usize = 2;

/// All columns: by the widest vectors that the machine has with the feature `wide`, else by those it is compiled for.
#[inline(never)]
pub(super) fn sum_columns<const ORDER: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]],
    data: &[i32],
    ends: Ends,
) -> i32 {
    let work = SumColumns::<ORDER, ALTERNATE> { sums, data, ends };
    #[cfg(feature = "wide")]
    return pulp::Arch::new().dispatch(work);
    #[cfg(not(feature = "wide"))]
    work.run()
}

struct SumColumns<'a, const ORDER: usize, const ALTERNATE: bool> {
    sums: &'a mut [[i32; ORDER]],
    data: &'a [i32],
    ends: Ends,
}

#[cfg(feature = "wide")]
impl<const ORDER: usize, const ALTERNATE: bool> pulp::NullaryFnOnce
    for SumColumns<'_, ORDER, ALTERNATE>
{
    type Output = i32;

    #[inline(always)]
    fn call(self) -> i32 {
        self.run()
    }
}

impl<const ORDER: usize, const ALTERNATE: bool> SumColumns<'_, ORDER, ALTERNATE> {
    #[inline(always)]
    fn run(self) -> i32 {
        if self.sums.len() >= LANES {
            self.by::<LANES>()
        } else if self.sums.len() >= FEW {
            self.by::<FEW>()
        } else {
            self.by::<1>()
        }
    }

    /// `L` at a time. The last ones are summed with some before them, which have theirs already: one by one they would
    /// take as long as all others.
    #[inline(always)]
    fn by<const L: usize>(self) -> i32 {
        let width = self.sums.len();
        let (mut first, mut seen) = (0, 0);
        while first < width {
            let at = first.min(width.saturating_sub(L));
            seen |=
                sum_lanes::<ORDER, L, ALTERNATE>(self.sums, self.data, at, first - at, self.ends);
            first = at + L;
        }
        seen
    }
}

/// The inner loop over `L` columns from `first` on, of which `done` have their sums: a load, N adds and the watch a sample.
#[inline(always)]
fn sum_lanes<const ORDER: usize, const L: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]],
    data: &[i32],
    first: usize,
    done: usize,
    ends: Ends,
) -> i32 {
    let width = sums.len();
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
    for (lane, state) in state.iter_mut().enumerate().skip(done) {
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
