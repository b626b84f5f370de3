//! **Serial ports** of the emulated boards (Arm's CMSDK APB UART: DDI 0479, chapter 4, from memory), one byte at a time.

/// First port; the M33 board's by its secure alias.
const FIRST: usize = if cfg!(board_m33) { 0x5020_0000 } else { 0x4000_4000 };
/// From one port to the next.
const STRIDE: usize = 0x1000;
const DATA: usize = 0;
const STATE: usize = 4;
const CONTROL: usize = 8;
const DIVIDER: usize = 16;
/// The transmitter's place is taken.
const FULL: u32 = 1;
/// The transmitter is on.
const SEND: u32 = 1;
/// Clocks of a bit: the fewest that the port takes.
const CLOCKS: u32 = 16;

/// A port, set up.
pub struct Serial {
    base: usize,
}

impl Serial {
    /// The first port, which telemetry goes out of.
    pub const TELEMETRY: Self = Self { base: FIRST };
    /// The second one, for the log.
    pub const LOG: Self = Self { base: FIRST + STRIDE };

    /// Sets it up.
    pub fn set_up(&self) {
        self.put(DIVIDER, CLOCKS);
        self.put(CONTROL, SEND);
    }

    /// Writes bytes, each when the one before has gone.
    pub fn write(&self, bytes: &[u8]) {
        for byte in bytes {
            self.drain();
            self.put(DATA, u32::from(*byte));
        }
    }

    /// Waits until the last byte has gone.
    pub fn drain(&self) {
        // Safety: a register of the port, which this type alone uses.
        while unsafe { ((self.base + STATE) as *const u32).read_volatile() } & FULL != 0 {}
    }

    fn put(&self, register: usize, value: u32) {
        // Safety: as above.
        unsafe { ((self.base + register) as *mut u32).write_volatile(value) }
    }
}
