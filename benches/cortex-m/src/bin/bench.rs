//! Runs the cases that the host wrote (`case-000.bin`, `case-001.bin`, ...) and prints a line for
//! each: digests of every output word, instructions of the chain and of each stage, stack.
#![no_std]
#![no_main]

use quietgap_board::machine;
use quietgap_board::run::{cases, chain};
use quietgap_core::fold::Fold;
use quietgap_core::front_end::way::AnyWay;
use quietgap_core::mixer::Mixer;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    cases(|number, kind, settings, task| {
        match kind {
            // Sized for their plans, as firmware is.
            0 => chain::<i64, 2, 2, 10, 208, 70, Fold<2, 2, 10, true, 5>>(number, settings, task),
            1 => chain::<i64, 2, 7, 35, 165, 273, Fold<2, 7, 35, true, 5>>(number, settings, task),
            2 => chain::<i64, 2, 2, 4, 164, 80, Fold<2, 2, 4, true, 2>>(number, settings, task),
            3 => chain::<i64, 2, 2, 128, 265, 84, Mixer<2, 2, 128>>(number, settings, task),
            4 => chain::<i64, 2, 7, 128, 265, 294, Mixer<2, 7, 128>>(number, settings, task),
            // Larger, and the way chosen by the plan.
            5 => chain::<i64, 1, 4, 256, 256, 64, AnyWay<1, 4, 256>>(number, settings, task),
            6 => chain::<i64, 2, 4, 256, 256, 64, AnyWay<2, 4, 256>>(number, settings, task),
            7 => chain::<i64, 3, 4, 256, 256, 64, AnyWay<3, 4, 256>>(number, settings, task),
            // Sized again, to fit the counts to.
            10 => chain::<i64, 2, 1, 3, 320, 400, Fold<2, 1, 3, true, 3>>(number, settings, task),
            11 => chain::<i64, 2, 1, 5, 320, 400, Fold<2, 1, 5, true, 5>>(number, settings, task),
            12 => chain::<i64, 2, 3, 15, 320, 400, Fold<2, 3, 15, true, 5>>(number, settings, task),
            13 => chain::<i64, 2, 4, 16, 320, 400, Fold<2, 4, 16, true, 4>>(number, settings, task),
            14 => chain::<i64, 2, 2, 16, 320, 400, Fold<2, 2, 16, true, 8>>(number, settings, task),
            15 => chain::<i64, 2, 6, 12, 320, 400, Fold<2, 6, 12, true, 2>>(number, settings, task),
            16 => chain::<i64, 2, 5, 15, 320, 400, Fold<2, 5, 15, true, 3>>(number, settings, task),
            18 => chain::<i64, 2, 6, 36, 320, 400, Fold<2, 6, 36, true, 6>>(number, settings, task),
            17 => chain::<i64, 2, 4, 128, 320, 400, Mixer<2, 4, 128>>(number, settings, task),
            _ => panic!("kind {kind}"),
        }
    });
    machine::done()
}
