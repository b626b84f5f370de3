//! How many columns a plan folds into, and how long its sections are.

use super::bounds::most_rows;

/// How a plan folds: samples of a row, and whether odd rows count negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Folding {
    /// K, columns per channel.
    pub columns: u32,
    /// A row is an odd number of half periods.
    pub alternate: bool,
}

/// Most columns per channel where fewer would do, in more sections.
pub const MAX_COLUMNS: u32 = 64;

impl Folding {
    /// Rows of a half period where the period is even, else of a period, or of the fewest of them
    /// that make an interval of `ratio` samples a single section, at most [`MAX_COLUMNS`] long.
    /// `None` where codes are too wide to fold.
    #[must_use]
    pub const fn new(period: u32, ratio: u32, order: u32, code_bits: u32) -> Option<Self> {
        let shortest = Self::shortest(period);
        let plain = most_rows(order, code_bits, false);
        let paired = most_rows(order, code_bits, true);
        let mut n = 1;
        while n <= MAX_COLUMNS && n * shortest.columns <= MAX_COLUMNS {
            let columns = n * shortest.columns;
            let alternate = shortest.alternate && n % 2 == 1;
            let most = if alternate { paired } else { plain };
            // Even rows where they alternate.
            let step = if alternate { 2 * columns } else { columns };
            if ratio.is_multiple_of(step) && ratio <= most * columns {
                return Some(Self { columns, alternate });
            }
            n += 1;
        }
        shortest.within(order, code_bits)
    }

    /// Rows of a half period where the period is even, else of a period, whatever the sections: short
    /// ones, whose sums leave room for the bits that pruning rounds off.
    #[must_use]
    pub const fn short(period: u32, order: u32, code_bits: u32) -> Option<Self> {
        Self::shortest(period).within(order, code_bits)
    }

    const fn shortest(period: u32) -> Self {
        let alternate = period.is_multiple_of(2);
        Self { columns: if alternate { period / 2 } else { period }, alternate }
    }

    /// Where at least one row (or two) of codes fits.
    const fn within(self, order: u32, code_bits: u32) -> Option<Self> {
        if self.section(order, code_bits) > 0 { Some(self) } else { None }
    }

    /// Longest section, samples; zero where not even one row (or two) fits.
    #[must_use]
    pub const fn section(self, order: u32, code_bits: u32) -> u32 {
        most_rows(order, code_bits, self.alternate) * self.columns
    }

    /// Most fraction bits of the carrier: K times a cosine fits an `i32`.
    #[must_use]
    pub const fn most_fraction_bits(self) -> u32 {
        31 - (u32::BITS - self.columns.leading_zeros())
    }
}
