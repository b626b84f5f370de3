//! **A board with a line**: codes of a capture (`codes.bin`, through the debugger's channel, as a converter would give them)
//! through the chain, its readings as frames of telemetry out of the serial port.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln, syscall};
use quietgap_board::serial::Serial;
use quietgap_telemetry::frame::Sender;
use quietgap_telemetry::message::{Counts, Message, Reading, Settings};
use vault_two_bridge_board::Board;
use vault_two_bridge_board::settings::CHANNELS;

/// Frames of a block.
const FRAMES: usize = 4096;
/// Readings between two counts of faults.
const COUNTS: u32 = 100;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    debug::exit(debug::EXIT_FAILURE);
    loop {}
}

/// Frames numbered in order, out of the port.
struct Speaker {
    serial: Serial,
    sender: Sender,
}

impl Speaker {
    fn say(&mut self, message: Message) {
        if let Some(wire) = self.sender.wire(message) {
            self.serial.write(&wire);
        }
    }
}

#[entry]
fn main() -> ! {
    static mut BOARD: Board = Board::IDLE;
    static mut CODES: [i32; FRAMES * CHANNELS] = [0; FRAMES * CHANNELS];
    BOARD.load();
    let mut speaker = Speaker { serial: Serial::new(), sender: Sender::default() };
    speaker.say(Message::Settings(Settings {
        name: heapless::String::try_from("vault-two-bridge").unwrap_or_default(),
        rate_millihertz: 800_000_000,
        interval: BOARD.interval(),
        axes: heapless::Vec::from_slice(&[0, 5]).unwrap_or_default(),
        bridges: 2,
        checksum: BOARD.checksum().to_bits(),
        starts: 1,
    }));
    // Safety: a name that ends with a zero, and a buffer of the length told that nothing else uses meanwhile.
    let handle = unsafe { syscall!(OPEN, b"codes.bin\0".as_ptr(), 1, 9) };
    assert!(handle as isize > 0, "no codes");
    let mut readings = 0u32;
    loop {
        let bytes = size_of_val(CODES);
        // Safety: as above.
        let left = unsafe { syscall!(READ, handle, CODES.as_mut_ptr(), bytes) };
        let codes = &CODES[..(bytes - left) / size_of::<i32>()];
        if codes.is_empty() {
            break;
        }
        BOARD.push(codes, &mut |reading| {
            speaker.say(Message::Reading(Reading::from(reading)));
            readings += 1;
        });
        if readings >= COUNTS {
            readings = 0;
            speaker.say(Message::Counts(Counts::from(BOARD.counts())));
        }
    }
    speaker.serial.drain();
    hprintln!("line frames={}", speaker.sender.next);
    debug::exit(debug::EXIT_SUCCESS);
    loop {}
}
