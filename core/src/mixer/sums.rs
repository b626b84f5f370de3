//! The sample loops of the mixer: codes into the sums of a section, by pairs about its middle or one by one.

use super::Turn;

/// A channel's sums take a whole section.
pub(super) type AddWhole<const ORDER: usize> =
    fn(&mut [[i64; 2]; ORDER], &[i32], usize, usize, &[Turn]);

/// [`add_whole`] for so many channels: for as many as it was made for.
#[inline(always)]
pub(super) fn by_pairs<const ORDER: usize, const CHANNELS: usize>(
    channels: usize,
) -> Option<AddWhole<ORDER>> {
    if channels == CHANNELS { Some(add_whole::<ORDER, CHANNELS>) } else { None }
}

/// One channel's codes of a whole section, order 2: S_1 and the sum of n x, by pairs about the middle.
fn add_whole<const ORDER: usize, const CHANNELS: usize>(
    sums: &mut [[i64; 2]; ORDER],
    codes: &[i32],
    channel: usize,
    middle: usize,
    turns: &[Turn],
) {
    let (frames, _) = codes.as_chunks::<CHANNELS>();
    let Some((before, [own, after @ ..])) = frames.split_at_checked(middle) else { return };
    // The middle one has n = 0; with an even number the first of all has no partner.
    let (single, before) = before.split_at(before.len().saturating_sub(after.len()));
    if let (Some(own), Some(turn)) = (own.get(channel), turns.first()) {
        add_one::<ORDER, 0, false>(sums, *own, turn);
        add_one::<ORDER, 1, false>(sums, *own, turn);
    }
    if let ([single], Some(turn)) = (single, turns.get(middle)) {
        let code = single.get(channel).copied().unwrap_or(0);
        add_one::<ORDER, 0, true>(sums, code, turn);
        add_one::<ORDER, 1, true>(sums, code, turn);
    }
    let Some(turns) = turns.get(1..=after.len()) else { return };
    let (firsts, seconds) = sums.split_at_mut(1);
    if let ([[i, q]], [[j, r], ..]) = (firsts, seconds) {
        add_pairs::<CHANNELS, 0>([i, j], after, before, channel, turns);
        add_pairs::<CHANNELS, 1>([r, q], after, before, channel, turns);
    }
}

/// Pairs of codes about the middle, as many before as after it: to the first sum (a + b) times a number of the turn's `PART`, to
/// the second (a - b) times the other: of cosines S_1 is the first, of sines the sum of n x.
///
/// Never inlined, and one part after the other: a small core has registers for this and no more.
#[inline(never)]
fn add_pairs<const CHANNELS: usize, const PART: usize>(
    sums: [&mut i64; 2],
    after: &[[i32; CHANNELS]],
    before: &[[i32; CHANNELS]],
    channel: usize,
    turns: &[Turn],
) {
    if channel >= CHANNELS {
        return;
    }
    let mut state = sums.each_ref().map(|sum| **sum);
    // The nearest to the middle first.
    let (last_after, last_before, last_turns) =
        add_blocks::<CHANNELS, PART, 8>(&mut state, after, before, channel, turns);
    add_blocks::<CHANNELS, PART, 1>(&mut state, last_after, last_before, channel, last_turns);
    [*sums[0], *sums[1]] = state;
}

/// What is left of pairs after, before and of their turns.
type Left<'a, const CHANNELS: usize> = (&'a [[i32; CHANNELS]], &'a [[i32; CHANNELS]], &'a [Turn]);

/// [`add_pairs`], `PAIRS` a turn of the loop.
#[inline(always)]
fn add_blocks<'a, const CHANNELS: usize, const PART: usize, const PAIRS: usize>(
    state: &mut [i64; 2],
    after: &'a [[i32; CHANNELS]],
    before: &'a [[i32; CHANNELS]],
    channel: usize,
    turns: &'a [Turn],
) -> Left<'a, CHANNELS> {
    let (after, last_after) = after.as_chunks::<PAIRS>();
    let (first_before, before) = before.as_rchunks::<PAIRS>();
    let (turns, last_turns) = turns.as_chunks::<PAIRS>();
    let blocks = turns.len();
    if let (Some(after), Some(before)) = (after.get(..blocks), before.get(..blocks)) {
        for block in 0..blocks {
            let (after, before) = (&after[block], &before[blocks - 1 - block]);
            for n in 0..PAIRS {
                let [cosine, sine] = turns[block][n];
                let [even, odd] = if PART == 0 { cosine } else { [sine[1], sine[0]] };
                let (a, b) = (after[n][channel], before[PAIRS - 1 - n][channel]);
                state[0] = state[0].wrapping_add(i64::from(a.wrapping_add(b)) * i64::from(even));
                state[1] = state[1].wrapping_add(i64::from(a.wrapping_sub(b)) * i64::from(odd));
            }
        }
    }
    (last_after, first_before, last_turns)
}

/// Some codes of `channel` of so many, from sample `from` of a section on. `STRIDE` is the number of channels where it is not
/// zero.
#[inline(always)]
pub(super) fn add_some<const ORDER: usize, const STRIDE: usize>(
    sums: &mut [[i64; 2]; ORDER],
    frames: &[i32],
    [channels, channel]: [usize; 2],
    [from, middle]: [usize; 2],
    turns: &[Turn],
) {
    let split = middle.saturating_sub(from);
    let (before, after) = frames.split_at_checked(split * channels).unwrap_or((frames, &[]));
    // Turns fall from the first sample on to the middle one's, which the samples behind it start with.
    let falling = turns.get(1..=split).unwrap_or(&[]);
    let rising = turns.get(from.saturating_sub(middle)..).unwrap_or(&[]);
    let place = [channels, channel];
    if !before.is_empty() {
        add_part::<ORDER, STRIDE, 0, true>(sums, before, place, falling);
        add_part::<ORDER, STRIDE, 1, true>(sums, before, place, falling);
    }
    add_part::<ORDER, STRIDE, 0, false>(sums, after, place, rising);
    add_part::<ORDER, STRIDE, 1, false>(sums, after, place, rising);
}

/// In-phase (`PART` 0) or quadrature (1) of codes behind the middle, or before it (`MIRRORED`, turns from their last on).
///
/// Never inlined, and one part after the other: a small core has registers for this and no more.
#[inline(never)]
fn add_part<const ORDER: usize, const STRIDE: usize, const PART: usize, const MIRRORED: bool>(
    sums: &mut [[i64; 2]; ORDER],
    frames: &[i32],
    [channels, channel]: [usize; 2],
    turns: &[Turn],
) {
    let stride = if STRIDE > 0 { STRIDE } else { channels.max(1) };
    if channel >= stride {
        return;
    }
    let mut state = *sums;
    let frames = frames.chunks_exact(stride);
    let code = |frame: &[i32]| frame.get(channel).copied().unwrap_or(0);
    if MIRRORED {
        for (frame, turn) in frames.zip(turns.iter().rev()) {
            add_one::<ORDER, PART, MIRRORED>(&mut state, code(frame), turn);
        }
    } else {
        for (frame, turn) in frames.zip(turns) {
            add_one::<ORDER, PART, MIRRORED>(&mut state, code(frame), turn);
        }
    }
    *sums = state;
}

/// One part of a sample: a product and cascaded sums; for order 2 a product for each of both.
#[inline(always)]
fn add_one<const ORDER: usize, const PART: usize, const MIRRORED: bool>(
    sums: &mut [[i64; 2]; ORDER],
    code: i32,
    turn: &Turn,
) {
    let [value, weighed] = turn[PART];
    // Before the middle sines and n change sign.
    let (value, weighed) = match (MIRRORED, PART) {
        (false, _) => (value, weighed),
        (true, 0) => (value, -weighed),
        (true, _) => (-value, weighed),
    };
    let mut carry = i64::from(code) * i64::from(value);
    for (level, sum) in sums.iter_mut().enumerate() {
        if ORDER == 2 && level == 1 {
            carry = i64::from(code) * i64::from(weighed);
        }
        sum[PART] = sum[PART].wrapping_add(carry);
        carry = sum[PART];
    }
}
