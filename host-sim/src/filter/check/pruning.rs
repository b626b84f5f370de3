//! **Pruning**: bits rounded off at the stages of a CIC, and the noise of that at its output.
//!
//! Hogenauer 1981, section III: an error of variance 1/12 of its step made at stage j reaches the
//! output through the rest of the cascade, with a variance gain F_j^2, the sum of the squares of that
//! rest's impulse response; stages 1 to N are integrators, N + 1 to 2 N combs, 2 N + 1 the output.

/// Impulse response from the input of stage `j`, 1 to 2 N, to the output, in steps of the input rate for
/// integrators and of the output rate for combs.
#[must_use]
pub fn response(order: usize, ratio: usize, delay: usize, j: usize) -> Vec<i128> {
    let mut h = vec![1i128];
    if j > order {
        // The combs that are left, at the output rate.
        for _ in 0..2 * order + 1 - j {
            h = comb(&h, delay);
        }
        return h;
    }
    // Each integrator left makes a boxcar of a comb's (1 - z^-RM); combs over stay combs.
    for _ in 0..order + 1 - j {
        let mut sum = 0;
        let width = ratio * delay;
        let longer = (0..h.len() + width - 1).map(|n| {
            sum += h.get(n).copied().unwrap_or(0);
            sum -= n.checked_sub(width).map_or(0, |m| h[m]);
            sum
        });
        h = longer.collect();
    }
    for _ in 0..j - 1 {
        h = comb(&h, ratio * delay);
    }
    h
}

fn comb(h: &[i128], delay: usize) -> Vec<i128> {
    let value = |n: Option<usize>| n.and_then(|n| h.get(n)).copied().unwrap_or(0);
    (0..h.len() + delay).map(|n| value(Some(n)) - value(n.checked_sub(delay))).collect()
}

/// Variance gain F_j^2 of stage `j`, 1 to 2 N + 1.
#[must_use]
pub fn variance_gain(order: usize, ratio: usize, delay: usize, j: usize) -> i128 {
    if j == 2 * order + 1 {
        return 1;
    }
    response(order, ratio, delay, j).iter().map(|h| h * h).sum()
}

/// Bits that stages 1 to 2 N + 1 of a cascade in logic may discard so that all together add no more
/// noise than rounding the output of `bits_in` + growth bits to `bits_out` does: Hogenauer 1981,
/// equation 21, B_j = floor(-log2 F_j + log2 sigma_T + (1/2) log2 (6/N)), in integers (in floating point
/// it is off by one where it is a whole number), none below zero.
#[must_use]
pub fn discards(order: usize, ratio: usize, delay: usize, bits_in: u32, bits_out: u32) -> Vec<u32> {
    let full = quietgap_core::cic::width(bits_in, order as u32, ratio as u32, delay as u32);
    let total = full.saturating_sub(bits_out);
    let stage = |j: usize| {
        // 4^B 2 N F^2 <= 4^total.
        let gain = variance_gain(order, ratio, delay, j) * 2 * order as i128;
        (0..=total).rev().find(|b| gain << (2 * b) <= 1i128 << (2 * total)).unwrap_or(0)
    };
    (1..=2 * order).map(stage).chain([total]).collect()
}

/// Variance at the output, in the register's own steps, of rounding a section's sums once every
/// `section` samples: each sum enters at its integrator.
#[must_use]
pub fn section_variance(order: usize, ratio: usize, delay: usize, section: usize) -> f64 {
    let of = |j: usize| -> f64 {
        // Sections end at multiples of their length within an interval, and with it.
        let mut h = response(order, ratio, delay, j);
        if j < order {
            // An integrator's state is changed behind its sample: the next one sees it a sample later.
            h.insert(0, 0);
        }
        let ends = (0..h.len()).filter(|n| {
            // Samples before an interval's last one.
            let before = n % ratio;
            before == 0 || (ratio - before).is_multiple_of(section)
        });
        ends.map(|n| (h[n] as f64).powi(2)).sum()
    };
    (1..=order).map(of).sum::<f64>() / 12.0
}
