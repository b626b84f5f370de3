//! **Transforms** of real values, planned once: a thread keeps what it planned, as tables take as long as a transform.

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Values of all lengths whose tables are kept, some 16 bytes each; beyond, all are given back, and those of a longer
/// transform are never kept.
const KEPT: usize = 1 << 22;

/// Planner and the lengths that it knows.
#[derive(Default)]
struct Known(RealFftPlanner<f64>, BTreeSet<usize>);

thread_local! {
    static KNOWN: RefCell<Known> = RefCell::default();
}

fn planned<T>(length: usize, plan: impl FnOnce(&mut RealFftPlanner<f64>) -> T) -> T {
    if length > KEPT {
        return plan(&mut RealFftPlanner::new());
    }
    KNOWN.with_borrow_mut(|known| {
        if known.1.insert(length) && known.1.iter().sum::<usize>() > KEPT {
            *known = Known::default();
            known.1.insert(length);
        }
        plan(&mut known.0)
    })
}

/// From `length` values to `length`/2 + 1 coefficients, of no scale.
#[must_use]
pub fn forward(length: usize) -> Arc<dyn RealToComplex<f64>> {
    planned(length, |planner| planner.plan_fft_forward(length))
}

/// Back again, times `length`.
#[must_use]
pub fn inverse(length: usize) -> Arc<dyn ComplexToReal<f64>> {
    planned(length, |planner| planner.plan_fft_inverse(length))
}
