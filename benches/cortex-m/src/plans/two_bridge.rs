//! vault-two-bridge: 800000 S/s, carrier 80000 Hz, 24-bit codes, 2 channels, to 10 S/s.
//!
//! Made by `quietgap filter export`; change the sensor file, not this file.
//! Checksum (FNV-1a of all below these lines): 0xc9caca7961d11f37.
//! Delay 1.56409875 s.
//! Promises: 0 to 3 Hz within 0.001 dB; what folds onto 0 to 4 Hz down by 120 dB.

use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::fold::Fold;
use quietgap_core::plan::Plan;
use quietgap_core::readout::Readout;
use quietgap_core::word::{Coefficient, Fraction, Word};

/// Bits of a code.
pub const CODE_BITS: u8 = 24;
/// Order of the CIC.
pub const ORDER: usize = 2;
/// Channels.
pub const CHANNELS: usize = 2;
/// Columns of the front end, all channels.
pub const COLUMNS: usize = 10;
/// Columns of a channel.
pub const PHASES: usize = 5;
/// Room for taps.
pub const TAPS: usize = 265;
/// Room for open sums.
pub const OPEN: usize = 84;
/// Register of the CIC.
pub type Register = i64;
/// Way of the front end.
pub type Way = Fold<ORDER, CHANNELS, COLUMNS, true, PHASES>;
/// Carrier over sample rate.
pub const CARRIER: CarrierRatio = match CarrierRatio::coherent(1, 10) {
    Ok(carrier) => carrier,
    Err(error) => panic!("{}", error.message().as_str()),
};
/// First decimation.
pub const FRONT_END: FrontEndConfig = FrontEndConfig {
    order: 2,
    ratio: 160,
    differential_delay: 1,
    path: Path::Auto,
    pruned_bits: 0,
};
/// FIR stages.
#[rustfmt::skip]
pub const FIRS: [FirConfig<'static>; 3] = [
    FirConfig { ratio: 10, taps: &FIR_1_TAPS, scale_bits: 30 },
    FirConfig { ratio: 10, taps: &FIR_2_TAPS, scale_bits: 30 },
    FirConfig { ratio: 5, taps: &FIR_3_TAPS, scale_bits: 30 },
];
/// Taps of FIR stage 1, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_1_TAPS: [i32; 50] = [
    1527039, 1262358, 852840, 227144, -544900, -1438079, -2398101, -3343942,
    -4236811, -4899074, -12972024, -11766628, -9283377, -5130935, 520173, 7675237,
    16225681, 25953729, 36812671, 48198584, 75519659, 85302588, 93194936, 98450391,
    101161753, 101161753, 98450391, 93194936, 85302588, 75519659, 48198584, 36812671,
    25953729, 16225681, 7675237, 520173, -5130935, -9283377, -11766628, -12972024,
    -4899074, -4236811, -3343942, -2398101, -1438079, -544900, 227144, 852840,
    1262358, 1527039,
];
/// Taps of FIR stage 2, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_2_TAPS: [i32; 60] = [
    333760, 555481, 833918, 1069773, 1227106, 1277053, 1195339, 964104,
    570067, -47174, -2229644, -4273451, -6575741, -8594193, -10068384, -10760661,
    -10445434, -8918180, -5986527, -1223737, 7511469, 18140549, 30503077, 43504976,
    56567173, 69131970, 80643779, 90567024, 98368019, 103029401, 103029401, 98368019,
    90567024, 80643779, 69131970, 56567173, 43504976, 30503077, 18140549, 7511469,
    -1223737, -5986527, -8918180, -10445434, -10760661, -10068384, -8594193, -6575741,
    -4273451, -2229644, -47174, 570067, 964104, 1195339, 1277053, 1227106,
    1069773, 833918, 555481, 333760,
];
/// Taps of FIR stage 3, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_3_TAPS: [i32; 151] = [
    -29, -358, -599, -707, -319, 798, 2549, 4303,
    4900, 3012, -2141, -9945, -17852, -21627, -16689, -385,
    25558, 53614, 71306, 64971, 25854, -43445, -125167, -188155,
    -196594, -124375, 29413, 230501, 411472, 489107, 394610, 107770,
    -318451, -756503, -1033747, -989691, -545158, 241945, 1160990, 1890479,
    2095733, 1557557, 288233, -1414505, -3012034, -3873989, -3498292, -1732929,
    1085658, 4149092, 6375837, 6755882, 4742289, 552929, -4747866, -9461958,
    -11744728, -10243775, -4688327, 3790115, 12769459, 19122338, 19960536, 13683795,
    803782, -15761129, -31096447, -39382823, -35427339, -16231436, 17860613, 62805950,
    111470680, 155103933, 185327811, 196130104, 185327811, 155103933, 111470680, 62805950,
    17860613, -16231436, -35427339, -39382823, -31096447, -15761129, 803782, 13683795,
    19960536, 19122338, 12769459, 3790115, -4688327, -10243775, -11744728, -9461958,
    -4747866, 552929, 4742289, 6755882, 6375837, 4149092, 1085658, -1732929,
    -3498292, -3873989, -3012034, -1414505, 288233, 1557557, 2095733, 1890479,
    1160990, 241945, -545158, -989691, -1033747, -756503, -318451, 107770,
    394610, 489107, 411472, 230501, 29413, -124375, -196594, -188155,
    -125167, -43445, 25854, 64971, 71306, 53614, 25558, -385,
    -16689, -21627, -17852, -9945, -2141, 3012, 4900, 4303,
    2549, 798, -319, -707, -599, -358, -29,
];
/// Phase alignment of each channel.
#[rustfmt::skip]
pub const ALIGNMENTS: [Alignment; 2] = [
    Alignment { cosine: Fraction::from_bits(4520312296895619584), sine: Fraction::from_bits(-913468483907847808) },
    Alignment { cosine: Fraction::from_bits(4520312296895619584), sine: Fraction::from_bits(-913468483907847808) },
];
/// Injection monitor.
#[rustfmt::skip]
pub const MONITOR: Option<MonitorConfig> = None;
/// Bridges.
#[rustfmt::skip]
pub const BRIDGES: [BridgeConfig; 2] = [
    BridgeConfig {
        kind: BridgeKind::Difference { channel: 0, full: Word::from_bits(4075723802923042) },
        strays: [Fraction::from_bits(0), Fraction::from_bits(0)],
        weights: [Fraction::from_bits(2305843009213693952), Fraction::from_bits(2305843009213693952)],
        gaps: [Fraction::from_bits(4611686018427387904), Fraction::from_bits(4611686018427387904)],
        gap_am: 2000000000000000,
        offset_am: 0,
        range: Fraction::from_bits(2305843009213693952),
        quadrature: Fraction::from_bits(92233720368547760),
        phase: Fraction::from_bits(460400371722013440),
        floor: Fraction::from_bits(461168601842739),
    },
    BridgeConfig {
        kind: BridgeKind::Difference { channel: 1, full: Word::from_bits(4075723802923042) },
        strays: [Fraction::from_bits(0), Fraction::from_bits(0)],
        weights: [Fraction::from_bits(2305843009213693952), Fraction::from_bits(2305843009213693952)],
        gaps: [Fraction::from_bits(4611686018427387904), Fraction::from_bits(4611686018427387904)],
        gap_am: 2000000000000000,
        offset_am: 0,
        range: Fraction::from_bits(2305843009213693952),
        quadrature: Fraction::from_bits(92233720368547760),
        phase: Fraction::from_bits(460400371722013440),
        floor: Fraction::from_bits(461168601842739),
    },
];
/// Electrodes: those of the bridges, then all others that move.
#[rustfmt::skip]
pub const ELECTRODES: [ElectrodeConfig; 4] = [
    ElectrodeConfig {
        gap_am: 2000000000000000,
        position_am: [10000000000000000, 22000000000000000, 0],
        normal: [Fraction::from_bits(4611686018427387904), Fraction::from_bits(0), Fraction::from_bits(0)],
        half_sides: [
            [HalfSide::from_bits(0), HalfSide::from_bits(83886080), HalfSide::from_bits(0)],
            [HalfSide::from_bits(0), HalfSide::from_bits(0), HalfSide::from_bits(100663296)],
        ],
        total_share: Fraction::from_bits(615293898685836800),
        drive_share: Fraction::from_bits(0),
    },
    ElectrodeConfig {
        gap_am: 2000000000000000,
        position_am: [-10000000000000000, 22000000000000000, 0],
        normal: [Fraction::from_bits(-4611686018427387904), Fraction::from_bits(0), Fraction::from_bits(0)],
        half_sides: [
            [HalfSide::from_bits(0), HalfSide::from_bits(83886080), HalfSide::from_bits(0)],
            [HalfSide::from_bits(0), HalfSide::from_bits(0), HalfSide::from_bits(-100663296)],
        ],
        total_share: Fraction::from_bits(615293898685836800),
        drive_share: Fraction::from_bits(0),
    },
    ElectrodeConfig {
        gap_am: 2000000000000000,
        position_am: [10000000000000000, -22000000000000000, 0],
        normal: [Fraction::from_bits(4611686018427387904), Fraction::from_bits(0), Fraction::from_bits(0)],
        half_sides: [
            [HalfSide::from_bits(0), HalfSide::from_bits(83886080), HalfSide::from_bits(0)],
            [HalfSide::from_bits(0), HalfSide::from_bits(0), HalfSide::from_bits(100663296)],
        ],
        total_share: Fraction::from_bits(615293898685836800),
        drive_share: Fraction::from_bits(0),
    },
    ElectrodeConfig {
        gap_am: 2000000000000000,
        position_am: [-10000000000000000, -22000000000000000, 0],
        normal: [Fraction::from_bits(-4611686018427387904), Fraction::from_bits(0), Fraction::from_bits(0)],
        half_sides: [
            [HalfSide::from_bits(0), HalfSide::from_bits(83886080), HalfSide::from_bits(0)],
            [HalfSide::from_bits(0), HalfSide::from_bits(0), HalfSide::from_bits(-100663296)],
        ],
        total_share: Fraction::from_bits(615293898685836800),
        drive_share: Fraction::from_bits(0),
    },
];
/// Bridges to axes, row by row.
#[rustfmt::skip]
pub const SOLVE: [Coefficient; 4] = [
    Coefficient::from_bits(140737488355328),
    Coefficient::from_bits(140737488355328),
    Coefficient::from_bits(-6397158561605818),
    Coefficient::from_bits(6397158561605817),
];
/// Axes to bridges, row by row.
#[rustfmt::skip]
pub const GEOMETRY: [Coefficient; 4] = [
    Coefficient::from_bits(281474976710656),
    Coefficient::from_bits(-6192449487634),
    Coefficient::from_bits(281474976710656),
    Coefficient::from_bits(6192449487634),
];
/// All settings of the readout.
#[rustfmt::skip]
pub const CONFIG: ReadoutConfig<'static> = ReadoutConfig {
    code_bits: CODE_BITS,
    carrier: CARRIER,
    front_end: FRONT_END,
    firs: &FIRS,
    alignments: &ALIGNMENTS,
    monitor: MONITOR,
    bridges: &BRIDGES,
    electrodes: &ELECTRODES,
    axes: AxesConfig {
        axes: 33,
        solve: &SOLVE,
        geometry: &GEOMETRY,
        residual_am: 1000000000,
    },
};
/// The readout: a `static` is made of `Board::IDLE`, and started by `load(&PLAN)`.
pub type Board = Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, Register, Way>;
/// Its plan.
pub type BoardPlan = Plan<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, Register, Way>;
/// Checked and worked out by the compiler: settings that are refused end the build.
pub static PLAN: BoardPlan = match BoardPlan::new(&CONFIG) {
    Ok(plan) => plan,
    Err(error) => panic!("{}", error.message().as_str()),
};
