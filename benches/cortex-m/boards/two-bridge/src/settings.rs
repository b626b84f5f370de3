//! vault-two-bridge: 800000 S/s, carrier 80000 Hz, 24-bit codes, 2 channels, to 10 S/s.
//!
//! Made by `quietgap filter export`; change the sensor file, not this file.
//! Checksum (FNV-1a of all below these lines): 0x19aa06e72e5a7824.
//! Delay 1.38759875 s.
//! Promises: 0 to 3 Hz within 0.000001 dB; what folds onto 0 to 4 Hz down by 120 dB.

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
pub const TAPS: usize = 208;
/// Room for open sums.
pub const OPEN: usize = 70;
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
#[rustfmt::skip]
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
    FirConfig { ratio: 25, taps: &FIR_1_TAPS, scale_bits: 30 },
    FirConfig { ratio: 5, taps: &FIR_2_TAPS, scale_bits: 30 },
    FirConfig { ratio: 4, taps: &FIR_3_TAPS, scale_bits: 30 },
];
/// Taps of FIR stage 1, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_1_TAPS: [i32; 75] = [
    1094971, 1163765, 1301349, 1507718, 1782864, 2126774, 2539437, 3020837,
    3570958, 4189785, 4877299, 5633484, 6458323, 7351799, 8313896, 9344600,
    10443893, 11611761, 12848188, 14153156, 15526649, 16968647, 18479128, 20058068,
    21705440, 20149258, 21727837, 23169193, 24473305, 25640158, 26669742, 27562049,
    28317076, 28934824, 29415291, 29758481, 29964394, 30033030, 29964394, 29758481,
    29415291, 28934824, 28317076, 27562049, 26669742, 25640158, 24473305, 23169193,
    21727837, 20149258, 21705440, 20058068, 18479128, 16968647, 15526649, 14153156,
    12848188, 11611761, 10443893, 9344600, 8313896, 7351799, 6458323, 5633484,
    4877299, 4189785, 3570958, 3020837, 2539437, 2126774, 1782864, 1507718,
    1301349, 1163765, 1094971,
];
/// Taps of FIR stage 2, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_2_TAPS: [i32; 23] = [
    260155, 1135493, 3325348, 7857234, 16068663, 28408487, 45151045, 65227534,
    86253981, 104568514, 117526830, 122175256, 117526830, 104568514, 86253981, 65227534,
    45151045, 28408487, 16068663, 7857234, 3325348, 1135493, 260155,
];
/// Taps of FIR stage 3, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_3_TAPS: [i32; 107] = [
    5444, -2801, -242, -8713, -20867, 1305, 6408, 38969,
    73387, 20901, -13632, -118467, -213953, -120852, -9154, 269868,
    528771, 418412, 165100, -473256, -1116260, -1114447, -679727, 591542,
    2024889, 2468321, 1941180, -278167, -3140587, -4720093, -4498410, -1112255,
    4042334, 7959069, 9019419, 4604658, -3834879, -11976738, -16285258, -11791189,
    865108, 16136795, 27511403, 25706173, 8341955, -19106270, -46250069, -55809931,
    -35938639, 15879119, 92491501, 172597240, 233422910, 256747174, 233422910, 172597240,
    92491501, 15879119, -35938639, -55809931, -46250069, -19106270, 8341955, 25706173,
    27511403, 16136795, 865108, -11791189, -16285258, -11976738, -3834879, 4604658,
    9019419, 7959069, 4042334, -1112255, -4498410, -4720093, -3140587, -278167,
    1941180, 2468321, 2024889, 591542, -679727, -1114447, -1116260, -473256,
    165100, 418412, 528771, 269868, -9154, -120852, -213953, -118467,
    -13632, 20901, 73387, 38969, 6408, 1305, -20867, -8713,
    -242, -2801, 5444,
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
/// What bridges pick up of each other, row by row.
#[rustfmt::skip]
pub const CROSS_COUPLING: [Fraction; 0] = [
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
    cross_coupling: &CROSS_COUPLING,
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
