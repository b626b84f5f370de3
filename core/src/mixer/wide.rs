//! A whole section on a host: all channels side by side, by the vectors that the machine has.

use super::Turn;
use crate::lanes::{LANES, lanes};
use crate::over_range::Ends;

/// Codes of a whole section, order 2, into each channel's S_1 and sum of n x, by pairs about the `middle`: in-phase and
/// quadrature of both. What was seen of them.
pub(super) fn add_whole<const ORDER: usize>(
    sums: &mut [[[i64; 2]; ORDER]],
    codes: &[i32],
    middle: usize,
    turns: &[Turn],
    ends: Ends,
) -> i32 {
    let channels = sums.len();
    let mut seen = 0;
    for (first, sums) in (0..channels).step_by(LANES).zip(sums.chunks_mut(LANES)) {
        let group = Group { codes, channels, first, middle, turns };
        let Gathered { parts, least, most } = pulp::Arch::new().dispatch(group);
        for (lane, sums) in sums.iter_mut().enumerate() {
            if let [first, second, ..] = sums.as_mut_slice() {
                for part in 0..2 {
                    first[part] = first[part].wrapping_add(parts[part][lane]);
                    second[part] = second[part].wrapping_add(parts[2 + part][lane]);
                }
            }
        }
        seen = least.iter().chain(&most).fold(seen, |seen, code| ends.look(seen, *code));
    }
    seen
}

/// Some channels of a section.
struct Group<'a> {
    codes: &'a [i32],
    channels: usize,
    first: usize,
    middle: usize,
    turns: &'a [Turn],
}

/// Sums of each lane's channel, and its least and largest code. Lanes without a channel take what follows.
struct Gathered {
    /// S_1 in-phase and quadrature, sum of n x in-phase and quadrature.
    parts: [[i64; LANES]; 4],
    least: [i32; LANES],
    most: [i32; LANES],
}

impl Gathered {
    /// A code of each channel, `n` samples behind the middle, and the one as far before it.
    #[inline(always)]
    fn add(&mut self, after: [i32; LANES], before: [i32; LANES], turn: &Turn) {
        let [cosine, sine] = turn;
        let factors = [cosine[0], sine[0], cosine[1], sine[1]].map(i64::from);
        for lane in 0..LANES {
            let (a, b) = (after[lane], before[lane]);
            self.least[lane] = self.least[lane].min(a).min(b);
            self.most[lane] = self.most[lane].max(a).max(b);
            // Cosines are alike on both sides, sines and n opposite.
            let (sum, difference) = (i64::from(a.wrapping_add(b)), i64::from(a.wrapping_sub(b)));
            let words = [sum, difference, difference, sum];
            for ((part, word), factor) in self.parts.iter_mut().zip(words).zip(factors) {
                part[lane] = part[lane].wrapping_add(word * factor);
            }
        }
    }
}

impl Group<'_> {
    /// Codes of a frame, zeros behind the last one of all.
    #[inline(always)]
    fn frame(&self, number: usize) -> [i32; LANES] {
        lanes(self.codes, number * self.channels + self.first)
    }
}

impl pulp::NullaryFnOnce for Group<'_> {
    type Output = Gathered;

    #[inline(always)]
    fn call(self) -> Gathered {
        let mut all = Gathered { parts: [[0; LANES]; 4], least: [0; LANES], most: [0; LANES] };
        for (n, turn) in self.turns.iter().enumerate() {
            // The middle one has no partner; nor has the first of all where their number is even: behind the last are zeros.
            let after = if n > 0 { self.frame(self.middle + n) } else { [0; LANES] };
            let Some(before) = self.middle.checked_sub(n) else { break };
            all.add(after, self.frame(before), turn);
        }
        all
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::super::{middle, sums, table_length};
    use super::*;
    use crate::made_up::made_up;
    use std::vec::Vec;

    /// The sums of codes one by one, and an end wherever it stands.
    #[test]
    fn all_channels_at_once() {
        let mut made_up = made_up(3);
        let mut next = || (made_up() >> 33) as i32;
        let ends = Ends::new(31);
        for channels in [1, 2, 7, 8, 9, 16, 17, 20] {
            for whole in [1u32, 2, 3, 30, 31] {
                let mut turns: Vec<Turn> = (0..table_length(whole))
                    .map(|n| {
                        let (cosine, sine) = (next() >> 8, next() >> 8);
                        [[cosine, cosine * n as i32], [sine, sine * n as i32]]
                    })
                    .collect();
                // The phase at the middle.
                turns[0][1] = [0, 0];
                let mut codes: Vec<i32> =
                    (0..channels * whole as usize).map(|_| (next() >> 1) - (1 << 29)).collect();
                let mut is = std::vec![[[5i64, 6], [7, 8]]; channels];
                let mut want = is.clone();
                let middle = middle(whole) as usize;
                let seen = add_whole::<2>(&mut is, &codes, middle, &turns, ends);
                assert!(!ends.met(seen), "{channels} x {whole}: no end");
                for (channel, want) in want.iter_mut().enumerate() {
                    let place = [channels, channel];
                    sums::add_some::<2, 0>(want, &codes, place, [0, middle], &turns);
                }
                assert_eq!(is, want, "{channels} x {whole}");
                let at = next() as usize % codes.len();
                for end in [-(1 << 30), (1 << 30) - 1] {
                    codes[at] = end;
                    let seen = add_whole::<2>(&mut is, &codes, middle, &turns, ends);
                    assert!(ends.met(seen), "{channels} x {whole}: {end} at {at}");
                }
            }
        }
    }
}
