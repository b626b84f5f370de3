//! **Plan.** All settings of a readout, checked, with every table worked out: by the compiler where
//! they are constant, so that firmware holds the result and a plan that could overflow does not
//! build; else once, at start.
//!
//! ```
//! use quietgap_core::CarrierRatio;
//! use quietgap_core::config::*;
//! use quietgap_core::fold::Fold;
//! use quietgap_core::plan::Plan;
//! use quietgap_core::readout::Readout;
//! # use quietgap_core::word::{Coefficient, Fraction, Word};
//!
//! type Way = Fold<2, 1, 2>;
//! type Board = Readout<2, 1, 2, 40, 1, i64, Way>;
//! type BoardPlan = Plan<2, 1, 2, 40, 1, i64, Way>;
//! # const BRIDGE: BridgeConfig = BridgeConfig::plain(
//! #     BridgeKind::Difference { channel: 0, full: Word::lit("0.5") }, 2_000_000_000_000_000,
//! # );
//! const CONFIG: ReadoutConfig<'static> = ReadoutConfig {
//!     code_bits: 18,
//!     carrier: match CarrierRatio::coherent(1, 4) {
//!         Ok(carrier) => carrier,
//!         Err(error) => panic!("{}", error.message().as_str()),
//!     },
//!     firs: &[FirConfig { ratio: 40, taps: &[TAP; 40], scale_bits: 30 }],
//!     // ...
//! #     front_end: FrontEndConfig {
//! #         order: 2, ratio: 64, differential_delay: 1,
//! #         path: Path::Auto, pruned_bits: 0,
//! #     },
//! #     alignments: &[Alignment::NONE],
//! #     monitor: None,
//! #     bridges: &[BRIDGE],
//! #     cross_coupling: &[],
//! #     electrodes: &[],
//! #     axes: AxesConfig {
//! #         axes: 1, solve: &[Coefficient::ONE], geometry: &[Coefficient::ONE], residual_am: 1,
//! #     },
//! };
//! /// 40 of them make 1.
//! const TAP: i32 = (1 << 30) / 40;
//!
//! static PLAN: BoardPlan = match BoardPlan::new(&CONFIG) {
//!     Ok(plan) => plan,
//!     // Ends the build.
//!     Err(error) => panic!("{}", error.message().as_str()),
//! };
//!
//! let mut readout = Board::IDLE; // firmware: a `static`, which takes no flash
//! readout.load(&PLAN);
//! # assert_eq!(readout.interval(), 64 * 40);
//! ```
//!
//! Taps five times as large could make words overflow, and that does not build:
//!
//! ```compile_fail,E0080
//! # use quietgap_core::CarrierRatio;
//! # use quietgap_core::config::*;
//! # use quietgap_core::fold::Fold;
//! # use quietgap_core::plan::Plan;
//! # use quietgap_core::readout::Readout;
//! # use quietgap_core::word::{Coefficient, Fraction, Word};
//! # type Way = Fold<2, 1, 2>;
//! # type Board = Readout<2, 1, 2, 40, 1, i64, Way>;
//! # type BoardPlan = Plan<2, 1, 2, 40, 1, i64, Way>;
//! # const BRIDGE: BridgeConfig = BridgeConfig::plain(
//! #     BridgeKind::Difference { channel: 0, full: Word::lit("0.5") }, 2_000_000_000_000_000,
//! # );
//! # const CONFIG: ReadoutConfig<'static> = ReadoutConfig {
//! #     code_bits: 18,
//! #     carrier: match CarrierRatio::coherent(1, 4) {
//! #         Ok(carrier) => carrier,
//! #         Err(error) => panic!("{}", error.message().as_str()),
//! #     },
//! #     firs: &[FirConfig { ratio: 40, taps: &[TAP; 40], scale_bits: 30 }],
//! #     front_end: FrontEndConfig {
//! #         order: 2, ratio: 64, differential_delay: 1,
//! #         path: Path::Auto, pruned_bits: 0,
//! #     },
//! #     alignments: &[Alignment::NONE],
//! #     monitor: None,
//! #     bridges: &[BRIDGE],
//! #     cross_coupling: &[],
//! #     electrodes: &[],
//! #     axes: AxesConfig {
//! #         axes: 1, solve: &[Coefficient::ONE], geometry: &[Coefficient::ONE], residual_am: 1,
//! #     },
//! # };
//! const TAP: i32 = 5 * ((1 << 30) / 40);
//! # static PLAN: BoardPlan = match BoardPlan::new(&CONFIG) {
//! #     Ok(plan) => plan,
//! #     Err(error) => panic!("{}", error.message().as_str()),
//! # };
//! # let mut readout = Board::IDLE; // firmware: a `static`, which takes no flash
//! # readout.load(&PLAN);
//! # assert_eq!(readout.interval(), 64 * 40);
//! ```

use crate::config::ReadoutConfig;
use crate::error::{ConfigError, Stage, attempt};
use crate::fir::{self, FirPlan};
use crate::fold::{Fold, FoldTables};
use crate::front_end::FrontEndPlan;
use crate::front_end::way::{AnyTables, AnyWay};
use crate::mixer::{Mixer, MixerTables};
use crate::readout::settings::Settings;
use crate::section::{Sections, Way};
use crate::word::{Register, Word};
use core::marker::PhantomData;

/// Longest time from one reading to the next, intervals of the front end: counted in a `u32`.
const MAX_INTERVALS: u64 = u32::MAX as u64;
/// Longest impulse response, samples.
const MAX_SPAN: u64 = 1 << 40;

/// A plan that nothing can be wrong with any more; parameters as those of [`crate::Readout`].
#[derive(Clone, Copy, Debug)]
pub struct Plan<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R,
    W: Way<ORDER>,
> {
    pub(crate) front_end: FrontEndPlan<ORDER, CHANNELS, W::Tables>,
    pub(crate) firs: FirPlan<TAPS, OPEN>,
    pub(crate) settings: Settings<CHANNELS>,
    register: PhantomData<R>,
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R: Register,
    W: Way<ORDER>,
> Plan<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>
{
    /// Checks all settings and works out the tables, for any way; not by the compiler, as
    /// [`Plan::new`] of a way that is named.
    ///
    /// # Errors
    /// [`ConfigError`]: the stage, the quantity, its value and what is allowed. A plan that
    /// could overflow any word is refused here.
    pub fn checked(config: &ReadoutConfig<'_>) -> Result<Self, ConfigError> {
        let front_end = Self::front_end(config)?;
        let tables = W::tables(front_end.tables())?;
        Self::behind(front_end.with(tables), config)
    }

    /// The first stage's checks.
    const fn front_end(
        config: &ReadoutConfig<'_>,
    ) -> Result<FrontEndPlan<ORDER, CHANNELS, Sections>, ConfigError> {
        let channels = config.alignments.len();
        FrontEndPlan::new::<R>(config.carrier, config.front_end, channels, config.code_bits as u32)
    }

    /// The others'.
    const fn behind(
        front_end: FrontEndPlan<ORDER, CHANNELS, W::Tables>,
        config: &ReadoutConfig<'_>,
    ) -> Result<Self, ConfigError> {
        // A full-scale square wave at the carrier reads 4/pi; with few phases at most 2.
        let worst = Word::from_bits(2 << 52);
        let firs = attempt!(FirPlan::new(config.firs, config.alignments.len(), worst));
        let ratio = config.front_end.ratio as u64;
        // From one output to the next, intervals of the front end.
        let (mut intervals, mut span) = (1, front_end.span());
        let mut delay = span - 1;
        let (mut rest, mut number) = (config.firs, 0);
        while let [fir, later @ ..] = rest {
            rest = later;
            number += 1;
            span += (fir.taps.len() as u64).saturating_sub(1) * (ratio * intervals);
            delay += fir::delay(fir.taps, ratio * intervals);
            intervals *= fir.ratio as u64;
            let stage = Stage::Fir(number);
            let quantity = "intervals of the front end in its own";
            attempt!(check_samples(stage, quantity, intervals, MAX_INTERVALS));
            attempt!(check_samples(stage, "samples in its span", span, MAX_SPAN));
        }
        let settings = attempt!(Settings::new(config, intervals, span, delay));
        Ok(Self { front_end, firs, settings, register: PhantomData })
    }
}

const fn check_samples(
    stage: Stage,
    quantity: &'static str,
    given: u64,
    max: u64,
) -> Result<(), ConfigError> {
    ConfigError::check(stage, quantity, ConfigError::told(given), 1, max as i64)
}

/// [`Plan::new`] for one way: the compiler evaluates no function of a trait.
macro_rules! plan_new {
    ($way:ty, $tables:ident $(, const $parameter:ident: $kind:ty)*) => {
        impl<
            const ORDER: usize,
            const CHANNELS: usize,
            const COLUMNS: usize,
            const TAPS: usize,
            const OPEN: usize,
            R: Register,
            $(const $parameter: $kind,)*
        > Plan<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, $way>
        {
            /// Checks all settings and works out the tables.
            ///
            /// # Errors
            /// See [`Plan::checked`].
            pub const fn new(config: &ReadoutConfig<'_>) -> Result<Self, ConfigError> {
                let front_end = attempt!(Self::front_end(config));
                let tables = attempt!($tables::new(front_end.tables()));
                Self::behind(front_end.with(tables), config)
            }
        }
    };
}

plan_new!(
    Fold<ORDER, CHANNELS, COLUMNS, EXACT, PHASES>,
    FoldTables,
    const EXACT: bool,
    const PHASES: usize
);
plan_new!(Mixer<ORDER, CHANNELS, COLUMNS>, MixerTables);
plan_new!(AnyWay<ORDER, CHANNELS, COLUMNS>, AnyTables);
