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

mod bounds;
mod rows;

use crate::carrier::{self, CarrierRatio};
use crate::cic::step_weights;
use crate::error::{ConfigError, Stage};
use crate::word::wide_product;
use bounds::{flush_rows, row_basis};
use heapless::Vec;
use rows::{add_frame, sum_rows};

pub(crate) use bounds::sum_bound;
pub(crate) use rows::reach;

/// Fraction bits of the cosines and sines: Q2.30.
pub(crate) const FRACTION_BITS: u32 = 30;

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

    /// Sets up the columns of `channels` channels of b-bit codes.
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
        let carrier = carrier::table(ratio, phases, FRACTION_BITS).ok_or_else(full)?;
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
