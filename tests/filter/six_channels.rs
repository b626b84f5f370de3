//! Decimation plan: 1000000 S/s, carrier 100000 Hz, 24-bit codes, 6 channels, to 1000 S/s.
//!
//! Made by `quietgap filter export`; change the plan, not this file.
//! Checksum (FNV-1a of all below these lines): 0x3d718c298de8d737.
//! Delay 0.006614 s.
//! Promises: 0 to 300 Hz within 0.01 dB; what folds onto 0 to 300 Hz down by 90 dB.
//! Promises: delay at most 0.008 s.

use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::{FirConfig, FrontEndConfig, Path};
use quietgap_core::fold::Fold;

/// Bits of a code.
pub const CODE_BITS: u8 = 24;
/// Order of the CIC.
pub const ORDER: usize = 2;
/// Channels.
pub const CHANNELS: usize = 6;
/// Columns of the front end, all channels.
pub const COLUMNS: usize = 30;
/// Columns of a channel.
pub const PHASES: usize = 5;
/// Room for taps.
pub const TAPS: usize = 130;
/// Room for open sums.
pub const OPEN: usize = 114;
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
    ratio: 10,
    differential_delay: 1,
    path: Path::Auto,
    pruned_bits: 0,
};
/// FIR stages.
#[rustfmt::skip]
pub const FIRS: [FirConfig<'static>; 3] = [
    FirConfig { ratio: 25, taps: &FIR_1_TAPS, scale_bits: 30 },
    FirConfig { ratio: 2, taps: &FIR_2_TAPS, scale_bits: 30 },
    FirConfig { ratio: 2, taps: &FIR_3_TAPS, scale_bits: 30 },
];
/// Taps of FIR stage 1, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_1_TAPS: [i32; 97] = [
    2800, 11199, 27995, 55981, 97948, 156681, 234959, 335554,
    461231, 614745, 798842, 1016256, 1269710, 1561915, 1895566, 2273345,
    2697917, 3171933, 3698022, 4278799, 4916856, 5614767, 6375083, 7200334,
    8093025, 9045053, 10048290, 11094592, 12175800, 13283739, 14410229, 15547080,
    16686098, 17819091, 18937865, 20034234, 21100017, 22127046, 23107165, 24032234,
    24894133, 25684763, 26396053, 27019956, 27548457, 27973576, 28287366, 28481923,
    28549378, 28481923, 28287366, 27973576, 27548457, 27019956, 26396053, 25684763,
    24894133, 24032234, 23107165, 22127046, 21100017, 20034234, 18937865, 17819091,
    16686098, 15547080, 14410229, 13283739, 12175800, 11094592, 10048290, 9045053,
    8093025, 7200334, 6375083, 5614767, 4916856, 4278799, 3698022, 3171933,
    2697917, 2273345, 1895566, 1561915, 1269710, 1016256, 798842, 614745,
    461231, 335554, 234959, 156681, 97948, 55981, 27995, 11199,
    2800,
];
/// Taps of FIR stage 2, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_2_TAPS: [i32; 6] = [
    35983202, 170065475, 330822235, 330822235, 170065475, 35983202,
];
/// Taps of FIR stage 3, of weight 2^-30.
#[rustfmt::skip]
pub const FIR_3_TAPS: [i32; 23] = [
    -908517, 828002, 6061483, -2288672, -21393431, 3273430, 57405636, 2119988,
    -137392331, -44065157, 364608487, 617243988, 364608487, -44065157, -137392331, 2119988,
    57405636, 3273430, -21393431, -2288672, 6061483, 828002, -908517,
];
