//! **Instruction counter**: the core's own timer, which the emulator drives by instructions.
//!
//! With `-icount shift=0` an instruction takes a nanosecond of the emulator's time, and the
//! timer runs at the board's clock: 25 MHz (M4 and M7 boards), 20 MHz (M33 board). So a tick is
//! 40 or 50 instructions, and a count over a run is off by at most one tick. 24 bits: runs of at
//! most 671 million instructions.

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

/// Instructions in a tick.
pub const TICK: u64 = if cfg!(board_m33) { 50 } else { 40 };

/// Starts the timer, without an interrupt.
pub fn start(timer: &mut SYST) {
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(0x00ff_ffff);
    timer.clear_current();
    timer.enable_counter();
}

/// Instructions that `run` takes, within a tick.
pub fn count(run: impl FnOnce()) -> u64 {
    let before = SYST::get_current();
    run();
    let after = SYST::get_current();
    u64::from(before.wrapping_sub(after) & 0x00ff_ffff) * TICK
}
