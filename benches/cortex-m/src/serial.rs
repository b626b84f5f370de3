//! **Serial port** of the emulated boards (Arm's CMSDK APB UART: DDI 0479, chapter 4, from memory), one byte at a time.

/// First port; the M33 board's by its secure alias.
const BASE: usize = if cfg!(board_m33) { 0x5020_0000 } else { 0x4000_4000 };
const DATA: usize = BASE;
const STATE: usize = BASE + 4;
const CONTROL: usize = BASE + 8;
const DIVIDER: usize = BASE + 16;
/// The transmitter's place is taken.
const FULL: u32 = 1;
/// The transmitter is on.
const SEND: u32 = 1;
/// Clocks of a bit: the fewest that the port takes.
const CLOCKS: u32 = 16;

fn write(register: usize, value: u32) {
    // Safety: registers of the port, which this type alone uses.
    unsafe { (register as *mut u32).write_volatile(value) }
}

/// The port, set up.
pub struct Serial(());

impl Default for Serial {
    fn default() -> Self {
        Self::new()
    }
}

impl Serial {
    /// Sets it up.
    #[must_use]
    pub fn new() -> Self {
        write(DIVIDER, CLOCKS);
        write(CONTROL, SEND);
        Self(())
    }

    /// Writes bytes, each when the one before has gone.
    pub fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.drain();
            write(DATA, u32::from(*byte));
        }
    }

    /// Waits until the last byte has gone.
    pub fn drain(&mut self) {
        // Safety: as of `write`.
        while unsafe { (STATE as *const u32).read_volatile() } & FULL != 0 {}
    }
}
