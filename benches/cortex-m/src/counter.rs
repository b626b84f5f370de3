//! **Instruction counter**, which the emulator drives by instructions (`-icount shift=0`: one a nanosecond of its time).
//!
//! Cortex-M: the core's own timer, at the board's clock of 25 MHz (M4 and M7 boards) or 20 MHz (M33 board). So a tick
//! is 40 or 50 instructions, and a count over a run is off by at most one tick. 24 bits: runs of at most 671 million
//! instructions. RISC-V: the counter of retired instructions.

/// Instructions in a tick.
#[cfg(target_arch = "arm")]
pub const TICK: u64 = if cfg!(board_m33) { 50 } else { 40 };

/// Starts the timer, without an interrupt.
#[cfg(target_arch = "arm")]
pub fn start() {
    let mut timer = cortex_m::Peripherals::take().expect("first and only call").SYST;
    timer.set_clock_source(cortex_m::peripheral::syst::SystClkSource::Core);
    timer.set_reload(0x00ff_ffff);
    timer.clear_current();
    timer.enable_counter();
}

/// Instructions that `run` takes, within a tick.
#[cfg(target_arch = "arm")]
pub fn count(run: impl FnOnce()) -> u64 {
    use cortex_m::peripheral::SYST;
    let before = SYST::get_current();
    run();
    let after = SYST::get_current();
    u64::from(before.wrapping_sub(after) & 0x00ff_ffff) * TICK
}

/// It runs from the start.
#[cfg(target_arch = "riscv32")]
pub fn start() {}

/// Instructions that `run` takes.
#[cfg(target_arch = "riscv32")]
pub fn count(run: impl FnOnce()) -> u64 {
    use riscv::register::minstret;
    let before = minstret::read64();
    run();
    minstret::read64() - before
}
