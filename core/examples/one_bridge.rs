//! A readout of one difference bridge, built at run time: codes in, readings out, with what is wrong.
//!
//! cargo run --package quietgap-core --example one_bridge

use quietgap_core::config::*;
use quietgap_core::word::{Coefficient, Word};
use quietgap_core::{CarrierRatio, ConfigError, Readout};

fn main() -> Result<(), ConfigError> {
    let wiring = BridgeKind::Difference { channel: 0, full: Word::lit("0.5") };
    let bridge = BridgeConfig::plain(wiring, 2_000_000_000_000_000);
    let config = ReadoutConfig {
        code_bits: 18,
        carrier: CarrierRatio::coherent(1, 4)?,
        front_end: FrontEndConfig {
            order: 2,
            ratio: 64,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        },
        firs: &[],
        alignments: &[Alignment::NONE],
        monitor: None,
        bridges: &[bridge],
        cross_coupling: &[],
        electrodes: &[],
        axes: AxesConfig {
            axes: 1,
            solve: &[Coefficient::ONE],
            geometry: &[Coefficient::ONE],
            residual_am: 1,
        },
    };
    let mut readout: Readout<2, 1, 2, 0, 0> = Readout::new(&config)?;
    // The mass moves off the centre, and the amplifier clips at last.
    for amplitude in [0, 1_000, 10_000, 131_071] {
        for _ in 0..3 {
            let codes = [amplitude, 0, -amplitude, 0].repeat(16);
            readout.push(&codes, |reading| {
                let micrometres = reading.axes[0] as f64 * 1e-12;
                let faults: Vec<&str> = reading.health.names().collect();
                println!("amplitude {amplitude:6}: {micrometres:9.3} um {faults:?}");
            });
        }
    }
    Ok(())
}
