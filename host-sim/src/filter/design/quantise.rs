//! **Quantised** taps: integers of a stated width whose sum is exactly one.

/// Most fraction bits that the core takes.
const MOST_SCALE_BITS: u32 = 30;

/// Rounds symmetric taps to `tap_bits` bits, sign included, with as many fraction bits as the largest
/// tap leaves; the rounding of the sum goes to the middle, so that the gain at zero frequency is 1.
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
    (0..=MOST_SCALE_BITS.min(tap_bits + 6)).rev().find_map(|scale| {
        let unit = 2f64.powi(scale as i32) / sum;
        let half = taps.len().div_ceil(2);
        let mut whole: Vec<i64> = vec![0; taps.len()];
        for n in 0..half {
            let value = (taps[n] * unit).round() as i64;
            whole[n] = value;
            whole[taps.len() - 1 - n] = value;
        }
        let rest = (1i64 << scale) - whole.iter().sum::<i64>();
        let middle = taps.len() / 2;
        if taps.len() % 2 == 1 {
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
