//! Runs the built-in sensors' cases on the packages that `quietgap filter export --crate` made of them: what they
//! cost at the level of an image that is not theirs.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use quietgap_board::machine;
use quietgap_board::run::{boxed, cases};

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

/// A case on a package's readout.
macro_rules! run {
    ($package:ident, $number:ident, $task:ident) => {{
        static mut BOARD: $package::Board = $package::Board::IDLE;
        // Safety: one case at a time uses it.
        let board = unsafe { &mut *core::ptr::addr_of_mut!(BOARD) };
        boxed($number, $package::settings::CHANNELS, $task, &mut |codes, sink| match codes {
            Some(codes) => board.push(codes, sink),
            None => board.load(),
        });
    }};
}

#[entry]
fn main() -> ! {
    cases(|number, kind, _, task| match kind {
        0 => run!(vault_two_bridge_board, number, task),
        1 => run!(vault_six_axis_board, number, task),
        2 => run!(vault_quarter_rate_board, number, task),
        _ => panic!("kind {kind}"),
    });
    machine::done()
}
