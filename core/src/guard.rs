//! **Guards** against flipped bits: what does not flush by itself.
//!
//! Sums flush: a wrong one leaves with the filter that holds it. Positions and counters do not, and
//! are kept three times ([`Voted`]) or follow from such a number. Constants cannot be told from
//! wrong ones, and are summed up once a reading ([`Checksum`]).

use core::ops::{BitAnd, BitOr};

/// Three copies of a number, read by majority, bit by bit: one flipped bit changes nothing, and the
/// next [`Self::set`] removes it.
#[derive(Clone, Copy, Debug)]
pub struct Voted<T>([T; 3]);

impl<T: Copy + BitAnd<Output = T> + BitOr<Output = T>> Voted<T> {
    /// The number, three times.
    #[must_use]
    pub const fn new(value: T) -> Self {
        Self([value; 3])
    }

    /// The number that at least two copies agree on, bit by bit.
    #[inline(always)]
    #[must_use]
    pub fn get(&self) -> T {
        let [a, b, c] = self.0;
        (a & b) | (c & (a | b))
    }

    /// Replaces all copies.
    #[inline(always)]
    pub fn set(&mut self, value: T) {
        self.0 = [value; 3];
    }
}

/// Weighted sum of words modulo 2^32. As every weight is odd, no change of a single word leaves the
/// sum as it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Checksum(u32);

impl Checksum {
    /// Of nothing. Unlike zero: memory that has been wiped is noticed, too.
    pub(crate) const START: Self = Self(1);
    /// Of no plan: what no plan sums up to by chance only.
    pub(crate) const NONE: Self = Self(0);

    /// The sum, for a message.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        self.0
    }

    /// Adds a word; all before it are weighted once more.
    #[inline(always)]
    pub fn add(&mut self, word: u32) {
        self.0 = self.0.wrapping_mul(0x9e37_79b1).wrapping_add(word);
    }

    /// Adds a number of the machine's size.
    #[inline(always)]
    pub fn add_size(&mut self, word: usize) {
        self.add(word as u32);
    }

    /// Adds a long word, the lower half first.
    #[inline(never)]
    pub fn add_long(&mut self, word: i64) {
        self.add(word as u32);
        self.add((word >> 32) as u32);
    }

    /// Adds words.
    #[inline(never)]
    pub fn add_all(&mut self, words: &[i32]) {
        words.iter().for_each(|word| self.add(*word as u32));
    }

    /// Adds long words.
    #[inline(never)]
    pub fn add_all_long(&mut self, words: &[i64]) {
        words.iter().for_each(|word| self.add_long(*word));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_of_three_agree() {
        for copies in 0..8u8 {
            let copy = |n: u8| if copies >> n & 1 == 1 { 0b1010u8 } else { 0b0110 };
            let voted = Voted([copy(0), copy(1), copy(2)]);
            let want = if copies.count_ones() >= 2 { 0b1010 } else { 0b0110 };
            assert_eq!(voted.get(), want, "{copies:03b}");
        }
    }

    #[test]
    fn sums_tell_words_and_their_order() {
        let sum = |words: &[i32]| {
            let mut sum = Checksum::START;
            sum.add_all(words);
            sum
        };
        assert_ne!(sum(&[1, 2]), sum(&[2, 1]));
        assert_ne!(sum(&[0]), sum(&[0, 0]));
        assert_ne!(Checksum::START, Checksum::NONE);
        let mut size = Checksum::START;
        size.add_size(7);
        assert_eq!(size, sum(&[7]));
        assert_eq!(size.to_bits(), 0x9e37_79b1 + 7);
        let mut long = Checksum::START;
        long.add_all_long(&[0x2_0000_0001, -1]);
        assert_eq!(long, sum(&[1, 2, -1, -1]));
    }
}
