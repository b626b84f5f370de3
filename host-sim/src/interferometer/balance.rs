//! **Balance** of a detector and its complement: fringes move them against each other, the laser's intensity
//! together.

/// Gain of the first over that of its complement, from pairs of their values while fringes pass: the longer
/// axis of the pairs' scatter. `None` where it does not fall, or nothing moves.
#[must_use]
pub fn fitted(pairs: impl Iterator<Item = [f64; 2]> + Clone) -> Option<f64> {
    let count = pairs.clone().count() as f64;
    let sum = pairs.clone().fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
    let mean = sum.map(|s| s / count);
    let [xx, yy, xy] = pairs.fold([0.0; 3], |[xx, yy, xy], p| {
        let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
        [xx + x * x, yy + y * y, xy + x * y]
    });
    let half = (xx - yy) / 2.0;
    let longer = half + half.hypot(xy);
    // The axis is (longer, xy) about the mean: slope of the first over the second.
    (xy < 0.0 && longer > 0.0).then(|| longer / -xy)
}
