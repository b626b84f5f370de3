//! Channels side by side, on a host: see the `wide` loops of [`crate::fold`] and [`crate::mixer`].

/// Channels that are taken at a time: two vectors of four sums each, or one of eight.
pub(crate) const LANES: usize = 8;

/// The words of so many channels from the one that stands `at` a place on, zeros where there are none.
#[inline(always)]
pub(crate) fn lanes(words: &[i32], at: usize) -> [i32; LANES] {
    let words = words.get(at..).unwrap_or(&[]);
    words.first_chunk().copied().unwrap_or_else(|| {
        let mut lanes = [0; LANES];
        lanes.iter_mut().zip(words).for_each(|(lane, word)| *lane = *word);
        lanes
    })
}
