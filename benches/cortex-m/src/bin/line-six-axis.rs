//! A board of vault-six-axis with a line (`../line.rs`).
#![no_std]
#![no_main]

use cortex_m_rt::{entry, exception};
use quietgap_acquisition::blocks::Exchange;
use quietgap_board::line::{self, FRAMES, Identity};
use quietgap_board::machine;
use vault_six_axis_board::Board;
use vault_six_axis_board::settings::CHANNELS;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

#[exception]
fn PendSV() {
    line::block_ended();
}

#[entry]
fn main() -> ! {
    static mut BOARD: Board = Board::IDLE;
    static mut BUFFERS: [[i32; FRAMES * CHANNELS]; 4] = [[0; FRAMES * CHANNELS]; 4];
    static mut EXCHANGE: Exchange<'static, 4> = Exchange::new();
    let identity = Identity { name: "vault-six-axis", axes: &[0, 1, 2, 3, 4, 5], bridges: 6 };
    line::run::<CHANNELS, _>(BOARD, BUFFERS, EXCHANGE, identity)
}
