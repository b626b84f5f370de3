//! Plan of the folded front end: the tables that follow from its columns.

use super::basis::row_basis;
use crate::carrier::{Carrier, cos_sin_short};
use crate::error::{ConfigError, Stage, attempt};
use crate::list::List;
use crate::section::{Folding, Sections};

/// e^(-i phase), Q.f: its cosine, u times and K times it; the same of minus its sine.
pub(super) type Turn = [[i32; 3]; 2];

/// What a plan's folding never changes: the carrier, and how rows make samples.
///
/// The parameters are those of [`super::Fold`].
#[derive(Clone, Copy, Debug)]
pub struct FoldTables<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const EXACT: bool = true,
    const PHASES: usize = COLUMNS,
> {
    pub(super) channels: usize,
    /// K columns per channel, and whether odd rows count negative.
    pub(super) folding: Folding,
    /// The carrier at each phase.
    pub(super) carrier: List<Turn, PHASES>,
    /// G\[i\]\[l\]: C(K t + i, i) in the basis C(t + l, l), A_2 counted from the middle row of a
    /// whole and of an interval's last section.
    pub(super) bases: [[[i64; ORDER]; ORDER]; 2],
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const EXACT: bool,
    const PHASES: usize,
> FoldTables<ORDER, CHANNELS, COLUMNS, EXACT, PHASES>
{
    /// Of no plan.
    pub(super) const NONE: Self = Self {
        channels: 0,
        folding: Folding { columns: 0, alternate: false },
        carrier: List::empty([[0; 3]; 2]),
        bases: [[[0; ORDER]; ORDER]; 2],
    };

    /// Works out the tables for the sections of a plan.
    ///
    /// # Errors
    /// [`ConfigError`] where the plan does not fold, or not into the columns there are.
    pub const fn new(sections: &Sections) -> Result<Self, ConfigError> {
        let Sections { carrier, channels, folded, fraction_bits, whole, last, .. } = *sections;
        let Some(folding) = folded else {
            let quantity = "carrier period within the ratio, which Fold needs (Mixer does not)";
            return Err(ConfigError::new(Stage::FrontEnd, quantity, 0, 1, COLUMNS as i64));
        };
        let phases = folding.columns;
        let count = phases as usize * channels;
        let least = if EXACT { CHANNELS } else { 1 };
        let (given, max) = (channels as i64, CHANNELS as i64);
        attempt!(ConfigError::check(Stage::Converter, "channels", given, least as i64, max));
        let least = if EXACT { COLUMNS } else { 1 };
        let quantity = "channels x carrier phases, for which there are COLUMNS";
        let (given, max) = (count as i64, COLUMNS as i64);
        attempt!(ConfigError::check(Stage::FrontEnd, quantity, given, least as i64, max));
        let quantity = "carrier phases, for which there are PHASES";
        let (given, max) = (phases as i64, PHASES as i64);
        attempt!(ConfigError::check(Stage::FrontEnd, quantity, given, 1, max));
        let mut table = List::empty([[0; 3]; 2]);
        let mut oscillator = Carrier::new(carrier);
        let mut after = phases as i32;
        while after > 0 {
            after -= 1;
            let [cosine, sine] = cos_sin_short(oscillator.phase(), fraction_bits);
            oscillator.advance(1);
            // There is room: see above.
            let _ = table.push([times(cosine, after, phases), times(-sine, after, phases)]);
        }
        let bases = [centred_basis(phases, whole), centred_basis(phases, last)];
        Ok(Self { channels, folding, carrier: table, bases })
    }

    /// For a whole section or an interval's `last` one.
    #[inline(always)]
    pub(super) fn basis(&self, last: bool) -> &[[i64; ORDER]; ORDER] {
        if last { &self.bases[1] } else { &self.bases[0] }
    }
}

const fn times(x: i32, after: i32, phases: u32) -> [i32; 3] {
    [x, x.wrapping_mul(after), x.wrapping_mul(phases as i32)]
}

/// A_2 counts from the middle row of a section, C(t + 1, 1) = t + 1 from the last one.
const fn centred_basis<const ORDER: usize>(phases: u32, length: u32) -> [[i64; ORDER]; ORDER] {
    let middle = match length.checked_div(phases) {
        Some(rows) => rows.div_ceil(2) as i64,
        None => 0,
    };
    let mut basis: [[i64; ORDER]; ORDER] = row_basis(phases);
    let mut j = 0;
    while ORDER > 1 && j < ORDER {
        basis[j][0] += middle * basis[j][1];
        j += 1;
    }
    basis
}
