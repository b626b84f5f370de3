//! **Folding by carrier phase.** The mixer and integrators of a coherent carrier without a
//! multiplication per sample.
//!
//! Receives converter codes from [`crate::front_end`], hands section sums to [`crate::cic`].
//!
//! When the carrier repeats every P samples, all samples at one phase of it get the same
//! cosine and sine: they are summed first and multiplied once per section. With K = P
//! (or P/2 where P is even: the second half period is the negative of the first) the
//! section is a table of r rows of K samples x C channels. For each *column* N cascaded
//! running sums are kept, v being the sample (negated in odd half periods):
//!
//! A_1 += v,  A_2 += A_1,  ...,  A_N += A_(N-1)
//!
//! so that A_j = sum_t C(t+j-1, j-1) v, t rows from the end. What the integrators of the
//! CIC would hold follows exactly. Behind a sample of column h, t rows from the end, come K t + u
//! others, u = K-1-h, and with ((n, k)) = C(n+k-1, k)
//!
//! ((K t + 1 + u, j-1)) = sum_i ((K t + 1, i)) ((u, j-1-i)):
//!
//! the first factor is a combination of C(t+l, l), l <= i, with constant integers G_il; the
//! second comes of summing over the columns j-1-i times. Nothing is rounded before the cosine's
//! own rounding to Q.f.

mod bounds;
mod rows;

use crate::carrier::{self, CarrierRatio};
use crate::cic::Cic;
use crate::error::{ConfigError, Stage};
use crate::word::Register;
use bounds::{most_rows, row_basis};
use heapless::Vec;
use rows::Columns;

pub(crate) use bounds::sum_bound;
pub(crate) use rows::{reach, take_over_range};

/// Running sums of one section.
///
/// In: Q(b-1).0 codes, b the converter's bits. Sums: `i32`, within their word for the rows of a
/// section (`bounds.rs` has the inequality). Product: sum x Q.f cosine in `i64`, below
/// 2^31 x 2^31. Mixed sums: the register, wrapping; no rounding. Codes beyond b bits break the
/// bound: sums then wrap, and the watch word tells.
#[derive(Clone, Debug)]
pub struct Fold<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    channels: usize,
    /// K, columns per channel.
    phases: u32,
    /// The carrier at each phase.
    carrier: Vec<Turn, COLUMNS>,
    /// G\[i\]\[l\]: C(K t + i, i) in the basis C(t + l, l), A_2 counted from the middle row of a
    /// whole and of an interval's last section.
    bases: [[[i64; ORDER]; ORDER]; 2],
    middles: [i32; 2],
    columns: Columns<ORDER, CHANNELS, COLUMNS>,
    /// Next row and column of the section.
    row: u32,
    phase: u32,
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    Fold<ORDER, CHANNELS, COLUMNS>
{
    /// Sets up the columns of `channels` channels, with cosines of `fraction_bits`, for `sections`
    /// of so many samples, whole ones and an interval's last. `sparse` watches one code of each
    /// channel in a period for over-range, else all.
    ///
    /// # Errors
    /// [`ConfigError`] when the carrier has no period or its columns exceed `COLUMNS`.
    pub fn new(
        ratio: CarrierRatio,
        channels: usize,
        fraction_bits: u32,
        sections: [u32; 2],
        sparse: bool,
    ) -> Result<Self, ConfigError> {
        let refuse = |quantity, given, min, max| {
            ConfigError::new(Stage::FrontEnd, quantity, given, min, max)
        };
        let period = ratio.period().ok_or(refuse("carrier period", 0, 1, COLUMNS as i64))?;
        let phases = phases(period);
        let count = phases as usize * channels;
        let full = || refuse("channels x carrier phases", count as i64, 1, COLUMNS as i64);
        let table: Vec<_, COLUMNS> =
            carrier::table(ratio, phases, fraction_bits).ok_or_else(full)?;
        let mut carrier = Vec::new();
        for (turn, after) in table.into_iter().zip((0..phases as i32).rev()) {
            let times = |factor| turn.map(|t: i32| t.wrapping_mul(factor));
            carrier.push([turn, times(after), times(phases as i32)]).map_err(|_| full())?;
        }
        let columns =
            Columns::new(count, channels, sparse, period.is_multiple_of(2)).ok_or_else(full)?;
        // A_2 counts from the middle row, C(t + 1, 1) = t + 1 from the last one.
        let rows = |length: u32| length.checked_div(phases).unwrap_or(0);
        let middles = sections.map(|length| rows(length).div_ceil(2) as i32);
        let bases = middles.map(|middle| {
            let mut basis = row_basis(phases);
            for row in &mut basis {
                row[0] += row.get(1).map_or(0, |&second| i64::from(middle) * second);
            }
            basis
        });
        Ok(Self { channels, phases, carrier, bases, middles, columns, row: 0, phase: 0 })
    }

    /// Empties the sums and takes the next frame as sample `position` of a section.
    pub fn seek(&mut self, position: u32) {
        self.columns.clear();
        self.row = position.checked_div(self.phases).unwrap_or(0);
        self.phase = position - self.row * self.phases;
    }

    /// Adds whole frames, all of the running section. Any number of frames, any cut: integer
    /// sums, so the order they come in does not change a bit.
    pub fn push(&mut self, frames: &[i32]) {
        let width = self.columns.sums.len();
        let rows = if self.columns.alternate { 2 } else { 1 };
        let mut rest = frames;
        while !rest.is_empty() {
            let ready = self.phase == 0 && self.row & (rows - 1) == 0;
            let step = rows as usize * width;
            if ready && rest.len() >= step {
                let whole = rest.len() / step.max(1);
                let (now, later) = rest.split_at_checked(whole * step).unwrap_or((rest, &[]));
                self.columns.add_rows(now);
                self.row += whole as u32 * rows;
                rest = later;
            } else {
                let (frame, later) = rest.split_at_checked(self.channels).unwrap_or((rest, &[]));
                self.push_frame(frame);
                rest = later;
            }
        }
    }

    /// One frame: the slow way at the ragged ends of a block.
    fn push_frame(&mut self, frame: &[i32]) {
        let first = self.phase as usize * self.channels;
        self.columns.add_frame(first, frame, self.columns.alternate && self.row % 2 == 1);
        self.phase += 1;
        if self.phase == self.phases {
            self.phase = 0;
            self.row += 1;
        }
    }

    /// Ends the section: hands `cics` each channel's section sums, starts anew. `first` or `last`
    /// section of its interval or not; `weights` are its [`crate::cic::step_weights`].
    pub fn finish<R: Register>(
        &mut self,
        cics: &mut [Cic<R, ORDER>],
        first: bool,
        last: bool,
        weights: &[i64; ORDER],
    ) {
        let [whole, rest] = &self.bases;
        let [middle, rest_middle] = self.middles;
        let (basis, middle) = if last { (rest, rest_middle) } else { (whole, middle) };
        // A firmware's readout, sized for its sensor, has constant strides.
        let exact = self.channels == CHANNELS && self.columns.sums.len() == COLUMNS;
        let mix =
            if exact { mix_exact::<R, ORDER, CHANNELS, COLUMNS> } else { mix_any::<R, ORDER> };
        for (channel, cic) in cics.iter_mut().enumerate() {
            let columns = self.columns.sums.get_mut(channel..).unwrap_or(&mut []);
            cic.section(first, weights, |sums| {
                mix(sums, columns, self.channels, &self.carrier, middle, basis);
            });
        }
        self.row = 0;
    }

    /// Bit c: channel c met a code beyond its `code_bits` since the last call, an end code included.
    pub fn over_range(&mut self, code_bits: u32) -> u32 {
        self.columns.over_range(code_bits)
    }
}

/// Longest section, samples, a multiple of `period`; zero where codes are too wide to fold.
#[must_use]
pub(crate) fn section(period: u32, order: u32, code_bits: u32) -> u32 {
    most_rows(order, code_bits, period.is_multiple_of(2)) * phases(period)
}

/// Columns per channel for a carrier of `period` samples.
#[must_use]
pub const fn phases(period: u32) -> u32 {
    if period.is_multiple_of(2) { period / 2 } else { period }
}

/// Fraction bits at which K times a cosine fits an `i32`.
pub(crate) const fn most_fraction_bits(period: u32) -> u32 {
    31 - (u32::BITS - phases(period).leading_zeros())
}

/// e^(-i phase), Q.f, cosine and minus sine; u times it; K times it.
type Turn = [[i32; 2]; 3];

#[inline(never)]
fn mix_exact<R: Register, const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>(
    mixed: &mut [[R; 2]; ORDER],
    columns: &mut [[i32; ORDER]],
    _stride: usize,
    carrier: &[Turn],
    middle: i32,
    basis: &[[i64; ORDER]; ORDER],
) {
    let (phases, reach) = (COLUMNS.checked_div(CHANNELS), COLUMNS.saturating_sub(CHANNELS) + 1);
    if let (Some(columns), Some(carrier)) =
        (columns.get_mut(..reach), carrier.get(..phases.unwrap_or(0)))
    {
        mix(mixed, columns, CHANNELS, carrier, middle, basis);
    }
}

#[inline(never)]
fn mix_any<R: Register, const ORDER: usize>(
    mixed: &mut [[R; 2]; ORDER],
    columns: &mut [[i32; ORDER]],
    stride: usize,
    carrier: &[Turn],
    middle: i32,
    basis: &[[i64; ORDER]; ORDER],
) {
    mix(mixed, columns, stride, carrier, middle, basis);
}

/// Section sums of one channel, whose columns stand `stride` apart and are emptied, with A_2 from
/// row `middle`:
///
/// P\[l\]\[m\] = sum_h ((u, m)) A_(l+1) cosine, u columns before the last,
/// S_(j+1) = sum_i sum_l G_il P\[l\]\[j-i\], where G_00 is 1.
///
/// For order 2, the usual one, that is S_2 = sum_h (u A_1 + K A_2) cosine + G_10 S_1, with u and K
/// times the cosine from the table; for others, u is summed once more, column by column.
#[inline(always)]
fn mix<R: Register, const ORDER: usize>(
    mixed: &mut [[R; 2]; ORDER],
    columns: &mut [[i32; ORDER]],
    stride: usize,
    carrier: &[Turn],
    middle: i32,
    basis: &[[i64; ORDER]; ORDER],
) {
    // One part after the other: both would not fit a small core's registers.
    for part in 0..2 {
        let mut moments = [[R::default(); ORDER]; ORDER];
        for (h, turn) in carrier.iter().enumerate() {
            let Some(column) = columns.get_mut(h * stride) else { break };
            let mut sums = *column;
            if part == 1 {
                *column = [0; ORDER];
            }
            if ORDER > 1 {
                sums[1] = sums[1].wrapping_sub(sums[0].wrapping_mul(middle));
            }
            let product =
                |l: usize, times: usize| R::of(i64::from(sums[l]) * i64::from(turn[times][part]));
            if ORDER == 2 {
                moments[0][0] = moments[0][0].plus(product(0, 0));
                moments[0][1] = moments[0][1].plus(product(0, 1)).plus(product(1, 2));
                continue;
            }
            for l in 0..ORDER {
                for m in 1..ORDER - l {
                    moments[l][m] = moments[l][m].plus(moments[l][m - 1]);
                }
                moments[l][0] = moments[l][0].plus(product(l, 0));
            }
        }
        for (j, sum) in mixed.iter_mut().enumerate() {
            let mut total = moments[0][j];
            for i in 1..=j {
                // Order 2 has its A_2 in P[0][1] already.
                for l in 0..if ORDER == 2 { i } else { i + 1 } {
                    total = total.plus(moments[l][j - i].times(basis[i][l]));
                }
            }
            sum[part] = total;
        }
    }
}
