//! **Over-range watch.** Looks for codes at the ends of the converter's range: there the converter
//! clips, and a clipped carrier reads wrong without looking wrong.
//!
//! The sample loops ([`crate::fold`], [`crate::mixer`]) look at every code beside summing it, and gather in one
//! word what they saw of a block ([`Ends::look`]). Where that word tells of an end, the block, still in memory,
//! is looked at code by code ([`OverRange::note`]): which channels it was goes into every reading that the
//! codes are part of ([`crate::readout`]).
//!
//! **Why nothing is missed.** L = 2^(b-1), the ends are -L and L - 1. A look makes of a code x the number
//! t(x) = floor(x c/2^32) + L/4 with c = 2^30 + e, e the least integer with e (L - 1) >= 2^30. t never
//! falls as x rises. At the upper end (L - 1) c = (L - 1) 2^30 + (L - 1) e >= L 2^30, so t(L - 1) >= L/2: bit b - 2
//! or one above it is set there and for all codes beyond, as t stays below 2^31. At the lower end -L c < -L 2^30,
//! so t(-L) < 0: the sign is set there and for all beyond. For codes between them t is within 0 to
//! L/2 - 1 but for -L + 1, which e's rounding may take for an end: all those bits are clear. The OR of all t thus
//! has a bit from b - 2 on exactly where a code was at an end or beyond, or -L + 1; the second look tells.

pub(crate) mod energy;

use crate::guard::Checksum;
use crate::word::{divide_long, least};

/// Words that a loop which looks alone gathers in.
const LANES: usize = if cfg!(target_os = "none") { 1 } else { 16 };
/// A board's core has an instruction for the upper half of a product; the smallest, which cannot exchange words in memory
/// either, has none for a product of two words.
const BY_PRODUCT: bool = cfg!(all(target_os = "none", target_has_atomic = "32"));

/// What a sample loop needs to look for the ends of b-bit codes: two instructions a code on a small core.
#[derive(Clone, Copy, Debug)]
pub struct Ends {
    /// c.
    factor: i32,
    /// L/4.
    bias: i32,
    /// b - 2: from this bit on a look tells of an end.
    bit: u32,
}

impl Ends {
    /// Of no plan.
    pub(crate) const NONE: Self = Self { factor: 0, bias: 0, bit: 0 };

    /// Ends of codes of 8 to 32 bits; others are taken as the nearest of these.
    #[must_use]
    pub const fn new(code_bits: u32) -> Self {
        let bits = if code_bits < 8 { 8 } else { least(code_bits, 32) };
        let (more, rest) = divide_long(1 << 30, (1 << (bits - 1)) - 1);
        let more = more as i32 + (rest > 0) as i32;
        Self { factor: (1 << 30) + more, bias: 1 << (bits - 3), bit: bits - 2 }
    }

    /// What one code adds to what was `seen`.
    ///
    /// In: any `i32`; c below 2^31. Product in `i64`, its upper half within +-2^30, biased within `i32`: nothing
    /// wraps. On a host the code as it is judged in the second look, as vectors have no upper half of a product.
    #[inline(always)]
    #[must_use]
    pub const fn look(self, seen: i32, code: i32) -> i32 {
        seen | if BY_PRODUCT { self.by_product(code) } else { reach(code) }
    }

    /// What is seen of all `codes`, `BLOCK` a turn: for a loop that has no registers left to look by itself. As
    /// generic as these, so that it takes the image's own level.
    #[inline(never)]
    #[must_use]
    pub fn look_over<const BLOCK: usize>(self, codes: &[i32]) -> i32 {
        let (blocks, rest) = codes.as_chunks::<BLOCK>();
        let mut seen = [0; LANES];
        for block in blocks {
            for (n, code) in block.iter().enumerate() {
                seen[n % LANES] = self.look(seen[n % LANES], *code);
            }
        }
        let seen = seen.iter().fold(0, |all, seen| all | seen);
        rest.iter().fold(seen, |seen, code| self.look(seen, *code))
    }

    #[inline(always)]
    const fn by_product(self, code: i32) -> i32 {
        let upper = (code as i64 * self.factor as i64) >> 32;
        (upper as i32).wrapping_add(self.bias)
    }

    /// What a chunk adds to what was seen if nothing proves it free of ends.
    pub(crate) const UNPROVEN: i32 = -1;

    /// Whether codes are narrow enough for [`energy`].
    #[inline(always)]
    pub(crate) const fn are_proven_by_energy(self) -> bool {
        energy::BY_ENERGY && self.bit <= 24
    }

    /// b.
    #[inline(always)]
    pub(crate) const fn bits(self) -> u32 {
        self.bit + 2
    }

    /// L - 1, the upper end.
    const fn last(self) -> u32 {
        (2 << self.bit) - 1
    }

    /// Whether what was seen tells of an end.
    #[inline(always)]
    #[must_use]
    pub const fn met(self, seen: i32) -> bool {
        if BY_PRODUCT { seen >> self.bit != 0 } else { seen as u32 >> (self.bit + 1) != 0 }
    }

    /// Whether the code is at an end or beyond.
    #[must_use]
    pub const fn is_end(self, code: i32) -> bool {
        reach(code) as u32 >> (self.bit + 1) != 0
    }
}

/// |code|, for negatives less one, plus one: 2^(b-1) or more exactly for the two end codes of a b-bit converter and
/// all beyond; 2^31 at most, as `u32`.
#[inline(always)]
const fn reach(code: i32) -> i32 {
    (code ^ (code >> 31)).wrapping_add(1)
}

/// Channels that met an end code of the converter or one beyond since the last [`Self::take`].
#[derive(Clone, Copy, Debug)]
pub struct OverRange {
    /// Bit c: channel c.
    over: u32,
    channels: usize,
    ends: Ends,
}

impl OverRange {
    /// Of no plan.
    pub(crate) const IDLE: Self = Self { over: 0, channels: 0, ends: Ends::NONE };

    /// A watch over `channels` channels, 1 to 32, of codes of 8 to 32 bits.
    #[must_use]
    pub const fn new(channels: usize, code_bits: u32) -> Self {
        Self { over: 0, channels, ends: Ends::new(code_bits) }
    }

    /// What the sample loops look by.
    #[inline(always)]
    #[must_use]
    pub const fn ends(&self) -> Ends {
        self.ends
    }

    /// Forgets what was seen.
    pub fn seek(&mut self) {
        self.over = 0;
    }

    /// Takes what a sample loop saw of whole `frames`: where that tells of an end, looks whose it was.
    #[inline(always)]
    pub fn note(&mut self, seen: i32, frames: &[i32]) {
        // Most of what is not proven holds no end: that is soon seen.
        if self.ends.met(seen) && self.ends.met(self.ends.look_over::<8>(frames)) {
            self.look_again(frames);
        }
    }

    #[cold]
    #[inline(never)]
    fn look_again(&mut self, frames: &[i32]) {
        // None only by a flipped bit.
        for frame in frames.chunks_exact(self.channels.max(1)) {
            for (channel, code) in (0u32..).zip(frame) {
                self.over |= u32::from(self.ends.is_end(*code)) << (channel & 31);
            }
        }
    }

    /// Sums up what never changes.
    pub fn check(&self, sum: &mut Checksum) {
        let Ends { factor, bias, bit } = self.ends;
        sum.add_size(self.channels);
        sum.add_all(&[factor, bias]);
        sum.add(bit);
    }

    /// Channels that met an end code or one beyond since the last call: bit c for channel c.
    pub fn take(&mut self) -> u32 {
        core::mem::take(&mut self.over)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every code of up to 20 bits, and those about the ends of all wider ones: a look tells of an end exactly at
    /// the ends and beyond, and perhaps one before the lower one.
    #[test]
    fn a_look_misses_no_end() {
        for bits in 8..=32u32 {
            let ends = Ends::new(bits);
            let end = 1i64 << (bits - 1);
            let told = |code: i64| {
                let code = code as i32;
                assert_eq!(ends.met(ends.look(0, code)), ends.is_end(code), "{bits} bits, {code}");
                ends.by_product(code) >> ends.bit != 0
            };
            let mut judge = |code: i64| {
                if i32::try_from(code).is_err() {
                    return;
                }
                let at_end = code >= end - 1 || code <= -end;
                assert_eq!(ends.is_end(code as i32), at_end);
                if code != 1 - end {
                    assert_eq!(told(code), at_end, "{bits} bits, {code}");
                }
            };
            if bits <= 20 {
                (-2 * end..=2 * end).for_each(&mut judge);
            }
            for near in [-end, end, 0, i64::from(i32::MIN), i64::from(i32::MAX)] {
                (near - 1000..near + 1000).for_each(&mut judge);
            }
        }
    }

    /// Of a whole run of codes: an end wherever it is, and two of them wherever both are.
    #[test]
    fn two_ends_do_not_hide_each_other() {
        let ends = Ends::new(18);
        for length in [1, 7, 8, 23, 24] {
            let mut codes = [100; 24];
            let codes = &mut codes[..length];
            assert!(!ends.met(ends.look_over::<8>(codes)), "{length}");
            for first in 0..length {
                for second in first..length {
                    for (a, b) in [(131_071, 131_071), (-131_072, 131_071), (-131_072, -131_072)] {
                        (codes[first], codes[second]) = (a, b);
                        assert!(ends.met(ends.look_over::<8>(codes)), "{length}: {first} {second}");
                        (codes[first], codes[second]) = (100, 100);
                    }
                }
            }
        }
    }
}
