//! **Stack high-water mark**: a painted stretch below the stack pointer.

const PAINT: u32 = 0x5a5a_a5a5;
/// Painted words: 32 KiB.
const WORDS: usize = 8192;

/// Bytes of stack that `run` takes, by the words it overwrites.
#[inline(never)]
pub fn high_water(run: impl FnOnce()) -> u32 {
    // A little below this function's own frame.
    let top = pointer() - 64;
    for n in 1..=WORDS {
        // Safety: the stack grows down from the end of RAM; nothing else lives in these words.
        unsafe { ((top - 4 * n) as *mut u32).write_volatile(PAINT) };
    }
    run();
    let untouched = (1..=WORDS)
        .rev()
        // Safety: as above.
        .take_while(|n| unsafe { ((top - 4 * n) as *const u32).read_volatile() } == PAINT)
        .count();
    (4 * (WORDS - untouched)) as u32 + 64
}

/// Where the stack ends.
#[inline(always)]
fn pointer() -> usize {
    let pointer: usize;
    // Safety: reads a register.
    #[cfg(target_arch = "arm")]
    unsafe {
        core::arch::asm!("mov {}, sp", out(reg) pointer);
    }
    // Safety: as above.
    #[cfg(target_arch = "riscv32")]
    unsafe {
        core::arch::asm!("mv {}, sp", out(reg) pointer);
    }
    pointer
}
