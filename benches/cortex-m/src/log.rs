//! **Log**: what the board says of its own work, by defmt, out of its second serial port. Numbers of texts and their
//! values go over the line; the texts stay in the image's file, by which the host reads them.

use crate::serial::Serial;
use crate::station::State;
use core::sync::atomic::{AtomicU32, Ordering};
use critical_section::RestoreState;
use defmt::Encoder;

/// Blocks taken: what a line of the log is dated by.
static BLOCKS: AtomicU32 = AtomicU32::new(0);
defmt::timestamp!("block {=u32}", BLOCKS.load(Ordering::Relaxed));

#[defmt::global_logger]
struct Log;

/// While a line is written: how interrupts stood before.
static mut BEFORE: Option<RestoreState> = None;
static mut ENCODER: Encoder = Encoder::new();

fn send(bytes: &[u8]) {
    Serial::LOG.write(bytes);
}

// Safety: from `acquire` to `release` interrupts are off, and nothing else can come in between.
unsafe impl defmt::Logger for Log {
    fn acquire() {
        // Safety: given back in `release`.
        let before = unsafe { critical_section::acquire() };
        // Safety: see above.
        unsafe {
            BEFORE = Some(before);
            (*&raw mut ENCODER).start_frame(send);
        }
    }

    unsafe fn flush() {
        Serial::LOG.drain();
    }

    unsafe fn release() {
        // Safety: see above.
        unsafe {
            (*&raw mut ENCODER).end_frame(send);
            if let Some(before) = (*&raw mut BEFORE).take() {
                critical_section::release(before);
            }
        }
    }

    unsafe fn write(bytes: &[u8]) {
        // Safety: see above.
        unsafe { (*&raw mut ENCODER).write(bytes, send) }
    }
}

/// What changed, told between two blocks: nothing of it is in the path of the samples.
pub struct Changes(State);

impl Changes {
    /// A board begins: its name, the plan's checksum and how often it began.
    pub fn begin(name: &str, checksum: u32, starts: u32) -> Self {
        Serial::LOG.set_up();
        defmt::info!("{=str} begins, plan {=u32:08x}, start {=u32}", name, checksum, starts);
        Self(State::default())
    }

    /// A block was taken, and things stand like this.
    pub fn note(&mut self, now: State) {
        // The main loop alone counts; the smallest cores have no instruction that reads and writes at once.
        BLOCKS.store(BLOCKS.load(Ordering::Relaxed).wrapping_add(1), Ordering::Relaxed);
        let Self(was) = *self;
        if now == was {
            return;
        }
        if now.lost_blocks != was.lost_blocks {
            defmt::error!("blocks lost: {=u64}", now.lost_blocks - was.lost_blocks);
        }
        if now.faults != was.faults {
            if now.faults.is_none() {
                defmt::info!("faults are over");
            } else {
                defmt::warn!("faults: {}, channels {=u32:#b}", now.faults, now.channels);
            }
        }
        if now.health != was.health {
            if now.health.is_ok() {
                defmt::info!("readings are healthy");
            } else {
                defmt::warn!("readings: {}", now.health);
            }
        }
        self.0 = now;
    }

    /// The board has done its work.
    pub fn end(self, frames: u32) {
        defmt::info!("ends after {=u32} frames", frames);
        defmt::flush();
    }
}
