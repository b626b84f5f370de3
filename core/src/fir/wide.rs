//! A stage's input on a host: the four sums of an open output side by side, by the vectors that the machine has.

use super::{Open, Sum, parts};
use crate::phasor::Phasor;
use core::hint::black_box;

/// Adds an input of all channels to their open `outputs`, each by its tap.
#[inline(always)]
pub(super) fn add(open: &mut [Open], outputs: usize, taps: &[i32], frame: &[Phasor]) {
    pulp::Arch::new().dispatch(Input { open, outputs, taps, frame });
}

struct Input<'a> {
    open: &'a mut [Open],
    outputs: usize,
    taps: &'a [i32],
    frame: &'a [Phasor],
}

impl pulp::NullaryFnOnce for Input<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self { open, outputs, taps, frame } = self;
        for (open, phasor) in open.chunks_exact_mut(outputs).zip(frame) {
            let (i, q) = (parts(phasor.i), parts(phasor.q));
            let words = [i.upper, i.lower, q.upper, q.lower].map(i64::from);
            for (open, tap) in open.iter_mut().zip(taps) {
                // One output after the other: the compiler would look for eight of them.
                black_box(());
                let mut sums = [open.i.upper, open.i.lower, open.q.upper, open.q.lower];
                for (sum, word) in sums.iter_mut().zip(words) {
                    *sum = sum.wrapping_add(word * i64::from(*tap));
                }
                let [i_upper, i_lower, q_upper, q_lower] = sums;
                open.i = Sum { upper: i_upper, lower: i_lower };
                open.q = Sum { upper: q_upper, lower: q_lower };
            }
        }
    }
}
