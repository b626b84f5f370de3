//! Made-up words for unit tests.

/// The state of a linear congruential generator from one call to the next, of which the upper bits are the better ones.
pub(crate) fn made_up(mut state: u64) -> impl FnMut() -> u64 {
    move || {
        state = state.wrapping_mul(0x5851_f42d_4c95_7f2d).wrapping_add(1);
        state
    }
}
