//! Footprint of the chain for the quarter-rate sensor.
#![no_std]
#![no_main]

#[cortex_m_rt::entry]
fn main() -> ! {
    quietgap_board::footprint::run::<2, 4, 84, 2, 2>(false)
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
