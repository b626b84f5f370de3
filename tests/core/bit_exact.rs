//! Naive twins of the integer stages, equal to the last bit: written from the module
//! documentation in the most literal way (whole convolutions, one sample at a time, everything
//! in 128 bits or more), never from the code.

use proptest::prelude::ProptestConfig;

#[path = "bit_exact/front_end.rs"]
mod front_end;
#[path = "bit_exact/no_panic.rs"]
mod no_panic;
#[path = "bit_exact/pruned.rs"]
mod pruned;
#[path = "bit_exact/readout.rs"]
mod readout;
#[path = "bit_exact/slow_stages.rs"]
mod slow_stages;

/// x / 2^shift, the nearest integer, the even one of two.
fn round_even(x: i128, shift: i32) -> i128 {
    if shift <= 0 {
        return x << -shift;
    }
    let unit = 1i128 << shift;
    let (floor, rest) = (x.div_euclid(unit), x.rem_euclid(unit));
    match (2 * rest).cmp(&unit) {
        std::cmp::Ordering::Less => floor,
        std::cmp::Ordering::Equal => floor + floor.rem_euclid(2),
        std::cmp::Ordering::Greater => floor + 1,
    }
}

/// So many cases, or as few as `PROPTEST_CASES` says: faults put in one at a time are tried by few each
/// (DEVELOPERS.md). No regression files: a case found is worth a test of its own.
fn cases(cases: u32) -> ProptestConfig {
    let few = std::env::var("PROPTEST_CASES").ok().and_then(|few| few.parse().ok());
    let cases = few.unwrap_or(cases).min(cases);
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

/// Repeatable noise: Steele, Lea and Flood's splitmix64 (2014, recalled).
struct Noise(u64);
impl Noise {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let x = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^ (x >> 31)
    }
    fn below(&mut self, end: usize) -> usize {
        (self.next() % end as u64) as usize
    }
    /// Codes within b bits: spread evenly, or the two ends of the range.
    fn codes(&mut self, bits: u32, ends: bool, count: usize) -> Vec<i32> {
        let code = |x: u64| (x as i32) >> (32 - bits);
        let end =
            |x: u64| if x & 1 == 0 { i32::MIN >> (32 - bits) } else { i32::MAX >> (32 - bits) };
        (0..count).map(|_| if ends { end(self.next()) } else { code(self.next()) }).collect()
    }
}
