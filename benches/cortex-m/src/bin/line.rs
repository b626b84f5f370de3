//! A board of vault-two-bridge with a line (`../line.rs`).
#![no_std]
#![no_main]

use cortex_m_rt::{entry, exception};
use quietgap_acquisition::blocks::Exchange;
use quietgap_board::line::{self, FRAMES, Identity};
use quietgap_board::machine;
use vault_two_bridge_board::Board;
use vault_two_bridge_board::settings::CHANNELS;

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
    let identity = Identity { name: "vault-two-bridge", axes: &[0, 5], bridges: 2 };
    line::run::<CHANNELS, _>(BOARD, BUFFERS, EXCHANGE, identity)
}
