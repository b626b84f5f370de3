//! **Loops for vector units**: the machine's widest is found at run time, so that one binary serves all. Sums
//! are added in the order that its width gives: their last digits differ from machine to machine.

use pulp::{Arch, Simd, WithSimd};
use std::f64::consts::TAU;

/// Two tables and what they are multiplied with: the segments of `x` from each of `starts`, as long as they.
#[derive(Debug, Clone, Copy)]
pub struct Products<'a> {
    /// Values.
    pub x: &'a [f64],
    /// Where each segment starts.
    pub starts: &'a [usize],
    /// Both tables.
    pub tables: [&'a [f64]; 2],
}

impl Products<'_> {
    /// Hands on the sums of each segment's products with both tables.
    pub fn each(self, take: impl FnMut([f64; 2])) {
        Arch::new().dispatch(Each { of: self, take });
    }
}

struct Each<'a, F> {
    of: Products<'a>,
    take: F,
}

impl<F: FnMut([f64; 2])> WithSimd for Each<'_, F> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        let Products { x, starts, tables } = self.of;
        let length = tables[0].len();
        let [a, b] = [tables[0], &tables[1][..length]].map(S::as_simd_f64s);
        let total = |parts: [S::f64s; 2], x: &[f64], t: &[f64]| -> f64 {
            let rest: f64 = x.iter().zip(t).map(|(x, t)| x * t).sum();
            simd.reduce_sum_f64s(simd.add_f64s(parts[0], parts[1])) + rest
        };
        // Two segments at once: a value of a table is loaded for both. An odd one out goes with itself.
        for pair in starts.chunks(2) {
            let [x, y] = [pair[0], pair[pair.len() - 1]]
                .map(|start| S::as_simd_f64s(&x[start..start + length]));
            // Two sums of each: the next does not wait for the last.
            let mut sums = [[[simd.splat_f64s(0.0); 2]; 2]; 2];
            let twos = x.0.chunks(2).zip(y.0.chunks(2)).zip(a.0.chunks(2).zip(b.0.chunks(2)));
            for ((x, y), (a, b)) in twos {
                for k in 0..x.len() {
                    sums[0][0][k] = simd.mul_add_e_f64s(x[k], a[k], sums[0][0][k]);
                    sums[0][1][k] = simd.mul_add_e_f64s(x[k], b[k], sums[0][1][k]);
                    sums[1][0][k] = simd.mul_add_e_f64s(y[k], a[k], sums[1][0][k]);
                    sums[1][1][k] = simd.mul_add_e_f64s(y[k], b[k], sums[1][1][k]);
                }
            }
            (self.take)([total(sums[0][0], x.1, a.1), total(sums[0][1], x.1, b.1)]);
            if pair.len() == 2 {
                (self.take)([total(sums[1][0], y.1, a.1), total(sums[1][1], y.1, b.1)]);
            }
        }
    }
}

/// Sum of (c - 2 b + a)^2.
#[must_use]
pub fn second_differences(a: &[f64], b: &[f64], c: &[f64]) -> f64 {
    let length = a.len();
    Arch::new().dispatch(Differences { a, b: &b[..length], c: &c[..length] })
}

struct Differences<'a> {
    a: &'a [f64],
    b: &'a [f64],
    c: &'a [f64],
}

impl WithSimd for Differences<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> f64 {
        let [a, b, c] = [self.a, self.b, self.c].map(S::as_simd_f64s);
        let mut sums = [simd.splat_f64s(0.0); 4];
        let minus_two = simd.splat_f64s(-2.0);
        for ((a, b), c) in a.0.chunks(4).zip(b.0.chunks(4)).zip(c.0.chunks(4)) {
            for k in 0..a.len() {
                let d = simd.mul_add_e_f64s(minus_two, b[k], simd.add_f64s(a[k], c[k]));
                sums[k] = simd.mul_add_e_f64s(d, d, sums[k]);
            }
        }
        let rest = a.1.iter().zip(b.1).zip(c.1).map(|((a, b), c)| (a + c - 2.0 * b).powi(2));
        let halves = [simd.add_f64s(sums[0], sums[1]), simd.add_f64s(sums[2], sums[3])];
        simd.reduce_sum_f64s(simd.add_f64s(halves[0], halves[1])) + rest.sum::<f64>()
    }
}

/// Cosine and sine of 2 pi `cycles` n for n = 0 to `length`: the sine itself every 64 values, one product of
/// complex numbers between, so that no error grows.
pub fn each_turn(cycles: f64, length: usize, mut take: impl FnMut(usize, f64, f64)) {
    const BLOCK: usize = 64;
    let turn = |n: usize| {
        let (sine, cosine) = (TAU * (cycles * n as f64).fract()).sin_cos();
        [cosine, sine]
    };
    let small: [[f64; 2]; BLOCK] = std::array::from_fn(turn);
    for from in (0..length).step_by(BLOCK) {
        let [c, s] = turn(from);
        for (k, [cosine, sine]) in small.iter().enumerate().take(length - from) {
            take(from + k, c * cosine - s * sine, s * cosine + c * sine);
        }
    }
}
