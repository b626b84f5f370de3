//! Footprint of the built-in sensor vault-two-bridge, its plan made by the compiler.
#![no_std]
#![no_main]

use vault_two_bridge_board::settings as plan;

#[cortex_m_rt::entry]
fn main() -> ! {
    static mut READOUT: plan::Board = plan::Board::IDLE;
    READOUT.load(&plan::PLAN);
    quietgap_board::footprint::run(READOUT)
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
