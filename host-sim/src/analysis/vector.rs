//! **Loops for vector units**: the machine's widest is found at run time, so that one binary serves all. Sums
//! are added in the order that its width gives: their last digits differ from machine to machine.

use pulp::{Arch, Simd, WithSimd};

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
        // Four segments at once: a value of a table is loaded for all, and no sum waits for the last one's.
        let (fours, rest) = starts.as_chunks::<4>();
        for four in fours {
            segments(simd, x, *four, tables).into_iter().for_each(&mut self.take);
        }
        match *rest {
            [a] => segments(simd, x, [a], tables).into_iter().for_each(&mut self.take),
            [a, b] => segments(simd, x, [a, b], tables).into_iter().for_each(&mut self.take),
            [a, b, c] => segments(simd, x, [a, b, c], tables).into_iter().for_each(&mut self.take),
            _ => {}
        }
    }
}

/// Sums of some segments' products with both tables.
#[inline(always)]
fn segments<S: Simd, const N: usize>(
    simd: S,
    x: &[f64],
    starts: [usize; N],
    tables: [&[f64]; 2],
) -> [[f64; 2]; N] {
    let length = tables[0].len();
    let [a, b] = [tables[0], &tables[1][..length]].map(S::as_simd_f64s);
    let xs = starts.map(|start| S::as_simd_f64s(&x[start..start + length]));
    let count = a.0.len();
    let (heads, b_head) = (xs.map(|x| &x.0[..count]), &b.0[..count]);
    let mut sums = [[simd.splat_f64s(0.0); 2]; N];
    for k in 0..count {
        for (sums, x) in sums.iter_mut().zip(&heads) {
            sums[0] = simd.mul_add_e_f64s(x[k], a.0[k], sums[0]);
            sums[1] = simd.mul_add_e_f64s(x[k], b_head[k], sums[1]);
        }
    }
    let rest = |x: &[f64], t: &[f64]| x.iter().zip(t).map(|(x, t)| x * t).sum::<f64>();
    std::array::from_fn(|n| {
        [
            simd.reduce_sum_f64s(sums[n][0]) + rest(xs[n].1, a.1),
            simd.reduce_sum_f64s(sums[n][1]) + rest(xs[n].1, b.1),
        ]
    })
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
