//! Footprint of the chain for the two-bridge sensor.
#![no_std]
#![no_main]

#[cortex_m_rt::entry]
fn main() -> ! {
    quietgap_board::footprint::run::<2, 10, 84, 2, 2>(false)
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
