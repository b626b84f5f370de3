//! **Folding by carrier phase.** The mixer and integrators of a coherent carrier without a
//! multiplication per sample.
//!
//! Receives converter codes from [`crate::front_end`], hands section sums to [`crate::cic`].
//!
//! When the carrier repeats every P samples, all samples at one phase of it get the same
//! cosine and sine: they are summed first and multiplied once per section. With K = P
//! (or P/2 where P is even: the second half period is the negative of the first) the
//! section is a table of rows of K samples x C channels. For each *column* N cascaded
//! running sums are kept, v being the sample (negated in odd half periods):
//!
//! A_1 += v,  A_2 += A_1,  ...,  A_N += A_(N-1)
//!
//! so that A_j = sum_t C(t+j-1, j-1) v, t rows from the end. What the integrators of the
//! CIC would hold follows exactly: C(K t + j-1, j-1) is a combination of C(t+i-1, i-1),
//! i <= j, with constant integers G_ji; and from one column to the next the integrators
//! take one sample step. Nothing is rounded before the cosine's own rounding to Q2.30.

use crate::carrier::{CarrierRatio, cos_sin};
use crate::cic::step_weights;
use crate::error::{ConfigError, Stage};
use crate::word::wide_product;
use heapless::Vec;

/// Columns summed side by side, in registers: few on a small core, a vector's worth on a host.
const LANES: usize = if cfg!(target_arch = "arm") { 4 } else { 16 };

/// Running sums of one section.
///
/// In: Q(b-1).0 codes, b the converter's bits. Sums: `i32` for `flush_rows` rows, bounded by
/// 2^(b-1) C(flush_rows+N-1, N) < 2^31; then `i64`, bounded by 2^(b-1) C(L+N-1, N) <= 2^62 for
/// a section of L samples. Mixed sums: `i64` x Q2.30 in `i128`. No rounding. Codes beyond
/// b bits break the bound: sums then wrap, and the watch word tells.
#[derive(Clone, Debug)]
pub struct Fold<const ORDER: usize, const COLUMNS: usize> {
    channels: usize,
    /// K, columns per channel.
    phases: u32,
    /// Rows alternate in sign (P even).
    alternate: bool,
    /// Cosine and sine of each column's phase, Q2.30.
    carrier: Vec<[i32; 2], COLUMNS>,
    /// Rows summed in 32 bits before they move to 64: even; zero when codes are too wide.
    flush_rows: u32,
    /// Basis change from rows to samples, G\[j\]\[i\].
    basis: [[i64; ORDER]; ORDER],
    /// 32-bit sums A_1 to A_N of every column, channels side by side within a phase.
    narrow: [Vec<i32, COLUMNS>; ORDER],
    /// 64-bit sums, same order.
    wide: [Vec<i64, COLUMNS>; ORDER],
    /// OR of |code| + 1 (less one for negatives) per column: bit b-1 tells of an over-range code.
    watch: Vec<i32, COLUMNS>,
    /// Rows in the 32-bit sums.
    narrow_rows: u32,
    /// Next row and column of the section.
    row: u32,
    phase: u32,
}

impl<const ORDER: usize, const COLUMNS: usize> Fold<ORDER, COLUMNS> {
    /// Columns per channel for a carrier of `period` samples.
    #[must_use]
    pub const fn phases(period: u32) -> u32 {
        if period.is_multiple_of(2) { period / 2 } else { period }
    }

    /// Sets up for a section of at most `section` samples.
    ///
    /// # Errors
    /// [`ConfigError`] when the carrier has no period or its columns exceed `COLUMNS`.
    pub fn new(ratio: CarrierRatio, channels: usize, code_bits: u32) -> Result<Self, ConfigError> {
        let refuse = |quantity, given, min, max| {
            ConfigError::new(Stage::FrontEnd, quantity, given, min, max)
        };
        let period = ratio.period().ok_or(refuse("carrier period", 0, 1, COLUMNS as i64))?;
        let phases = Self::phases(period);
        let columns = phases as usize * channels;
        if columns > COLUMNS {
            return Err(refuse("channels x carrier phases", columns as i64, 1, COLUMNS as i64));
        }
        let full = || refuse("columns", columns as i64, 1, COLUMNS as i64);
        let mut carrier = Vec::new();
        let mut oscillator = crate::carrier::Carrier::new(ratio);
        for _ in 0..phases {
            let (cosine, sine) = cos_sin(oscillator.phase());
            let q30 = |x: i64| crate::word::shift_round(i128::from(x), 32) as i32;
            carrier.push([q30(cosine), q30(sine)]).map_err(|_| full())?;
            oscillator.advance(1);
        }
        let mut narrow = [const { Vec::new() }; ORDER];
        let mut wide = [const { Vec::new() }; ORDER];
        let mut watch = Vec::new();
        for (narrow, wide) in narrow.iter_mut().zip(&mut wide) {
            narrow.resize(columns, 0).map_err(|_| full())?;
            wide.resize(columns, 0).map_err(|_| full())?;
        }
        watch.resize(columns, 0).map_err(|_| full())?;
        Ok(Self {
            channels,
            phases,
            alternate: period.is_multiple_of(2),
            carrier,
            flush_rows: flush_rows(ORDER as u32, code_bits),
            basis: row_basis(phases),
            narrow,
            wide,
            watch,
            narrow_rows: 0,
            row: 0,
            phase: 0,
        })
    }

    /// Empties the sums and takes the next frame as sample `position` of a section.
    pub fn seek(&mut self, position: u32) {
        self.narrow.iter_mut().for_each(|level| level.fill(0));
        self.wide.iter_mut().for_each(|level| level.fill(0));
        self.watch.fill(0);
        self.row = position.checked_div(self.phases).unwrap_or(0);
        self.phase = position - self.row * self.phases;
        // Rows move on in pairs where they alternate: an odd start counts the missing row, of zeros.
        let odd = self.alternate && self.flush_rows != 0 && !self.row.is_multiple_of(2);
        self.narrow_rows = u32::from(odd);
    }

    /// Adds whole frames, all of the running section. Any number of frames, any cut: integer
    /// sums, so the order they come in does not change a bit.
    pub fn push(&mut self, frames: &[i32]) {
        let channels = self.channels;
        let width = self.phases as usize * channels;
        let mut rest = frames;
        while !rest.is_empty() {
            let pair_ready = self.phase == 0 && (!self.alternate || self.row.is_multiple_of(2));
            let rows = if self.alternate { 2 } else { 1 };
            if pair_ready && rest.len() >= rows * width {
                let room = if self.flush_rows == 0 {
                    u32::MAX
                } else {
                    self.flush_rows - self.narrow_rows
                };
                let whole = (rest.len() / (rows * width).max(1) * rows).min(room as usize);
                let (now, later) = rest.split_at_checked(whole * width).unwrap_or((rest, &[]));
                if self.flush_rows == 0 {
                    sum_rows(&mut self.wide, &mut self.watch, now, self.alternate);
                } else {
                    sum_rows(&mut self.narrow, &mut self.watch, now, self.alternate);
                }
                self.count_rows(whole as u32);
                rest = later;
            } else {
                let (frame, later) = rest.split_at_checked(channels).unwrap_or((rest, &[]));
                self.push_frame(frame);
                rest = later;
            }
        }
    }

    /// One frame, column by column: the slow way at the ragged ends of a block.
    fn push_frame(&mut self, frame: &[i32]) {
        let first = self.phase as usize * self.channels;
        let negative = self.alternate && self.row % 2 == 1;
        let watch = self.watch.iter_mut().skip(first);
        watch.zip(frame).for_each(|(seen, &code)| *seen |= reach(code));
        if self.flush_rows == 0 {
            add_frame(&mut self.wide, first, frame, negative);
        } else {
            add_frame(&mut self.narrow, first, frame, negative);
        }
        self.phase += 1;
        if self.phase == self.phases {
            self.phase = 0;
            self.count_rows(1);
        }
    }

    fn count_rows(&mut self, rows: u32) {
        self.row += rows;
        if self.flush_rows != 0 {
            self.narrow_rows += rows;
            if self.narrow_rows >= self.flush_rows {
                self.flush();
            }
        }
    }

    /// Moves the 32-bit sums into the 64-bit ones: integrators that take `narrow_rows` steps.
    fn flush(&mut self) {
        let weights = step_weights::<ORDER>(self.narrow_rows);
        // Highest first: each takes the others' state before this step.
        for j in (0..ORDER).rev() {
            let (lower, upper) = self.wide.split_at_mut(j);
            let Some(level) = upper.first_mut() else { continue };
            for (i, below) in lower.iter().enumerate() {
                let weight = weights[j - i];
                level
                    .iter_mut()
                    .zip(below)
                    .for_each(|(sum, x)| *sum = sum.wrapping_add(x.wrapping_mul(weight)));
            }
            for (sum, narrow) in level.iter_mut().zip(&mut self.narrow[j]) {
                *sum = sum.wrapping_add(i64::from(*narrow));
                *narrow = 0;
            }
        }
        self.narrow_rows = 0;
    }

    /// Ends the section: hands each channel's section sums and watch word to `sink`, starts anew.
    pub fn finish(&mut self, mut sink: impl FnMut(usize, &[[i128; 2]; ORDER], i32)) {
        if self.narrow_rows > 0 {
            self.flush();
        }
        let channels = self.channels;
        for channel in 0..channels {
            let mut sums = [[0i128; 2]; ORDER];
            let mut watch = 0;
            let mut column = channel;
            for &[cosine, sine] in &self.carrier {
                watch |= self.watch.get(column).copied().unwrap_or(0);
                one_step(&mut sums);
                let row_sums: [i64; ORDER] =
                    core::array::from_fn(|i| self.wide[i].get(column).copied().unwrap_or(0));
                for (j, sum) in sums.iter_mut().enumerate() {
                    let mut moment = 0i64;
                    for i in 0..=j {
                        moment = moment.wrapping_add(self.basis[j][i].wrapping_mul(row_sums[i]));
                    }
                    sum[0] = sum[0].wrapping_add(wide_product(moment, cosine));
                    sum[1] = sum[1].wrapping_sub(wide_product(moment, sine));
                }
                column += channels;
            }
            sink(channel, &sums, watch);
        }
        self.wide.iter_mut().for_each(|level| level.fill(0));
        self.watch.fill(0);
        self.row = 0;
    }
}

/// Integrators take one sample step with no input: sum j becomes the sum of all up to j.
fn one_step<const ORDER: usize>(sums: &mut [[i128; 2]; ORDER]) {
    let mut total = [0i128; 2];
    for sum in sums {
        total = [total[0].wrapping_add(sum[0]), total[1].wrapping_add(sum[1])];
        *sum = total;
    }
}

/// A running sum of 32 or 64 bits. Wrapping: the bound is the plan's, the watch word's the proof.
trait Sum: Copy {
    const ZERO: Self;
    fn add(self, other: Self) -> Self;
    fn sub(self, other: Self) -> Self;
    fn of(code: i32) -> Self;
}
impl Sum for i32 {
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
        code
    }
}
impl Sum for i64 {
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

/// |code| for negatives less one, plus one: 2^(b-1) or more exactly for the two end codes of
/// a b-bit converter and all beyond.
#[inline(always)]
pub(crate) const fn reach(code: i32) -> i32 {
    (code ^ (code >> 31)).wrapping_add(1)
}

/// Adds one frame to the columns from `first` on.
fn add_frame<S: Sum, const ORDER: usize, const COLUMNS: usize>(
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
fn sum_rows<S: Sum, const ORDER: usize, const COLUMNS: usize>(
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
        for pair in columns.chunks(2 * width) {
            let (Some(even), Some(odd)) =
                (pair.first_chunk(), pair.get(width..).and_then(|r| r.first_chunk()))
            else {
                break;
            };
            row(even, false);
            row(odd, true);
        }
    } else {
        for single in columns.chunks(width) {
            let Some(codes) = single.first_chunk() else { break };
            row(codes, false);
        }
    }
    for (level, sums) in levels.iter_mut().zip(sums) {
        level.iter_mut().skip(first).zip(sums).for_each(|(to, sum)| *to = sum);
    }
    watch.iter_mut().skip(first).zip(seen).for_each(|(to, seen)| *to = seen);
}

/// Most rows, even, whose order-N running sum of b-bit codes fits an `i32`; zero if not even two.
fn flush_rows(order: u32, code_bits: u32) -> u32 {
    let limit = 1i128 << 31;
    let mut rows = 0;
    while sum_bound(order, code_bits, rows + 2) < limit && rows < 1 << 16 {
        rows += 2;
    }
    rows
}

/// Largest order-N section sum of `samples` b-bit codes: 2^(b-1) C(samples+N-1, N).
///
/// The running product is at most (2^17)^6 = 2^102 before the shift: exact in `i128` for
/// b <= 25; wider codes are only asked about shorter sections.
pub(crate) fn sum_bound(order: u32, code_bits: u32, samples: u32) -> i128 {
    let mut value: i128 = 1;
    for d in 1..=i128::from(order) {
        value = (value * (i128::from(samples) + d - 1)).checked_div(d).unwrap_or(value);
        if value > 1 << 90 {
            return i128::MAX;
        }
    }
    value << (code_bits - 1)
}

/// G\[j\]\[i\]: C(K t + j, j) in the basis C(t + i, i), i <= j (indices from zero).
///
/// Coefficient i is the i-th backward difference at t = -1 (the basis is zero there but for
/// i = 0, and a backward difference lowers i by one).
fn row_basis<const ORDER: usize>(phases: u32) -> [[i64; ORDER]; ORDER] {
    let mut basis = [[0; ORDER]; ORDER];
    for (j, row) in basis.iter_mut().enumerate() {
        // Values at t = -1, -2, ..., differenced in place.
        let mut values = [0i128; ORDER];
        for (t, value) in (1i128..).zip(values.iter_mut()) {
            *value = binomial(-t * i128::from(phases) + j as i128, j as i128);
        }
        for (i, coefficient) in row.iter_mut().enumerate().take(j + 1) {
            *coefficient = values[0] as i64;
            for k in 0..ORDER - 1 - i {
                values[k] -= values[k + 1];
            }
        }
    }
    basis
}

/// C(n, k) for any integer n: n (n-1) ... (n-k+1) / k!.
fn binomial(n: i128, k: i128) -> i128 {
    let mut value = 1i128;
    for d in 0..k {
        value = (value * (n - d)).checked_div(d + 1).unwrap_or(value);
    }
    value
}
