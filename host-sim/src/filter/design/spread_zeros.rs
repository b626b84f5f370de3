//! **Spread zeros**: taps for narrow stop bands around all multiples of the output rate.
//!
//! A boxcar as long as the ratio D has a zero at every multiple of the output rate. Turned by an
//! angle a, its zeros stand beside them; with its mirror, taps stay real. m boxcars put m zeros into
//! each band; spread like those of a Chebyshev polynomial they make its largest gain least
//! (boxcars with turned zeros: Lo Presti 2000, recalled).

use std::f64::consts::{PI, TAU};

/// m (D - 1) + 1 taps with m zeros in each band of `half` cycles a sample to either side of every
/// multiple of 1/`ratio`; their sum is 1.
#[must_use]
pub fn taps(zeros: usize, ratio: u64, half: f64) -> Vec<f64> {
    let mut taps = vec![1.0];
    // A lone zero stands in the middle; the others come in pairs.
    if zeros % 2 == 1 {
        taps = convolve(&taps, &vec![1.0; ratio as usize]);
    }
    for k in 0..zeros / 2 {
        let at = half * (PI * (2 * k + 1) as f64 / (2 * zeros) as f64).cos();
        taps = convolve(&taps, &turned(ratio, at));
    }
    let sum: f64 = taps.iter().sum();
    // Both halves alike to the last bit.
    let mirrored = taps.iter().zip(taps.iter().rev());
    mirrored.map(|(a, b)| (a + b) / (2.0 * sum)).collect()
}

/// Boxcar turned by `at` cycles a sample, times the one turned back: sum over i + j = n of
/// cos(2 pi at (i - j)).
fn turned(ratio: u64, at: f64) -> Vec<f64> {
    let d = ratio as i64;
    let tap = |n: i64| {
        let first = (n - (d - 1)).max(0);
        (first..=n.min(d - 1)).map(|i| (TAU * at * (2 * i - n) as f64).cos()).sum()
    };
    (0..=2 * (d - 1)).map(tap).collect()
}

fn convolve(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; a.len() + b.len() - 1];
    for (i, x) in a.iter().enumerate() {
        out[i..].iter_mut().zip(b).for_each(|(y, b)| *y += x * b);
    }
    out
}
