//! Front ends of every order of the CIC, on registers that prune and that do not: runs the cases that
//! the host wrote (`case-000.bin`, ...) and prints a line for each, digests and instructions.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use quietgap_board::machine;
use quietgap_board::run::{cases, chain, front_end};
use quietgap_core::fold::Fold;
use quietgap_core::mixer::Mixer;
use quietgap_core::word::Pruned;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

/// By a hundred times the order and the kind: channels, columns of a channel.
macro_rules! run {
    ($number:ident, $kind:ident, $settings:ident, $task:ident; $($order:literal)*) => {
        match $kind {
            $(
                kind if kind == $order * 100 => front_end::<i64, $order, 1, 5, Fold<$order, 1, 5, true, 5>>($number, $settings, $task),
                kind if kind == $order * 100 + 1 => front_end::<i64, $order, 2, 10, Fold<$order, 2, 10, true, 5>>($number, $settings, $task),
                kind if kind == $order * 100 + 2 => front_end::<i64, $order, 3, 15, Fold<$order, 3, 15, true, 5>>($number, $settings, $task),
                kind if kind == $order * 100 + 3 => front_end::<i64, $order, 6, 12, Fold<$order, 6, 12, true, 2>>($number, $settings, $task),
                kind if kind == $order * 100 + 4 => front_end::<i64, $order, 6, 36, Fold<$order, 6, 36, true, 6>>($number, $settings, $task),
                kind if kind == $order * 100 + 5 => front_end::<i64, $order, 1, 20, Fold<$order, 1, 20, true, 20>>($number, $settings, $task),
                kind if kind == $order * 100 + 6 => front_end::<i64, $order, 2, 40, Fold<$order, 2, 40, true, 20>>($number, $settings, $task),
                kind if kind == $order * 100 + 7 => front_end::<i64, $order, 6, 120, Fold<$order, 6, 120, true, 20>>($number, $settings, $task),
                kind if kind == $order * 100 + 8 => front_end::<i64, $order, 3, 120, Fold<$order, 3, 120, true, 40>>($number, $settings, $task),
                kind if kind == $order * 100 + 10 => front_end::<i64, $order, 2, 128, Mixer<$order, 2, 128>>($number, $settings, $task),
                kind if kind == $order * 100 + 11 => front_end::<i64, $order, 4, 128, Mixer<$order, 4, 128>>($number, $settings, $task),
                kind if kind == $order * 100 + 12 => front_end::<i64, $order, 7, 128, Mixer<$order, 7, 128>>($number, $settings, $task),
                kind if kind == $order * 100 + 20 => front_end::<Pruned, $order, 2, 10, Fold<$order, 2, 10, true, 5>>($number, $settings, $task),
                kind if kind == $order * 100 + 21 => front_end::<Pruned, $order, 6, 30, Fold<$order, 6, 30, true, 5>>($number, $settings, $task),
                kind if kind == $order * 100 + 22 => front_end::<Pruned, $order, 4, 128, Mixer<$order, 4, 128>>($number, $settings, $task),
                // With all that stands behind it.
                kind if kind == $order * 100 + 30 => chain::<i64, $order, 2, 40, 320, 400, Fold<$order, 2, 40, true, 20>>($number, $settings, $task),
                kind if kind == $order * 100 + 31 => chain::<Pruned, $order, 6, 30, 320, 400, Fold<$order, 6, 30, true, 5>>($number, $settings, $task),
            )*
            kind => panic!("kind {kind}"),
        }
    };
}

#[entry]
fn main() -> ! {
    cases(|number, kind, settings, task| run!(number, kind, settings, task; 1 2 3 4 5 6));
    machine::done()
}
