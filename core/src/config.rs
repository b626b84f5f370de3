//! Settings of a readout: plain values, checked once by [`crate::Readout::new`].
//!
//! The host works them out from a sensor file; firmware may keep them as constants.

use crate::carrier::CarrierRatio;
use crate::word::{Coefficient, Fraction, Word};

/// Most bridges a readout takes.
pub const MAX_BRIDGES: usize = 12;
/// Most axes a readout solves for.
pub const MAX_AXES: usize = 6;
/// Largest trusted gap fraction, 0.9: beyond it the inversion runs out of bits.
pub const MAX_RANGE: Fraction = Fraction::from_bits(9 * (Fraction::ONE.to_bits() / 10));
/// Most FIR decimators in a plan.
pub const MAX_FIRS: usize = 6;

/// How the first decimation is done. Both ways give the same words within the
/// rounding of the carrier.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Path {
    /// Coherent where the carrier's period divides the ratio, has at most
    /// [`crate::fold::MAX_COLUMNS`] columns and codes are narrow enough, else general. The plan
    /// alone decides, so that every readout gives the same bits.
    #[default]
    Auto,
    /// Fold by carrier phase ([`crate::fold`]); an error where the carrier does not allow it.
    Coherent,
    /// Mix every sample ([`crate::mixer`]): any carrier.
    General,
}

/// Which codes are compared with the ends of the converter's range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Watch {
    /// Every code.
    #[default]
    EverySample,
    /// Every [`crate::over_range::SPARSE_STEP`]th code of each channel. An overload as long as that
    /// cannot pass unseen, a shorter one can; some four instructions cheaper for each code not
    /// watched.
    Sparse,
}

/// First decimation: a CIC of `order` stages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FrontEndConfig {
    /// Number of integrators and of combs, 1 to 6; equal to the readout's `ORDER`.
    pub order: u8,
    /// Decimation ratio, 2 to 4096.
    pub ratio: u16,
    /// Differential delay of the combs, 1 or 2 output samples.
    pub differential_delay: u8,
    /// Folded or mixed sample by sample.
    pub path: Path,
    /// Codes watched for over-range.
    pub watch: Watch,
    /// Bits at the bottom of every section sum that are rounded off before the CIC's register, 0 to
    /// 32: Hogenauer's pruning at the first stage, so that a longer CIC fits the register, or its
    /// cosines keep more bits.
    pub pruned_bits: u8,
}

/// One FIR decimator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FirConfig<'a> {
    /// Decimation ratio, 1 or more.
    pub ratio: u16,
    /// All taps, symmetric, as integers of weight 2^-`scale_bits`.
    pub taps: &'a [i32],
    /// Fraction bits of the taps, 0 to 30.
    pub scale_bits: u8,
}

/// Turn of a channel's phasor that puts its signal in phase: cosine and sine of the
/// alignment angle, Q2.62.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Alignment {
    /// Cosine of the angle.
    pub cosine: Fraction,
    /// Sine of the angle.
    pub sine: Fraction,
}

impl Alignment {
    /// No turn.
    pub const NONE: Self = Self { cosine: Fraction::ONE, sine: Fraction::ZERO };
}

/// How a pair of electrodes is wired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BridgeKind {
    /// One channel reads C1 - C2.
    Difference {
        /// Channel number from 0.
        channel: u8,
        /// In-phase word a0 = 2 g C0 V_m of the whole bridge.
        full: Word,
        /// In-phase part of the bridge ratio at rest: stray imbalance over 2 C0.
        imbalance: Fraction,
        /// Share 2 C0 / C_total of the bridge in the mass's capacitance: non-zero to
        /// correct the polarisation for the mass's own position.
        share: Fraction,
    },
    /// Two channels read C1 and C2.
    Separate {
        /// Channels of electrodes 1 and 2.
        channels: [u8; 2],
        /// Words of the strays in parallel to electrodes 1 and 2.
        strays: [Word; 2],
        /// Smallest a1 + a2 - strays at which the bridge is trusted.
        least_sum: Word,
    },
}

/// One pair of electrodes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BridgeConfig {
    /// Wiring and its constants.
    pub kind: BridgeKind,
    /// Nominal gap, attometres.
    pub gap_am: i64,
    /// Displacement read at the mechanical centre, attometres, taken off.
    pub offset_am: i64,
    /// Largest |u| at which the bridge is trusted, at most [`MAX_RANGE`].
    pub range: Fraction,
    /// Largest quadrature, in the same unit as the ratio r.
    pub quadrature: Fraction,
}

/// The channel that reads the injection amplitude.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MonitorConfig {
    /// Channel number from 0.
    pub channel: u8,
    /// Magnitude at calibration.
    pub calibration: Word,
    /// Below this the carrier counts as weak.
    pub weak: Word,
    /// Below this the carrier counts as lost.
    pub lost: Word,
}

/// Axes from bridges: q = solve x, and bridges from axes: x = geometry q.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AxesConfig<'a> {
    /// Number of axes, 1 to 6; zero means bridge displacements only.
    pub axes: u8,
    /// axes x bridges, row by row: least-squares inverse of the geometry.
    pub solve: &'a [Coefficient],
    /// bridges x axes, row by row.
    pub geometry: &'a [Coefficient],
    /// Largest disagreement of a bridge with the solved axes, attometres.
    pub residual_am: i64,
}

/// All settings of a readout.
#[derive(Clone, Copy, Debug)]
pub struct ReadoutConfig<'a> {
    /// Bits of a converter code, sign included, 8 to 32.
    pub code_bits: u8,
    /// Carrier over sample rate.
    pub carrier: CarrierRatio,
    /// First decimation.
    pub front_end: FrontEndConfig,
    /// FIR decimators in order.
    pub firs: &'a [FirConfig<'a>],
    /// One alignment per channel; its length is the number of channels.
    pub alignments: &'a [Alignment],
    /// Injection monitor, if there is one.
    pub monitor: Option<MonitorConfig>,
    /// Bridges in order.
    pub bridges: &'a [BridgeConfig],
    /// Axes matrix.
    pub axes: AxesConfig<'a>,
}
