//! **A board with a line**: a converter that plays a capture (`blocks.bin`, through the debugger's channel), its blocks handed over
//! by an interrupt as a DMA's would be, the chain, and its readings as frames of telemetry out of the serial port; out of a second one,
//! its log (`log.rs`).
//!
//! `blocks.bin`: of each block what it is (0 a block; 1 a block at whose end the task is held up, so that the next one comes before
//! this one is taken; 2 the board begins anew in it), its stamp, its codes; words of 32 bits, least significant byte first.

use crate::log::Changes;
use crate::machine;
use crate::serial::Serial;
use crate::station::{self, Station};
use core::cell::{Cell, RefCell};
use cortex_m::interrupt::Mutex;
use cortex_m::peripheral::SCB;
use quietgap_acquisition::blocks::{Exchange, Filler};
use quietgap_core::{Chain, HealthCounts};
use quietgap_telemetry::Wire;
use quietgap_telemetry::message::{Message, Settings};
use semihosting::fs::File;
use semihosting::io::Read;
use semihosting::println;

/// Frames of a block.
pub const FRAMES: usize = 1024;
/// What a block is, in `blocks.bin`.
const HELD_UP: u32 = 1;
const ANEW: u32 = 2;

/// What is asked of an exported package's readout beside being a chain.
pub trait Firmware: Chain {
    /// Takes the plan.
    fn load(&mut self);
    /// Faults so far.
    fn counts(&self) -> &HealthCounts;
    /// Of all that the plan set.
    fn checksum(&self) -> u32;
    /// Frames of a reading.
    fn interval(&self) -> u64;
}

macro_rules! firmware {
    ($($package:ident),*) => { $(
        impl Firmware for $package::Board {
            fn load(&mut self) {
                Self::load(self);
            }
            fn counts(&self) -> &HealthCounts {
                Self::counts(self)
            }
            fn checksum(&self) -> u32 {
                Self::checksum(self).to_bits()
            }
            fn interval(&self) -> u64 {
                Self::interval(self)
            }
        }
    )* };
}

firmware!(vault_two_bridge_board, vault_six_axis_board);

static BLOCKS: Mutex<RefCell<Option<File>>> = Mutex::new(RefCell::new(None));
static FILLER: Mutex<RefCell<Option<Filler<'static, 'static>>>> = Mutex::new(RefCell::new(None));
// The smallest cores have no instruction that reads and writes at once.
static ENDED: Mutex<Cell<bool>> = Mutex::new(Cell::new(false));
static BEGINS_ANEW: Mutex<Cell<bool>> = Mutex::new(Cell::new(false));

/// Fills `words` from `blocks.bin`; whether there were so many.
fn read(file: &mut File, words: &mut [i32]) -> bool {
    let mut bytes = [0; 1024];
    words.chunks_mut(bytes.len() / 4).all(|words| {
        let bytes = &mut bytes[..size_of_val(words)];
        let all = file.read(bytes).is_ok_and(|length| length == bytes.len());
        for (word, bytes) in words.iter_mut().zip(bytes.as_chunks().0) {
            *word = i32::from_le_bytes(*bytes);
        }
        all
    })
}

/// The interrupt at a block's end: where a DMA has filled its buffer, the capture's next codes stand in it now.
pub fn block_ended() {
    cortex_m::interrupt::free(|section| {
        let (mut filler, mut file) =
            (FILLER.borrow(section).borrow_mut(), BLOCKS.borrow(section).borrow_mut());
        let (Some(filler), Some(file)) = (filler.as_mut(), file.as_mut()) else { return };
        loop {
            let mut head = [0; 2];
            let [running, _] = filler.begin();
            if !read(file, &mut head) || !read(file, running) {
                ENDED.borrow(section).set(true);
                return;
            }
            let [kind, stamp] = head.map(i32::cast_unsigned);
            if kind == ANEW {
                filler.restart();
                BEGINS_ANEW.borrow(section).set(true);
            }
            filler.done(stamp);
            if kind != HELD_UP {
                return;
            }
        }
    });
}

/// What the board says of itself.
#[derive(Clone, Copy, Debug)]
pub struct Identity {
    /// Its name.
    pub name: &'static str,
    /// Axes of its readings.
    pub axes: &'static [u8],
    /// Bridges.
    pub bridges: u8,
}

impl Identity {
    fn settings(&self, board: &impl Firmware, starts: u32) -> Message {
        Message::Settings(Settings {
            name: heapless::String::try_from(self.name).unwrap_or_default(),
            rate_millihertz: station::settings(FRAMES).clock.rate_millihertz,
            interval: board.interval(),
            axes: heapless::Vec::from_slice(self.axes).unwrap_or_default(),
            bridges: self.bridges,
            checksum: board.checksum(),
            starts,
        })
    }
}

/// Runs the capture to its end.
pub fn run<const CHANNELS: usize, const CODES: usize>(
    board: &mut impl Firmware,
    buffers: &'static mut [[i32; CODES]; 4],
    exchange: &'static mut Exchange<'static, 4>,
    identity: Identity,
) -> ! {
    let buffers = buffers.each_mut().map(|buffer| &mut buffer[..]);
    let Some((filler, mut taker)) = exchange.split(buffers, CHANNELS) else { panic!("no buffers") };
    cortex_m::interrupt::free(|section| {
        BLOCKS.borrow(section).replace(Some(File::open(c"blocks.bin").expect("blocks")));
        FILLER.borrow(section).replace(Some(filler));
    });
    Serial::TELEMETRY.set_up();
    let mut line = |wire: &Wire| Serial::TELEMETRY.write(wire);
    let mut starts = 1;
    board.load();
    let mut changes = Changes::begin(identity.name, board.checksum(), starts);
    let mut station: Station<CHANNELS> = Station::new(station::settings(FRAMES));
    station.say(&identity.settings(board, starts), &mut line);
    let mut all = 0;
    let is =
        |flag: &'static Mutex<Cell<bool>>| cortex_m::interrupt::free(|s| flag.borrow(s).take());
    loop {
        match taker.take() {
            Some(block) => {
                if is(&BEGINS_ANEW) {
                    // What was in memory is gone: the chain's state, the numbers of samples and of frames.
                    starts += 1;
                    all += station.sender().next;
                    board.load();
                    changes = Changes::begin(identity.name, board.checksum(), starts);
                    station = Station::new(station::settings(FRAMES));
                    station.say(&identity.settings(board, starts), &mut line);
                }
                station.take(&block, board, Firmware::counts, &mut line);
                taker.give_back(block);
                changes.note(station.state());
            }
            None if is(&ENDED) => break,
            None => SCB::set_pendsv(),
        }
    }
    all += station.sender().next;
    Serial::TELEMETRY.drain();
    changes.end(all);
    println!("line frames={}", all);
    machine::done()
}
