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
            segments(simd, x, *four, tables, &mut self.take);
        }
        for start in rest {
            (self.take)(segment(simd, &x[*start..], tables));
        }
    }
}

/// Sums of four segments' products with both tables, each named, as an array of them would be kept in memory.
#[inline(always)]
fn segments<S: Simd>(
    simd: S,
    x: &[f64],
    starts: [usize; 4],
    tables: [&[f64]; 2],
    take: &mut impl FnMut([f64; 2]),
) {
    let length = tables[0].len();
    let [a, b] = [tables[0], &tables[1][..length]].map(S::as_simd_f64s);
    let xs = starts.map(|start| S::as_simd_f64s(&x[start..start + length]));
    let [x0, x1, x2, x3] = xs.map(|x| x.0);
    let zero = simd.splat_f64s(0.0);
    let [mut a0, mut a1, mut a2, mut a3] = [zero; 4];
    let [mut b0, mut b1, mut b2, mut b3] = [zero; 4];
    let pairs = a.0.iter().zip(b.0);
    for ((((a, b), x0), (x1, x2)), x3) in pairs.zip(x0).zip(x1.iter().zip(x2)).zip(x3) {
        a0 = simd.mul_add_e_f64s(*x0, *a, a0);
        b0 = simd.mul_add_e_f64s(*x0, *b, b0);
        a1 = simd.mul_add_e_f64s(*x1, *a, a1);
        b1 = simd.mul_add_e_f64s(*x1, *b, b1);
        a2 = simd.mul_add_e_f64s(*x2, *a, a2);
        b2 = simd.mul_add_e_f64s(*x2, *b, b2);
        a3 = simd.mul_add_e_f64s(*x3, *a, a3);
        b3 = simd.mul_add_e_f64s(*x3, *b, b3);
    }
    let [last_a, last_b] = [a.1, b.1].map(|rest| simd.partial_load_f64s(rest));
    for ((x, by_a), by_b) in xs.iter().zip([a0, a1, a2, a3]).zip([b0, b1, b2, b3]) {
        let last = simd.partial_load_f64s(x.1);
        let by_a = simd.mul_add_e_f64s(last, last_a, by_a);
        let by_b = simd.mul_add_e_f64s(last, last_b, by_b);
        take([by_a, by_b].map(|sums| simd.reduce_sum_f64s(sums)));
    }
}

/// Sums of one segment's.
#[inline(always)]
pub fn segment<S: Simd>(simd: S, x: &[f64], tables: [&[f64]; 2]) -> [f64; 2] {
    let length = tables[0].len();
    let [a, b, x] = [tables[0], &tables[1][..length], &x[..length]].map(S::as_simd_f64s);
    let mut sums = [simd.splat_f64s(0.0); 4];
    // Even and odd vectors apart: half as long do sums wait for the last one's.
    for ((a, b), x) in a.0.chunks(2).zip(b.0.chunks(2)).zip(x.0.chunks(2)) {
        for k in 0..a.len() {
            sums[k] = simd.mul_add_e_f64s(x[k], a[k], sums[k]);
            sums[2 + k] = simd.mul_add_e_f64s(x[k], b[k], sums[2 + k]);
        }
    }
    let [last_a, last_b, last] = [a.1, b.1, x.1].map(|rest| simd.partial_load_f64s(rest));
    let by_a = simd.mul_add_e_f64s(last, last_a, simd.add_f64s(sums[0], sums[1]));
    let by_b = simd.mul_add_e_f64s(last, last_b, simd.add_f64s(sums[2], sums[3]));
    [by_a, by_b].map(|sums| simd.reduce_sum_f64s(sums))
}
