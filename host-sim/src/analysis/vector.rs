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

/// Sum of (x\[k + 2m\] - 2 x\[k + m\] + x\[k\])^2 over the first `count` k.
#[must_use]
pub fn second_differences(x: &[f64], m: usize, count: usize) -> f64 {
    Arch::new().dispatch(Differences { x: &x[..count + 2 * m], m, count })
}

struct Differences<'a> {
    x: &'a [f64],
    m: usize,
    count: usize,
}

/// Values of a row that are looked at together: eleven rows of them stay near the processor.
const WIDTH: usize = 256;

impl WithSimd for Differences<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> f64 {
        let Self { x, m, count } = self;
        // As rows of m values below each other, three in a column make a difference: a value that was loaded for one
        // serves the next two. Rows that are too short for this are looked at one difference at a time.
        let rows = if m < 16 * S::F64_LANES { 0 } else { count / m / ROWS * ROWS };
        let mut sum = 0.0;
        for from in (0..if rows == 0 { 0 } else { m }).step_by(WIDTH) {
            let width = WIDTH.min(m - from);
            for row in (0..rows).step_by(ROWS) {
                sum += in_rows(simd, &x[row * m + from..], m, width);
            }
        }
        let [a, b, c] = [0, m, 2 * m].map(|shift| &x[rows * m + shift..count + shift]);
        sum + one_by_one(simd, a, b, c)
    }
}

/// Rows at once.
const ROWS: usize = 8;

/// Over [`ROWS`] rows of `m` values, the first `width` of each.
#[inline(always)]
fn in_rows<S: Simd>(simd: S, x: &[f64], m: usize, width: usize) -> f64 {
    let rows: [_; ROWS + 2] = std::array::from_fn(|n| S::as_simd_f64s(&x[n * m..n * m + width]));
    let minus_two = simd.splat_f64s(-2.0);
    let [mut even, mut odd] = [simd.splat_f64s(0.0); 2];
    let [r0, r1, r2, r3, r4, r5, r6, r7, r8, r9] = rows.map(|row| row.0);
    let first = r0.iter().zip(r1).zip(r2.iter().zip(r3));
    let last = r4.iter().zip(r5).zip(r6.iter().zip(r7)).zip(r8.iter().zip(r9));
    for (((a, b), (c, d)), (((e, f), (g, h)), (i, j))) in first.zip(last) {
        let square = |a, b, c, sum| {
            let d = simd.mul_add_e_f64s(minus_two, b, simd.add_f64s(a, c));
            simd.mul_add_e_f64s(d, d, sum)
        };
        even = square(*a, *b, *c, even);
        odd = square(*b, *c, *d, odd);
        even = square(*c, *d, *e, even);
        odd = square(*d, *e, *f, odd);
        even = square(*e, *f, *g, even);
        odd = square(*f, *g, *h, odd);
        even = square(*g, *h, *i, even);
        odd = square(*h, *i, *j, odd);
    }
    let rest = |n: usize| {
        let three = rows[n].1.iter().zip(rows[n + 1].1).zip(rows[n + 2].1);
        three.map(|((a, b), c)| (a + c - 2.0 * b).powi(2)).sum::<f64>()
    };
    simd.reduce_sum_f64s(simd.add_f64s(even, odd)) + (0..ROWS).map(rest).sum::<f64>()
}

/// Sum of (c - 2 b + a)^2.
#[inline(always)]
fn one_by_one<S: Simd>(simd: S, a: &[f64], b: &[f64], c: &[f64]) -> f64 {
    let [a, b, c] = [a, b, c].map(S::as_simd_f64s);
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
