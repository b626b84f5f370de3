//! Footprint of the chain for the six-axis sensor with its monitor.
#![no_std]
#![no_main]

#[cortex_m_rt::entry]
fn main() -> ! {
    quietgap_board::footprint::run::<7, 35, 294, 6, 6>(true)
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
