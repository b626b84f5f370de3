//! Footprint of a whole board of the built-in sensor vault-six-axis: blocks, intake, chain, frames of telemetry, commands.
#![no_std]
#![no_main]

use core::hint::black_box;
use quietgap_acquisition::blocks::Exchange;
use quietgap_board::station::{Station, settings};
use quietgap_telemetry::command::Inbox;
use quietgap_telemetry::message::{Answer, Message, Outcome};
use quietgap_telemetry::{Decoder, Wire};
use vault_six_axis_board::Board;
use vault_six_axis_board::settings::CHANNELS;

/// Frames of a block.
const FRAMES: usize = 88;

#[cortex_m_rt::entry]
fn main() -> ! {
    static mut BOARD: Board = Board::IDLE;
    static mut BUFFERS: [[i32; FRAMES * CHANNELS]; 3] = [[0; FRAMES * CHANNELS]; 3];
    static mut EXCHANGE: Exchange<'static, 4> = Exchange::new();
    static mut DECODER: Decoder = Decoder::new();
    let buffers = BUFFERS.each_mut().map(|buffer| &mut buffer[..]);
    BOARD.load();
    let mut station: Station<CHANNELS> = Station::new(settings(FRAMES));
    let mut inbox = Inbox::new();
    let Some((mut filler, mut taker)) = EXCHANGE.split(buffers, CHANNELS) else { loop {} };
    let mut line = |wire: &Wire| {
        black_box(wire);
    };
    loop {
        filler.done(black_box(0));
        if let Some(block) = taker.take() {
            station.take(&block, BOARD, Board::counts, &mut line);
            taker.give_back(block);
        }
        if let Some((number, command)) = DECODER.push_command(black_box(0)) {
            let outcome = inbox.meet(number, || {
                black_box(&command);
                Outcome::Done
            });
            let answer = Answer { command: number, sample: 0, outcome };
            station.say(&Message::Answer(answer), &mut line);
        }
    }
}

/// Linked only if something can panic: the test looks for it.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
