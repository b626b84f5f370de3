//! **Proof by energy** that no code of some rows was at an end: one instruction a code where a look takes two.
//!
//! A chunk has r rows; its columns are what the fold sums anyway, samples of one channel at one phase of the carrier.
//! Of all its codes x the loop keeps E = sum of x^2; of each column it has the sum T, mean m = T/r. Then
//!
//! D = E - sum over columns of T^2/r
//!
//! is the energy about the columns' means: a sum of squares (x - m)^2, none below zero. The ends are -L and L - 1, so a
//! code at an end or beyond adds (x - m)^2 >= (L - 1 - |m|)^2 where |m| < L - 1. Therefore, with M the largest |T|,
//!
//! M < r (L - 1) and r (r E - sum T^2) < (r (L - 1) - M)^2
//!
//! proves that no code reached an end: in integers, exactly. A steady carrier, clipped nowhere, has D of its noise alone;
//! one that is clipped, or a lone spike, never passes. What is not proven is looked at code by code: nothing is told by this
//! inequality alone.
//!
//! **Words that no b-bit converter gives** may wrap the sums. T is then short of the true sum by 2^32 or more, so that its column
//! alone makes r D at least (2^32 - |T|)^2 - T^2 = 2^33 (2^31 - |T|); as r (L - 1) < 2^31, that is above the bound. E is exact
//! below 2^64: codes of up to 26 bits in any chunk of up to 2^14, and up to three words of any value, are told; more of them might
//! not be, by a chance of 2^-20 a chunk, but for the first frame's, which is looked at in every block: a link that gives nothing but
//! such words is told.

use super::Ends;

/// Where the chunk's loop has the instruction: a long product added to a sum. The smallest core, which cannot exchange words
/// in memory either, has it not, nor has RISC-V. A host has it for the tests.
pub(crate) const BY_ENERGY: bool =
    cfg!(any(not(target_os = "none"), all(target_arch = "arm", target_has_atomic = "32")));

/// What the proof needs of a chunk.
#[derive(Clone, Copy, Debug)]
pub struct Energy {
    /// E modulo 2^64.
    squares: u64,
    /// Sum of T^2, of at most 2^62 each: below 2^64 for columns whose |T| pass.
    means: u64,
    /// M, or one less.
    largest: u32,
}

/// E with one more code.
#[inline(always)]
#[must_use]
pub(crate) const fn with_square(squares: u64, code: i32) -> u64 {
    squares.wrapping_add((code as i64 * code as i64) as u64)
}

impl Energy {
    /// Of codes with this E, columns still to be added.
    #[inline(always)]
    #[must_use]
    pub const fn of(squares: u64) -> Self {
        Self { squares, means: 0, largest: 0 }
    }

    /// Adds what a column's codes sum up to, modulo 2^32; their signs may be turned.
    #[inline(always)]
    pub const fn add_column(&mut self, total: i32) {
        self.means = with_square(self.means, total);
        // One less than |T| where it is negative: made up for in `excludes_ends`.
        let size = (total ^ (total >> 31)) as u32;
        if size > self.largest {
            self.largest = size;
        }
    }

    /// Whether no code of the chunk's `rows` was at an end. Rows of no more than 2^31/L, as their sums have to fit.
    #[inline(always)]
    #[must_use]
    pub const fn excludes_ends(self, rows: u32, ends: Ends) -> bool {
        excludes_ends(self.squares, self.means, self.largest, rows, ends.last())
    }
}

/// The same number by number, as a small core hands them over fastest.
#[inline(never)]
const fn excludes_ends(squares: u64, means: u64, largest: u32, rows: u32, last: u32) -> bool {
    // 2^31 at most.
    let Some(room) = (rows as u64 * last as u64).checked_sub(largest as u64 + 1) else {
        return false;
    };
    let Some(energy) = times(squares, rows) else { return false };
    // Less than nothing only where E has wrapped.
    let Some(about_means) = energy.checked_sub(means) else { return false };
    match times(about_means, rows) {
        Some(bound) => bound < room * room,
        None => false,
    }
}

/// x r, for r up to 2^16; `None` from 2^63 on.
#[inline(always)]
const fn times(x: u64, r: u32) -> Option<u64> {
    let upper = (x >> 32) * r as u64;
    if upper >> 30 != 0 {
        return None;
    }
    Some((upper << 32) + (x as u32 as u64) * r as u64)
}

#[cfg(test)]
mod tests {
    use super::{Energy, with_square};
    use crate::over_range::Ends;

    /// What a chunk's proof says, its columns side by side.
    fn excludes(bits: u32, rows: usize, codes: &[i32]) -> bool {
        let columns = codes.len() / rows;
        let mut energy = Energy::of(codes.iter().fold(0, |e, code| with_square(e, *code)));
        for column in 0..columns {
            let codes = codes.iter().skip(column).step_by(columns);
            energy.add_column(codes.fold(0, |sum, code| sum.wrapping_add(*code)));
        }
        energy.excludes_ends(rows as u32, Ends::new(bits))
    }

    /// The bound itself, by hand: 8 bits, ends -128 and 127; with one row every code is its own mean, so that D is zero and M alone
    /// decides; two rows of d and -d have D = 2 d^2, and pass where 4 D < (2 x 127 - M)^2 with M taken as 1.
    #[test]
    fn the_bound() {
        for code in -130..130 {
            // |code|, or one more where it is negative, below 127.
            let within = (-126..126).contains(&code);
            assert_eq!(excludes(8, 1, &[code]), within, "{code}");
        }
        for d in 0..200i32 {
            assert_eq!(excludes(8, 2, &[d, -d]), 8 * d * d < 253 * 253, "{d}");
        }
    }

    /// A steady carrier passes whatever its size, one that the converter clips never, nor a lone end in silence.
    #[test]
    fn carriers_pass_and_ends_do_not() {
        let mut codes = [0i32; 5 * 32];
        for percent in [1, 50, 95, 99] {
            for (n, code) in codes.iter_mut().enumerate() {
                let steps = [83_886, 67_865, 25_923, -25_923, -67_865][n % 5] * percent;
                // Noise of a few thousand steps.
                *code = steps + (n as i32 * 7919) % 4001 - 2000;
            }
            assert!(excludes(24, 32, &codes), "{percent}");
            for place in 0..codes.len() {
                for end in [-(1 << 23), (1 << 23) - 1, 1 << 23, i32::MIN, i32::MAX] {
                    let mut codes = codes;
                    codes[place] = end;
                    assert!(!excludes(24, 32, &codes), "{percent}: {end} at {place}");
                }
            }
        }
        let clipped = codes.map(|code| code.saturating_mul(2).clamp(-(1 << 23), (1 << 23) - 1));
        assert!(!excludes(24, 32, &clipped));
    }

    /// Sums that wrap prove nothing: all codes alike and beyond the range, by as much as makes a column's sum, or E, zero modulo its
    /// word.
    #[test]
    fn wrapped_sums_prove_nothing() {
        for power in 23..31 {
            for rows in [1usize, 2, 4, 8, 16, 32] {
                for columns in [1, 2, 3] {
                    let codes = [1i32 << power; 96];
                    let squares = (rows * columns) as u128 * (1 << (2 * power));
                    // Beyond 2^64 it may.
                    if squares < 1 << 64 {
                        let codes = &codes[..rows * columns];
                        assert!(!excludes(24, rows, codes), "2^{power}, {rows} x {columns}");
                    }
                }
            }
        }
    }
}
