//! The way from codes to section sums that suits a plan: folded or mixed.

use crate::cic::Cic;
use crate::error::{ConfigError, attempt};
use crate::fold::{Fold, FoldTables};
use crate::guard::Checksum;
use crate::mixer::{Mixer, MixerTables};
use crate::over_range::Ends;
use crate::phasor::Phasor;
use crate::section::{SectionEnd, Sections, Way};
use crate::word::Register;

/// Tables of the way that suits the plan.
// No allocation to point to.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug)]
pub enum AnyTables<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    /// For a carrier with a short period.
    Folded(FoldTables<ORDER, CHANNELS, COLUMNS, false>),
    /// For any carrier.
    Mixed(MixerTables<CHANNELS, COLUMNS>),
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    AnyTables<ORDER, CHANNELS, COLUMNS>
{
    /// See [`Way::tables`].
    ///
    /// # Errors
    /// [`ConfigError`] when the sections exceed the capacity.
    pub const fn new(sections: &Sections) -> Result<Self, ConfigError> {
        if sections.folded.is_some() {
            Ok(Self::Folded(attempt!(FoldTables::new(sections))))
        } else {
            Ok(Self::Mixed(attempt!(MixerTables::new(sections))))
        }
    }
}

/// The way that suits the plan.
// The folded way carries its columns in itself: no allocation to point to.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug)]
pub enum AnyWay<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    /// For a carrier with a short period.
    Folded(Fold<ORDER, CHANNELS, COLUMNS, false>),
    /// For any carrier.
    Mixed(Mixer<ORDER, CHANNELS, COLUMNS>),
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> Way<ORDER>
    for AnyWay<ORDER, CHANNELS, COLUMNS>
{
    const SIZED: bool = false;

    type Tables = AnyTables<ORDER, CHANNELS, COLUMNS>;

    fn tables(sections: &Sections) -> Result<Self::Tables, ConfigError> {
        AnyTables::new(sections)
    }

    const IDLE: Self = Self::Folded(Fold::IDLE);

    fn load(&mut self, tables: &Self::Tables) {
        match tables {
            AnyTables::Folded(tables) => {
                let mut way = Fold::IDLE;
                way.load(tables);
                *self = Self::Folded(way);
            }
            AnyTables::Mixed(tables) => {
                let mut way = Mixer::IDLE;
                way.load(tables);
                *self = Self::Mixed(way);
            }
        }
    }

    fn is_folded(&self) -> bool {
        matches!(self, Self::Folded(_))
    }

    fn seek(&mut self, section_start: u64) {
        match self {
            Self::Folded(way) => way.seek(section_start),
            Self::Mixed(way) => way.seek(section_start),
        }
    }

    fn align(&mut self, section_start: u64) {
        match self {
            Self::Folded(way) => way.align(section_start),
            Self::Mixed(way) => way.align(section_start),
        }
    }

    #[inline]
    fn push(&mut self, frames: &[i32], into: u32, length: u32, ends: Ends) -> i32 {
        match self {
            Self::Folded(way) => way.push(frames, into, length, ends),
            Self::Mixed(way) => way.push(frames, into, length, ends),
        }
    }

    fn check(&self, sum: &mut Checksum) {
        match self {
            Self::Folded(way) => way.check(sum),
            Self::Mixed(way) => way.check(sum),
        }
    }

    #[inline]
    fn finish<R: Register>(
        &mut self,
        end: SectionEnd<'_, ORDER>,
        cics: &mut [[Cic<R, ORDER>; 2]],
        out: &mut [Phasor],
    ) -> bool {
        match self {
            Self::Folded(way) => way.finish(end, cics, out),
            Self::Mixed(way) => way.finish(end, cics, out),
        }
    }
}
