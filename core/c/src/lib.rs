#![doc = include_str!("../README.md")]
#![no_std]

#[cfg(not(target_os = "none"))]
extern crate std;

// In the order that a program uses them.

// How a call went.
pub mod status;
// What a reading is.
pub mod reading;
// The chain.
pub mod board;
// What is said over the line.
pub mod telemetry;

/// Linked only where something can panic, which nothing here does.
#[cfg(target_os = "none")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
