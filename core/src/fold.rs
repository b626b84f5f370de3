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

mod basis;
mod plan;
mod rows;
#[cfg(feature = "wide")]
mod wide;

use crate::cic::Cic;
use crate::error::ConfigError;
use crate::guard::Checksum;
use crate::over_range::Ends;
use crate::phasor::Phasor;
use crate::section::{Folding, SectionEnd, Sections, Way};
use crate::word::Register;
use core::hint::black_box;
use plan::Turn;
use rows::Columns;

pub use plan::FoldTables;

/// Running sums of one section.
///
/// In: Q(b-1).0 codes, b the converter's bits. Sums: `i32`, within their word for the rows of a
/// section (`section/bounds.rs` has the inequality). Product: sum x Q.f cosine in `i64`, below
/// 2^31 x 2^31. Mixed sums: the register, wrapping; no rounding. Codes beyond b bits break the
/// bound: sums then wrap, and the over-range watch tells.
///
/// `EXACT`: made for `CHANNELS` channels and `COLUMNS` columns and no other numbers, which leaves
/// only the loops for these in a firmware. `PHASES` is the room for the carrier, K.
#[derive(Clone, Debug)]
pub struct Fold<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const EXACT: bool = true,
    const PHASES: usize = COLUMNS,
> {
    tables: FoldTables<ORDER, CHANNELS, COLUMNS, EXACT, PHASES>,
    columns: Columns<ORDER, COLUMNS, EXACT>,
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const EXACT: bool,
    const PHASES: usize,
> Way<ORDER> for Fold<ORDER, CHANNELS, COLUMNS, EXACT, PHASES>
{
    const SIZED: bool = EXACT;

    type Tables = FoldTables<ORDER, CHANNELS, COLUMNS, EXACT, PHASES>;

    fn tables(sections: &Sections) -> Result<Self::Tables, ConfigError> {
        FoldTables::new(sections)
    }

    const IDLE: Self = Self { tables: FoldTables::NONE, columns: Columns::IDLE };

    fn load(&mut self, tables: &Self::Tables) {
        self.tables = *tables;
        let count = tables.folding.columns as usize * tables.channels;
        self.columns.refill(count);
    }

    fn is_folded(&self) -> bool {
        true
    }

    fn seek(&mut self, _: u64) {
        self.columns.refill(self.columns.sums.len());
    }

    fn align(&mut self, _: u64) {}

    // At any of the compiler's levels.
    #[inline(always)]
    fn push(&mut self, frames: &[i32], into: u32, length: u32, ends: Ends) -> i32 {
        let alternate = self.tables.folding.alternate;
        let channels = self.tables.channels;
        // Words that are all beyond any code could wrap what proves the others.
        let mut seen = 0;
        let first = if EXACT { CHANNELS } else { channels };
        for code in frames.get(..first).unwrap_or(&[]) {
            seen = ends.look(seen, *code);
        }
        if into == 0 {
            if frames.len() == length as usize * channels
                && let Some(all) = self.columns.take_section(frames, alternate, ends)
            {
                return seen | all;
            }
            self.columns.clear();
        }
        seen | self.push_part(frames, into, length, ends)
    }

    fn check(&self, sum: &mut Checksum) {
        let FoldTables { channels, folding, carrier, bases } = &self.tables;
        sum.add_size(*channels);
        sum.add(folding.columns);
        sum.add(folding.alternate.into());
        sum.add_size(carrier.len());
        sum.add_all(carrier.as_flattened().as_flattened());
        sum.add_all_long(bases.as_flattened().as_flattened());
        sum.add_size(self.columns.sums.len());
    }

    #[inline(always)]
    fn finish<R: Register>(
        &mut self,
        end: SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> bool {
        #[cfg(feature = "wide")]
        if !EXACT {
            let Self { tables, columns } = &*self;
            let section = wide::Section {
                sums: columns.sums.room().as_flattened(),
                width: columns.sums.len(),
                channels: tables.channels.max(1),
                carrier: &tables.carrier,
                basis: tables.basis(end.last),
            };
            return section.finish(&end, cics, out);
        }
        // A firmware's readout, sized for its sensor, has constant strides.
        if EXACT || self.tables.channels == CHANNELS && self.columns.is_sized() {
            self.finish_sized::<R, CHANNELS, COLUMNS>(&end, cics, out)
        } else {
            self.finish_sized::<R, 0, 0>(&end, cics, out)
        }
    }
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const EXACT: bool,
    const PHASES: usize,
> Fold<ORDER, CHANNELS, COLUMNS, EXACT, PHASES>
{
    /// Frames of a section, all or some.
    #[inline(never)]
    fn push_part(&mut self, frames: &[i32], into: u32, length: u32, ends: Ends) -> i32 {
        let Folding { columns: phases, alternate } = self.tables.folding;
        let rows = into.checked_div(phases).unwrap_or(0);
        let (mut row, mut phase) = (rows, into.wrapping_sub(rows.wrapping_mul(phases)));
        let mut rest = frames;
        let mut seen = self.push_ragged(&mut rest, &mut row, &mut phase, false, ends);
        let before = rest.len();
        let (some, mut rest) = self.columns.add_rows(rest, alternate, ends);
        seen |= some;
        let columns = self.columns.sums.len();
        let taken = (before - rest.len()).checked_div(columns).unwrap_or(0) as u32;
        row = row.wrapping_add(taken);
        if taken > 0 {
            seen |= self.columns.prove(row, ends);
        }
        seen |= self.push_ragged(&mut rest, &mut row, &mut phase, true, ends);
        if row.wrapping_mul(phases) >= length {
            self.columns.centre(row);
        }
        seen
    }

    /// Frames one by one, the slow way at the ragged ends of a block: `all`, or those up to the next whole row or pair of rows.
    #[inline(never)]
    fn push_ragged(
        &mut self,
        frames: &mut &[i32],
        row: &mut u32,
        phase: &mut u32,
        all: bool,
        ends: Ends,
    ) -> i32 {
        let FoldTables { channels, folding, .. } = &self.tables;
        let mut seen = 0;
        loop {
            let odd = folding.alternate && *row % 2 == 1;
            if !all && *phase == 0 && !odd {
                break;
            }
            let Some((frame, later)) = frames.split_at_checked((*channels).max(1)) else { break };
            *frames = later;
            seen |= self.columns.add_frame(*phase as usize * channels, frame, odd, ends);
            *phase += 1;
            if *phase >= folding.columns {
                (*row, *phase) = (row.wrapping_add(1), 0);
            }
        }
        seen
    }

    /// [`Way::finish`], with channels and columns constant where they are not zero.
    #[inline(never)]
    fn finish_sized<R: Register, const SIZED: usize, const WIDTH: usize>(
        &mut self,
        end: &SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> bool {
        let Self { tables, columns } = &*self;
        let basis = tables.basis(end.last);
        let channels = if SIZED > 0 { SIZED } else { tables.channels.max(1) };
        let width = if SIZED > 0 { WIDTH } else { columns.sums.len() };
        // From a channel's first column to its last.
        let reach = width.saturating_sub(channels) + 1;
        let phases = width / channels;
        let usual = end.usual();
        let mut saturated = false;
        let Some(sums) = columns.sums.get(..width) else { return saturated };
        for (channel, (phasor, [i, q])) in out.iter_mut().zip(cics).enumerate().take(channels) {
            let Some(sums) = sums.get(channel..channel + reach) else { break };
            // One part after the other, whatever the compiler thinks: a small core has registers for one.
            let Some(carrier) = black_box(tables).carrier.get(..phases) else { break };
            let (word, i_beyond) = end.take(usual, i, mix(sums, channels, carrier, 0, basis));
            phasor.i = word;
            black_box(());
            let (word, q_beyond) = end.take(usual, q, mix(sums, channels, carrier, 1, basis));
            phasor.q = word;
            saturated |= i_beyond | q_beyond;
        }
        saturated
    }
}

/// Section sums of one channel, in-phase (`part` 0) or quadrature (1), whose columns stand `stride` apart,
/// A_2 from the middle row:
///
/// P\[l\]\[m\] = sum_h ((u, m)) A_(l+1) cosine, u columns before the last,
/// S_(j+1) = sum_i sum_l G_il P\[l\]\[j-i\], where G_00 is 1.
///
/// For order 2, the usual one, that is S_2 = sum_h (u A_1 + K A_2) cosine + G_10 S_1, with u and K
/// times the cosine from the table; for others, u is summed once more, column by column.
#[inline(always)]
fn mix<R: Register, const ORDER: usize>(
    columns: &[[i32; ORDER]],
    stride: usize,
    carrier: &[Turn],
    part: usize,
    basis: &[[i64; ORDER]; ORDER],
) -> [R; ORDER] {
    let mut moments = [[R::ZERO; ORDER]; ORDER];
    for (h, turn) in carrier.iter().enumerate() {
        let Some(sums) = columns.get(h * stride) else { break };
        let product =
            |l: usize, times: usize| R::of(i64::from(sums[l]) * i64::from(turn[part][times]));
        if ORDER == 2 {
            black_box(());
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
    core::array::from_fn(|j| {
        let mut total = moments[0][j];
        for i in 1..=j {
            // Order 2 has its A_2 in P[0][1] already.
            for l in 0..if ORDER == 2 { i } else { i + 1 } {
                total = total.plus(moments[l][j - i].times(basis[i][l]));
            }
        }
        total
    })
}
