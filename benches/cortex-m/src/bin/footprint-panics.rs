//! An image that can panic, for the test of the test: it indexes by what the debugger may set.
#![no_std]
#![no_main]

#[cortex_m_rt::entry]
fn main() -> ! {
    let table = core::hint::black_box([1, 2, 3]);
    loop {
        core::hint::black_box(table[core::hint::black_box(1)]);
    }
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
