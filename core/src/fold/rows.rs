//! The sample loop of the folded front end: rows of codes into the columns' running sums.

use heapless::Vec;

/// Columns summed side by side, in registers: few on a small core, a vector's worth on a host.
const LANES: usize = if cfg!(target_arch = "arm") { 4 } else { 16 };

/// A running sum of 32 or 64 bits. Wrapping: the bound is the plan's, the watch word's the proof.
pub(super) trait Sum: Copy {
    const ZERO: Self;
    fn add(self, other: Self) -> Self;
    fn sub(self, other: Self) -> Self;
    fn of(code: i32) -> Self;
}
macro_rules! sums {
    ($($integer:ty),*) => {$(
        impl Sum for $integer {
            const ZERO: Self = 0;
            #[inline(always)]
            fn add(self, other: Self) -> Self {
                self.wrapping_add(other)
            }
            #[inline(always)]
            fn sub(self, other: Self) -> Self {
                self.wrapping_sub(other)
            }
            #[inline(always)]
            fn of(code: i32) -> Self {
                Self::from(code)
            }
        }
    )*};
}
sums!(i32, i64);

/// |code| for negatives less one, plus one: 2^(b-1) or more exactly for the two end codes of
/// a b-bit converter and all beyond.
#[inline(always)]
pub(crate) const fn reach(code: i32) -> i32 {
    (code ^ (code >> 31)).wrapping_add(1)
}

/// Adds one frame to the columns from `first` on.
pub(super) fn add_frame<S: Sum, const ORDER: usize, const COLUMNS: usize>(
    levels: &mut [Vec<S, COLUMNS>; ORDER],
    first: usize,
    frame: &[i32],
    negative: bool,
) {
    for (channel, &code) in frame.iter().enumerate() {
        let mut carry = S::of(code);
        for (j, level) in levels.iter_mut().enumerate() {
            if let Some(sum) = level.get_mut(first + channel) {
                *sum = if j == 0 && negative { sum.sub(carry) } else { sum.add(carry) };
                carry = *sum;
            }
        }
    }
}

/// Adds whole rows to all columns: `LANES` columns at a time, the rest by eights, fours and ones.
pub(super) fn sum_rows<S: Sum, const ORDER: usize, const COLUMNS: usize>(
    levels: &mut [Vec<S, COLUMNS>; ORDER],
    watch: &mut [i32],
    data: &[i32],
    alternate: bool,
) {
    let width = watch.len();
    let mut levels = levels.each_mut().map(|level| level.as_mut_slice());
    let mut first = 0;
    while first + LANES <= width {
        sum_lanes::<S, ORDER, LANES>(&mut levels, watch, data, first, alternate);
        first += LANES;
    }
    while first + 8 <= width {
        sum_lanes::<S, ORDER, 8>(&mut levels, watch, data, first, alternate);
        first += 8;
    }
    while first + 4 <= width {
        sum_lanes::<S, ORDER, 4>(&mut levels, watch, data, first, alternate);
        first += 4;
    }
    while first < width {
        sum_lanes::<S, ORDER, 1>(&mut levels, watch, data, first, alternate);
        first += 1;
    }
}

/// `L` numbers of a slice from `first` on; zeros beyond its end.
#[inline(always)]
fn lanes<T: Copy, const L: usize>(slice: &[T], first: usize, zero: T) -> [T; L] {
    slice.get(first..).and_then(|s| s.first_chunk::<L>()).copied().unwrap_or([zero; L])
}

/// The inner loop over `L` columns: a load and N adds a sample, and two and an OR for the watch.
#[inline(always)]
fn sum_lanes<S: Sum, const ORDER: usize, const L: usize>(
    levels: &mut [&mut [S]; ORDER],
    watch: &mut [i32],
    data: &[i32],
    first: usize,
    alternate: bool,
) {
    let width = watch.len();
    let mut sums: [[S; L]; ORDER] = core::array::from_fn(|j| lanes(levels[j], first, S::ZERO));
    let mut seen: [i32; L] = lanes(watch, first, 0);
    let mut row = |codes: &[i32; L], negative: bool| {
        for lane in 0..L {
            seen[lane] |= reach(codes[lane]);
            let mut carry = S::of(codes[lane]);
            for (j, sum) in sums.iter_mut().enumerate() {
                sum[lane] =
                    if j == 0 && negative { sum[lane].sub(carry) } else { sum[lane].add(carry) };
                carry = sum[lane];
            }
        }
    };
    // Every chunk starts at this group's columns; the last one is cut short behind them.
    let columns = data.get(first..).unwrap_or(&[]);
    if alternate {
        for pair in columns.chunks((2 * width).max(1)) {
            let (Some(even), Some(odd)) =
                (pair.first_chunk(), pair.get(width..).and_then(|r| r.first_chunk()))
            else {
                break;
            };
            row(even, false);
            row(odd, true);
        }
    } else {
        for single in columns.chunks(width.max(1)) {
            let Some(codes) = single.first_chunk() else { break };
            row(codes, false);
        }
    }
    for (level, sums) in levels.iter_mut().zip(sums) {
        level.iter_mut().skip(first).zip(sums).for_each(|(to, sum)| *to = sum);
    }
    watch.iter_mut().skip(first).zip(seen).for_each(|(to, seen)| *to = seen);
}
