//! Settings of a readout: plain values, checked once by [`crate::Readout::new`].
//!
//! The host works them out from a sensor file; firmware may keep them as constants.

use crate::carrier::CarrierRatio;
use crate::guard::Checksum;
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
    /// [`crate::section::MAX_COLUMNS`] columns and codes are narrow enough, else general. The plan
    /// alone decides, so that every readout gives the same bits.
    #[default]
    Auto,
    /// Fold by carrier phase ([`crate::fold`]); an error where the carrier does not allow it.
    Coherent,
    /// Mix every sample ([`crate::mixer`]): any carrier.
    General,
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
    /// All taps as integers of weight 2^-`scale_bits`. Where they are their own mirror the delay is the
    /// same at all frequencies, and readings' times are exact.
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
        /// In-phase word a0 = g (C01 + C02) V_m of the whole bridge.
        full: Word,
    },
    /// Two channels read C1 and C2.
    Separate {
        /// Channels of electrodes 1 and 2.
        channels: [u8; 2],
        /// Smallest a1 + a2 at which the bridge is trusted.
        least_sum: Word,
    },
}

/// One pair of electrodes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BridgeConfig {
    /// Wiring and its constants.
    pub kind: BridgeKind,
    /// Stray capacitances in parallel to electrodes 1 and 2, over C01 + C02.
    pub strays: [Fraction; 2],
    /// C01 and C02 over their sum: a half each where they are equal.
    pub weights: [Fraction; 2],
    /// Gaps of electrodes 1 and 2 over the reference gap.
    pub gaps: [Fraction; 2],
    /// Reference gap, attometres.
    pub gap_am: i64,
    /// Displacement read at the mechanical centre, attometres, taken off.
    pub offset_am: i64,
    /// Largest |u| at which the bridge is trusted, at most [`MAX_RANGE`].
    pub range: Fraction,
    /// Largest quadrature, in the same unit as the ratio r.
    pub quadrature: Fraction,
    /// Largest quadrature against the signal: the sine of a phase that is off, to which
    /// `floor` is added.
    pub phase: Fraction,
    /// See `phase`; in the unit of the ratio r.
    pub floor: Fraction,
}

impl BridgeConfig {
    /// Equal electrodes without strays or offset, trusted to half the gap, whose quadrature is judged by
    /// a tenth of full scale alone; the base for others.
    #[must_use]
    pub const fn plain(kind: BridgeKind, gap_am: i64) -> Self {
        let half = Fraction::from_bits(1 << 61);
        Self {
            kind,
            strays: [Fraction::ZERO; 2],
            weights: [half; 2],
            gaps: [Fraction::ONE; 2],
            gap_am,
            offset_am: 0,
            range: half,
            quadrature: Fraction::lit("0.1"),
            phase: Fraction::ONE,
            floor: Fraction::ONE,
        }
    }
}

/// Slope of a side of an electrode: I8F24, up to 127 gaps.
pub type HalfSide = fixed::types::I8F24;

/// One electrode of the housing, as a rectangle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ElectrodeConfig {
    /// Gap at rest, attometres.
    pub gap_am: i64,
    /// Centre from the mass's centre at rest, attometres.
    pub position_am: [i64; 3],
    /// Direction from the mass to the electrode.
    pub normal: [Fraction; 3],
    /// Half of each side as vectors, over the gap at rest.
    pub half_sides: [[HalfSide; 3]; 2],
    /// C0 over all capacitance of the mass at rest; zero where the polarisation is not corrected.
    pub total_share: Fraction,
    /// C0 over that of all injection electrodes at rest, for one of them; else zero.
    pub drive_share: Fraction,
}

impl ElectrodeConfig {
    /// Fills room for electrodes.
    pub(crate) const NONE: Self = Self {
        gap_am: 0,
        position_am: [0; 3],
        normal: [Fraction::ZERO; 3],
        half_sides: [[HalfSide::ZERO; 3]; 2],
        total_share: Fraction::ZERO,
        drive_share: Fraction::ZERO,
    };

    /// Sums up what never changes.
    #[inline(never)]
    pub(crate) fn check(&self, sum: &mut Checksum) {
        let Self { gap_am, position_am, normal, half_sides, total_share, drive_share } = self;
        sum.add_long(*gap_am);
        sum.add_all_long(position_am);
        normal.iter().for_each(|part| sum.add_long(part.to_bits()));
        half_sides.iter().flatten().for_each(|part| sum.add(part.to_bits() as u32));
        sum.add_long(total_share.to_bits());
        sum.add_long(drive_share.to_bits());
    }
}

/// The channel that reads the injection amplitude.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MonitorConfig {
    /// Channel number from 0; its alignment is its phase at calibration.
    pub channel: u8,
    /// Magnitude at calibration.
    pub calibration: Word,
    /// Below this the carrier counts as weak.
    pub weak: Word,
    /// Below this the carrier counts as lost.
    pub lost: Word,
    /// Largest sine of its phase against that at calibration. 1: that is not known, and its phase is
    /// neither judged nor used.
    pub phase: Fraction,
}

/// Axes from bridges: q = solve x, and bridges from axes: x = geometry q.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AxesConfig<'a> {
    /// Which axes, in order: bit 0 to 5 for x, y, z, theta, eta, phi. None means bridge
    /// displacements only.
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
    /// bridges x bridges, row by row: S = 1 - (1 + C)^-1 of the shares C that each bridge's ratio has of the
    /// others' ([`crate::coupling`]). None: no coupling.
    pub cross_coupling: &'a [Fraction],
    /// Electrodes of the housing: 1 and 2 of every bridge in order, then all others that the axes
    /// move. None: gaps do not see the other axes, and the polarisation is constant.
    pub electrodes: &'a [ElectrodeConfig],
    /// Axes matrix.
    pub axes: AxesConfig<'a>,
}
