//! Settings of the example firmware, by hand: two bridges, 800 kS/s to 1 kS/s. For a sensor,
//! `quietgap filter export SENSOR --rust FILE` writes the like.

use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::fold::Fold;
use quietgap_core::plan::Plan;
use quietgap_core::readout::Readout;
use quietgap_core::word::{Coefficient, Fraction, Word};

/// Channels.
pub const CHANNELS: usize = 2;

const fn bridge(channel: u8) -> BridgeConfig {
    let full = Word::from_bits(1 << 51);
    let quadrature = Fraction::from_bits(1 << 60);
    let plain =
        BridgeConfig::plain(BridgeKind::Difference { channel, full }, 2_000_000_000_000_000);
    BridgeConfig { quadrature, ..plain }
}

/// All settings of the readout.
pub const CONFIG: ReadoutConfig<'static> = ReadoutConfig {
    code_bits: 24,
    carrier: match CarrierRatio::coherent(1, 10) {
        Ok(carrier) => carrier,
        Err(error) => panic!("{}", error.message().as_str()),
    },
    front_end: FrontEndConfig {
        order: 2,
        ratio: 160,
        differential_delay: 1,
        path: Path::Auto,
        pruned_bits: 0,
    },
    firs: &[FirConfig { ratio: 5, taps: &[1 << 26; 16], scale_bits: 30 }],
    alignments: &[Alignment::NONE; CHANNELS],
    monitor: None,
    bridges: &[bridge(0), bridge(1)],
    cross_coupling: &[],
    electrodes: &[],
    axes: AxesConfig {
        axes: 1,
        solve: &[Coefficient::from_bits(1 << 47); 2],
        geometry: &[Coefficient::ONE; 2],
        residual_am: i64::MAX,
    },
};

/// Way of the front end.
pub type Way = Fold<2, CHANNELS, 10, true, 5>;
/// The readout.
pub type Board = Readout<2, CHANNELS, 10, 20, 8, i64, Way>;

/// Checked and worked out by the compiler: the board holds the result.
pub static PLAN: Plan<2, CHANNELS, 10, 20, 8, i64, Way> =
    match Plan::<2, CHANNELS, 10, 20, 8, i64, Way>::new(&CONFIG) {
        Ok(plan) => plan,
        // Ends the build.
        Err(error) => panic!("{}", error.message().as_str()),
    };
