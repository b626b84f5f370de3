//! What acquisition and telemetry add to the chain: instructions of a run by the chain alone, and of the same run through blocks,
//! intake, watch and frames.
#![no_std]
#![no_main]

use core::hint::black_box;
use cortex_m_rt::entry;
use quietgap_acquisition::blocks::Exchange;
use quietgap_board::counter;
use quietgap_board::machine;
use quietgap_board::source::Source;
use quietgap_board::station::{Station, settings};
use semihosting::println;

/// So many make two readings.
const FRAMES_OF_A_RUN: usize = 160_000;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

macro_rules! run {
    ($name:literal, $package:ident, $frames:literal) => {{
        const FRAMES: usize = $frames;
        const BLOCKS: usize = FRAMES_OF_A_RUN / FRAMES;
        const CHANNELS: usize = $package::settings::CHANNELS;
        static mut BOARD: $package::Board = $package::Board::IDLE;
        static mut BUFFERS: [[i32; FRAMES * CHANNELS]; 3] = [[0; FRAMES * CHANNELS]; 3];
        static mut EXCHANGE: Exchange<'static, 4> = Exchange::new();
        // Safety: this place alone uses them.
        let (board, buffers, exchange) = unsafe {
            (&mut *(&raw mut BOARD), &mut *(&raw mut BUFFERS), &mut *(&raw mut EXCHANGE))
        };
        let mut source = Source::new(3);
        let mut codes = [0; FRAMES * CHANNELS];
        board.load();
        let (mut chain, mut alone) = (0, 0u32);
        for _ in 0..BLOCKS {
            source.fill(&mut codes, CHANNELS, &[600_000, -900_000], 10);
            chain += counter::count(|| {
                board.push(black_box(&codes), &mut |reading| {
                    black_box(reading);
                    alone += 1;
                });
            });
        }
        let buffers = buffers.each_mut().map(|buffer| &mut buffer[..]);
        let Some((mut filler, mut taker)) = exchange.split(buffers, CHANNELS) else { panic!() };
        let mut source = Source::new(3);
        board.load();
        let mut station: Station<CHANNELS> = Station::new(settings(FRAMES));
        let (mut whole, mut stamp) = (0, 0u32);
        for _ in 0..BLOCKS {
            let [running, _] = filler.begin();
            source.fill(running, CHANNELS, &[600_000, -900_000], 10);
            stamp = stamp.wrapping_add(250 * FRAMES as u32);
            whole += counter::count(|| {
                filler.done(black_box(stamp));
                if let Some(block) = taker.take() {
                    station.take(&block, board, $package::Board::counts, &mut |wire| {
                        black_box(wire);
                    });
                    taker.give_back(block);
                }
            });
        }
        println!(
            "overhead name={} block={} chain={} whole={} samples={} readings={} frames={}",
            $name,
            FRAMES,
            chain,
            whole,
            BLOCKS * FRAMES * CHANNELS,
            alone,
            station.sender().next
        );
    }};
}

#[entry]
fn main() -> ! {
    counter::start();
    run!("vault-two-bridge", vault_two_bridge_board, 512);
    // As small as the memory of six axes wants them.
    run!("vault-six-axis", vault_six_axis_board, 88);
    machine::done()
}
