//! **Balance** of a detector and its complement: fringes move them against each other, the laser's intensity
//! together.

/// Rounds in which each pair's light frees the other's of intensity.
const ROUNDS: usize = 3;

/// Gains of the in-phase and the quadrature detector over their complements'. `None` where no fringes pass.
#[must_use]
pub fn of_both(frames: &[[f64; 4]]) -> Option<[f64; 2]> {
    let pair = |n: usize| -> Vec<[f64; 2]> { frames.iter().map(|f| [f[n], f[n + 1]]).collect() };
    let pairs = [pair(0), pair(2)];
    let mut gains = [fitted(&pairs[0])?, fitted(&pairs[1])?];
    for _ in 0..ROUNDS {
        for n in 0..2 {
            let light = pairs[1 - n].iter().map(|[x, y]| x + gains[1 - n] * y);
            gains[n] = fitted(&freed(&pairs[n], &light.collect::<Vec<_>>()))?;
        }
    }
    Some(gains)
}

/// Pairs without what follows the light. Fringes that happen to go along are taken off both in the proportion that
/// they have.
fn freed(pairs: &[[f64; 2]], light: &[f64]) -> Vec<[f64; 2]> {
    let count = light.len() as f64;
    let mean = light.iter().sum::<f64>() / count;
    let square: f64 = light.iter().map(|l| (l - mean).powi(2)).sum();
    let varies = square > 0.0;
    if !varies {
        return pairs.to_vec();
    }
    let follows: [f64; 2] = std::array::from_fn(|k| {
        pairs.iter().zip(light).map(|(p, l)| p[k] * (l - mean)).sum::<f64>() / square
    });
    let off = |(p, l): (&[f64; 2], &f64)| [0, 1].map(|k| p[k] - follows[k] * (l - mean));
    pairs.iter().zip(light).map(off).collect()
}

/// Gain of the first over that of its complement, from pairs of their values while fringes pass: the longer
/// axis of the pairs' scatter. `None` where it does not fall, or nothing moves.
#[must_use]
pub fn fitted(pairs: &[[f64; 2]]) -> Option<f64> {
    let count = pairs.len() as f64;
    let sum = pairs.iter().fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
    let mean = sum.map(|s| s / count);
    let [xx, yy, xy] = pairs.iter().fold([0.0; 3], |[xx, yy, xy], p| {
        let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
        [xx + x * x, yy + y * y, xy + x * y]
    });
    let half = (xx - yy) / 2.0;
    let longer = half + half.hypot(xy);
    // The axis is (longer, xy) about the mean: slope of the first over the second.
    (xy < 0.0 && longer > 0.0).then(|| longer / -xy)
}
