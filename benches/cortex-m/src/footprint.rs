//! What the footprint images share: a readout with nothing around it.

use core::hint::black_box;
use quietgap_core::Readout;
use quietgap_core::section::Way;
use quietgap_core::word::Register;

/// Runs a readout for ever on what the converter's registers hold; nothing is known before, so
/// nothing of the chain can be left out.
#[inline(always)]
pub fn run<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R: Register,
    W: Way<ORDER>,
>(
    readout: &mut Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>,
) -> ! {
    let block = [0; 64];
    readout.seek(black_box(0));
    loop {
        readout.push(black_box(&block), |reading| {
            black_box(reading);
        });
    }
}

/// Where settings are refused.
pub fn idle() -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}
