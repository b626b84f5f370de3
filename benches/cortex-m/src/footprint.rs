//! What the footprint images share: a readout with nothing around it.

use core::hint::black_box;
use quietgap_core::config::*;
use quietgap_core::fold::Fold;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{CarrierRatio, Readout};

/// Stands for the first of a plan's taps; the length is what counts here.
static FIRST: [i32; 50] = [21_474_836; 50];
static SECOND: [i32; 60] = [17_895_697; 60];
static LAST: [i32; 151] = [7_110_873; 151];
static BRIDGE: BridgeConfig = BridgeConfig {
    kind: BridgeKind::Difference {
        channel: 0,
        full: Word::from_bits(1 << 50),
        imbalance: Fraction::ZERO,
        share: Fraction::ZERO,
    },
    gap_am: 2_000_000_000_000_000,
    offset_am: 0,
    range: Fraction::from_bits(1 << 61),
    quadrature: Fraction::from_bits(1 << 57),
};

/// Runs a readout for ever on what the converter's registers hold; nothing is known before, so
/// nothing of the chain can be left out. Settings that are refused leave the board idle.
#[inline(always)]
pub fn run<
    const CHANNELS: usize,
    const COLUMNS: usize,
    const OPEN: usize,
    const BRIDGES: usize,
    const AXES: usize,
>(
    monitored: bool,
) -> ! {
    let alignments = black_box([Alignment::NONE; CHANNELS]);
    let bridges = black_box([BRIDGE; BRIDGES]);
    let matrix = black_box([[Coefficient::ONE; BRIDGES]; AXES]);
    let monitor = MonitorConfig {
        channel: 0,
        calibration: Word::from_bits(1 << 50),
        weak: Word::from_bits(1 << 49),
        lost: Word::from_bits(1 << 48),
    };
    let firs = black_box([
        FirConfig { ratio: 10, taps: &FIRST, scale_bits: 30 },
        FirConfig { ratio: 10, taps: &SECOND, scale_bits: 30 },
        FirConfig { ratio: 5, taps: &LAST, scale_bits: 30 },
    ]);
    let Ok(carrier) = CarrierRatio::coherent(black_box(1), black_box(10)) else { idle() };
    let built = Readout::<2, CHANNELS, COLUMNS, 265, OPEN, i64, Fold<2, CHANNELS, COLUMNS>>::new(
        black_box(&ReadoutConfig {
            code_bits: 24,
            carrier,
            front_end: FrontEndConfig {
                order: 2,
                ratio: 160,
                differential_delay: 1,
                path: Path::Auto,
                watch: Watch::EverySample,
                pruned_bits: 0,
            },
            firs: &firs,
            alignments: &alignments,
            monitor: black_box(monitored.then_some(monitor)),
            bridges: &bridges,
            axes: AxesConfig {
                axes: AXES as u8,
                solve: matrix.as_flattened(),
                geometry: matrix.as_flattened(),
                residual_am: 1,
            },
        }),
    );
    let Ok(mut readout) = built else { idle() };
    let block = [0; 64];
    readout.seek(black_box(0));
    loop {
        readout.push(black_box(&block), |reading| {
            black_box(reading);
        });
    }
}

fn idle() -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}
