//! The sample loop of the folded front end: rows of codes into the columns' running sums.

use heapless::Vec;

/// Columns summed side by side, in registers: a small core's double load, a host's vectors.
const LANES: usize = if cfg!(target_arch = "arm") { 2 } else { 16 };
/// The same for what is left over.
const FEW: usize = if cfg!(target_arch = "arm") { 1 } else { 4 };
/// Rows of a turn of the loop: many where each turn costs, two where registers are short of lanes.
const BLOCK: usize = if cfg!(target_arch = "arm") { 8 } else { 2 };

/// |code| for negatives less one, plus one: 2^(b-1) or more exactly for the two end codes of
/// a b-bit converter and all beyond.
#[inline(always)]
pub(crate) const fn reach(code: i32) -> i32 {
    (code ^ (code >> 31)).wrapping_add(1)
}

/// Running sums A_1 to A_N of every column, and what the channels' codes reached.
#[derive(Clone, Debug)]
pub(super) struct Columns<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    pub(super) sums: Vec<[i32; ORDER], COLUMNS>,
    /// OR of the watched codes' [`reach`]: bit b-1 tells of an over-range code.
    watch: Vec<i32, CHANNELS>,
    /// Only rows that count positive of each channel's first column are watched.
    sparse: bool,
    /// Odd rows count negative.
    pub(super) alternate: bool,
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    Columns<ORDER, CHANNELS, COLUMNS>
{
    /// `count` columns of `channels` channels; `None` when they exceed their capacities.
    pub(super) fn new(
        count: usize,
        channels: usize,
        sparse: bool,
        alternate: bool,
    ) -> Option<Self> {
        let (mut sums, mut watch) = (Vec::new(), Vec::new());
        sums.resize(count, [0; ORDER]).ok()?;
        watch.resize(channels, 0).ok()?;
        Some(Self { sums, watch, sparse, alternate })
    }

    pub(super) fn clear(&mut self) {
        self.sums.fill([0; ORDER]);
        self.watch.fill(0);
    }

    /// Bit c: a watched code of channel c was an end code of its `code_bits` or beyond since the
    /// last call.
    pub(super) fn over_range(&mut self, code_bits: u32) -> u32 {
        take_over_range(&mut self.watch, code_bits)
    }

    /// Adds one frame to the columns from `first` on: the slow way.
    pub(super) fn add_frame(&mut self, first: usize, frame: &[i32], negative: bool) {
        for (sums, &code) in self.sums.iter_mut().skip(first).zip(frame) {
            add(sums, code, negative);
        }
        if !self.sparse || first == 0 && !negative {
            self.watch.iter_mut().zip(frame).for_each(|(seen, &code)| *seen |= reach(code));
        }
    }

    /// Adds whole rows, in pairs where they alternate, to all columns.
    pub(super) fn add_rows(&mut self, data: &[i32]) {
        // Firmware sizes the readout for its sensor: then the row's length is a constant.
        if self.sums.len() == COLUMNS {
            self.add_groups::<COLUMNS>(data);
        } else if cfg!(target_arch = "arm") {
            // Slow, and no flash for a second set of loops.
            let (width, channels) = (self.sums.len().max(1), self.watch.len().max(1));
            for (number, row) in data.chunks_exact(width).enumerate() {
                let negative = self.alternate && number % 2 == 1;
                for (phase, frame) in row.chunks_exact(channels).enumerate() {
                    self.add_frame(phase * channels, frame, negative);
                }
            }
        } else {
            self.add_groups::<0>(data);
        }
    }

    #[inline(always)]
    fn add_groups<const WIDTH: usize>(&mut self, data: &[i32]) {
        let (sums, watch) = (self.sums.as_mut_slice(), self.watch.as_mut_slice());
        match (self.alternate, self.sparse) {
            (true, false) => sum_columns::<ORDER, WIDTH, EVERY, true>(sums, watch, data),
            (true, true) => sum_columns::<ORDER, WIDTH, FIRST, true>(sums, watch, data),
            (false, false) => sum_columns::<ORDER, WIDTH, EVERY, false>(sums, watch, data),
            (false, true) => sum_columns::<ORDER, WIDTH, FIRST, false>(sums, watch, data),
        }
    }
}

/// Bit c: word c reached 2^(code_bits - 1). Empties the words.
pub(crate) fn take_over_range(watch: &mut [i32], code_bits: u32) -> u32 {
    let mut over = 0;
    for (channel, seen) in (0u32..).zip(watch) {
        over |= u32::from(*seen >> (code_bits - 1) != 0) << (channel & 31);
        *seen = 0;
    }
    over
}

/// Codes of a column that are watched: none, all, or of a channel's first column those of rows that
/// count positive, one in a period.
const NONE: usize = 0;
const EVERY: usize = 1;
const FIRST: usize = 2;

/// All columns in groups of [`LANES`], the rest one by one. Rows are `WIDTH` long where that is
/// not zero. `watch` has a word of each channel.
///
/// Never inlined: a small core has registers for this and no more.
#[inline(never)]
fn sum_columns<
    const ORDER: usize,
    const WIDTH: usize,
    const WATCHED: usize,
    const ALTERNATE: bool,
>(
    sums: &mut [[i32; ORDER]],
    watch: &mut [i32],
    data: &[i32],
) {
    let width = if WIDTH > 0 { WIDTH } else { sums.len() };
    let watched = if WATCHED == EVERY { width } else { watch.len() };
    let (mut first, mut channel) = (0, 0);
    let mut note = |seen: &[i32]| {
        for seen in seen {
            if let Some(all) = watch.get_mut(channel) {
                *all |= seen;
            }
            channel = if channel + 1 < watch.len() { channel + 1 } else { 0 };
        }
    };
    while first < watched {
        let left = watched - first;
        if LANES <= left && LANES <= width && first <= width - LANES {
            note(&sum_lanes::<ORDER, LANES, WATCHED, ALTERNATE>(sums, data, width, first));
            first += LANES;
        } else if FEW > 1 && FEW <= left {
            note(&sum_lanes::<ORDER, FEW, WATCHED, ALTERNATE>(sums, data, width, first));
            first += FEW;
        } else {
            note(&sum_lanes::<ORDER, 1, WATCHED, ALTERNATE>(sums, data, width, first));
            first += 1;
        }
    }
    while LANES <= width && first <= width - LANES {
        sum_lanes::<ORDER, LANES, NONE, ALTERNATE>(sums, data, width, first);
        first += LANES;
    }
    while FEW > 1 && first + FEW <= width {
        sum_lanes::<ORDER, FEW, NONE, ALTERNATE>(sums, data, width, first);
        first += FEW;
    }
    while first < width {
        sum_lanes::<ORDER, 1, NONE, ALTERNATE>(sums, data, width, first);
        first += 1;
    }
}

/// The inner loop over `L` columns: a load and N adds a sample, three more where watched. Returns
/// what the watched codes reached.
#[inline(always)]
fn sum_lanes<const ORDER: usize, const L: usize, const WATCHED: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; ORDER]],
    data: &[i32],
    width: usize,
    first: usize,
) -> [i32; L] {
    let mut seen = [0; L];
    let Some(state) = sums.get_mut(first..).and_then(|s| s.first_chunk_mut::<L>()) else {
        return seen;
    };
    // Level by level, as a host's vectors want them.
    let mut sums: [[i32; L]; ORDER] = core::array::from_fn(|level| state.map(|s| s[level]));
    let mut blocks = data.chunks_exact((BLOCK * width).max(1));
    for block in &mut blocks {
        for r in 0..BLOCK {
            add_row::<ORDER, L, WATCHED, ALTERNATE>(
                &mut sums,
                &mut seen,
                block,
                r * width + first,
                r,
            );
        }
    }
    for pair in blocks.remainder().chunks((2 * width).max(1)) {
        for r in 0..2 {
            add_row::<ORDER, L, WATCHED, ALTERNATE>(
                &mut sums,
                &mut seen,
                pair,
                r * width + first,
                r,
            );
        }
    }
    for (lane, state) in state.iter_mut().enumerate() {
        *state = core::array::from_fn(|level| sums[level][lane]);
    }
    seen
}

/// One row, number `row` of its block, whose codes for these columns stand at `at`.
#[inline(always)]
fn add_row<const ORDER: usize, const L: usize, const WATCHED: usize, const ALTERNATE: bool>(
    sums: &mut [[i32; L]; ORDER],
    seen: &mut [i32; L],
    data: &[i32],
    at: usize,
    row: usize,
) {
    let Some(codes) = data.get(at..).and_then(|d| d.first_chunk::<L>()) else { return };
    let negative = ALTERNATE && row % 2 == 1;
    for lane in 0..L {
        if WATCHED == EVERY || WATCHED == FIRST && !negative {
            seen[lane] |= reach(codes[lane]);
        }
        let mut carry = codes[lane];
        for (level, sum) in sums.iter_mut().enumerate() {
            sum[lane] = step(sum[lane], carry, level == 0 && negative);
            carry = sum[lane];
        }
    }
}

/// N cascaded sums take one code.
#[inline(always)]
fn add<const ORDER: usize>(sums: &mut [i32; ORDER], code: i32, negative: bool) {
    let mut carry = code;
    for (level, sum) in sums.iter_mut().enumerate() {
        *sum = step(*sum, carry, level == 0 && negative);
        carry = *sum;
    }
}

/// One addition; wrapping: the bound is the plan's, the watch word's the proof.
#[inline(always)]
const fn step(sum: i32, carry: i32, negative: bool) -> i32 {
    if negative { sum.wrapping_sub(carry) } else { sum.wrapping_add(carry) }
}
