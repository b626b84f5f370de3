//! Footprint where the board itself checks a plan that it is given, and makes its tables: the
//! built-in sensor vault-six-axis.
#![no_std]
#![no_main]

use core::hint::black_box;
use quietgap_board::footprint::{idle, run};
// The compiler's own plan is not used.
use vault_six_axis_board::settings as plan;

#[cortex_m_rt::entry]
fn main() -> ! {
    match plan::Board::new(black_box(&plan::CONFIG)) {
        Ok(mut readout) => run(&mut readout),
        Err(_) => idle(),
    }
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
