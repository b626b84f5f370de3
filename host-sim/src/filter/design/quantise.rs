//! **Quantised** taps: integers of a stated width whose sum is exactly one.

/// Most fraction bits that the core takes.
const MOST_SCALE_BITS: u32 = 30;

/// Difference of two taps, over the largest, below which they count as each other's mirror.
const ALIKE: f64 = 1e-12;

/// Rounds taps to `tap_bits` bits, sign included, with as many fraction bits as the largest tap leaves.
/// Taps that are their own mirror stay it. The rounding of the sum goes to the middle, or, without a
/// mirror, to the largest tap, so that the gain at zero frequency is 1.
///
/// Returns the integers and their fraction bits; `None` where the taps' sum is not positive or the
/// words cannot hold a gain of 1.
#[must_use]
pub fn quantise(taps: &[f64], tap_bits: u32) -> Option<(Vec<i32>, u8)> {
    let sum: f64 = taps.iter().sum();
    if !(sum.is_finite() && sum > 0.0) {
        return None;
    }
    let limit = 1i64 << (tap_bits - 1);
    let largest = taps.iter().map(|tap| tap.abs()).fold(0.0, f64::max);
    let mut mirrored = taps.iter().zip(taps.iter().rev());
    let symmetric = mirrored.all(|(a, b)| (a - b).abs() <= ALIKE * largest);
    (0..=MOST_SCALE_BITS.min(tap_bits + 6)).rev().find_map(|scale| {
        let unit = 2f64.powi(scale as i32) / sum;
        let mut whole: Vec<i64> = taps.iter().map(|tap| (tap * unit).round() as i64).collect();
        let last = whole.len() - 1;
        if symmetric {
            (0..whole.len() / 2).for_each(|n| whole[last - n] = whole[n]);
        }
        let rest = (1i64 << scale) - whole.iter().sum::<i64>();
        let middle = whole.len() / 2;
        if !symmetric {
            *whole.iter_mut().max_by_key(|tap| tap.abs())? += rest;
        } else if last.is_multiple_of(2) {
            whole[middle] += rest;
        } else {
            // Both sums are even but for a scale of one.
            whole[middle] += rest / 2;
            whole[middle - 1] += rest / 2;
        }
        let fits = whole.iter().all(|t| (-limit..limit).contains(t));
        let exact = whole.iter().sum::<i64>() == 1 << scale;
        (fits && exact).then(|| (whole.iter().map(|t| *t as i32).collect(), scale as u8))
    })
}
