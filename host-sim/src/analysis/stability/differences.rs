//! **Sums of squared differences** for many averages at once, as fast as the processor's second cache hands values on: a
//! stretch of the record is taken for all of them.

use pulp::{Arch, Simd, WithSimd};
use std::ops::Range;

/// Adds to each sum (x\[k + 2m\] - 2 x\[k + m\] + x\[k\])^2 for all k, m the average that stands where it stands.
pub fn add_second(x: &[f64], averages: &[usize], sums: &mut [f64]) {
    Arch::new().dispatch(AddSecond { x, averages, sums });
}

struct AddSecond<'a> {
    x: &'a [f64],
    averages: &'a [usize],
    sums: &'a mut [f64],
}

/// Values that are taken together, half a megabyte.
const STRETCH: usize = 1 << 16;
/// Longest average whose differences are taken so: those of longer ones reach far beyond.
const FAR: usize = STRETCH / 2;
/// Longest average whose differences are taken from a [`Table`].
const NEAR: usize = 64;
/// A table's rows with differences that begin there, and values of a row.
const ROWS: usize = 512;
const LANES: usize = 8;

/// As many parts of the record as a row has values, each down a column, and what the last differences of each reach
/// beyond: so a difference of rows is one of whole vectors, which lie in a line of the cache.
#[repr(align(64))]
struct Table([f64; (ROWS + 2 * NEAR) * LANES]);

impl WithSimd for AddSecond<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { x, averages, sums } = self;
        let starts = |m: usize| x.len().saturating_sub(2 * m);
        let mut table = Table([0.0; (ROWS + 2 * NEAR) * LANES]);
        let near = averages.iter().any(|m| *m <= NEAR);
        for from in (0..x.len()).step_by(STRETCH) {
            let to = (from + STRETCH).min(x.len());
            let mut part = from;
            while near && part < to && table.fill(&x[part..]) {
                for (sum, m) in sums.iter_mut().zip(averages).filter(|(_, m)| **m <= NEAR) {
                    *sum += table.differences(simd, *m);
                }
                part += ROWS * LANES;
            }
            for (sum, m) in sums.iter_mut().zip(averages) {
                let to = if *m <= FAR { to } else { x.len() }.min(starts(*m));
                let from = if *m <= NEAR { part } else { from };
                if from < to && (*m <= FAR || from == 0) {
                    *sum += differences(simd, &x[from..], *m, to - from);
                }
            }
        }
    }
}

impl Table {
    /// From a record's first values; false where they are too few.
    #[inline(always)]
    fn fill(&mut self, x: &[f64]) -> bool {
        let Some(x) = x.get(..ROWS * LANES + 2 * NEAR) else { return false };
        let columns: [_; LANES] = std::array::from_fn(|n| &x[n * ROWS..(n + 1) * ROWS + 2 * NEAR]);
        for (n, row) in self.0.as_chunks_mut::<LANES>().0.iter_mut().enumerate() {
            *row = columns.map(|column| column[n]);
        }
        true
    }

    #[inline(always)]
    fn differences<S: Simd>(&self, simd: S, m: usize) -> f64 {
        let [a, b, c] = [0, m, 2 * m].map(|row| &self.0[row * LANES..(row + ROWS) * LANES]);
        one_by_one(simd, a, b, c)
    }
}

/// Sum of squares of the differences that begin at the first `count` values.
#[inline(always)]
fn differences<S: Simd>(simd: S, x: &[f64], m: usize, count: usize) -> f64 {
    // As rows of m values below each other, three in a column make a difference: going down, a value that was loaded for
    // one serves the next two.
    let wide = 4 * S::F64_LANES;
    let rows = if m < wide { 0 } else { count / m };
    let mut sums = [simd.splat_f64s(0.0); 4];
    if rows > 0 {
        let x = &x[..(rows + 2) * m];
        let rest = m / wide * wide;
        for from in (0..rest).step_by(wide) {
            sums = down(simd, x, m, from, sums);
        }
        for from in (rest..m).step_by(S::F64_LANES) {
            sums[0] = down_one(simd, x, m, from..m.min(from + S::F64_LANES), sums[0]);
        }
    }
    let [a, b, c] = [0, m, 2 * m].map(|shift| &x[rows * m + shift..count + shift]);
    reduce(simd, sums) + one_by_one(simd, a, b, c)
}

/// Adds the squares of all rows of `m` values, four vectors from the value at `from` on.
#[inline(always)]
fn down<S: Simd>(simd: S, x: &[f64], m: usize, from: usize, sums: [S::f64s; 4]) -> [S::f64s; 4] {
    let vectors = |row: &[f64]| {
        let (four, _) = S::as_simd_f64s(&row[from..from + 4 * S::F64_LANES]);
        [four[0], four[1], four[2], four[3]]
    };
    let (before, rows) = x.split_at(2 * m);
    let [mut a0, mut a1, mut a2, mut a3] = vectors(before);
    let [mut b0, mut b1, mut b2, mut b3] = vectors(&before[m..]);
    let [mut sum0, mut sum1, mut sum2, mut sum3] = sums;
    for row in rows.chunks_exact(m) {
        // One after the other: there are no registers for all of a row.
        let (row, _) = S::as_simd_f64s(&row[from..from + 4 * S::F64_LANES]);
        sum0 = square(simd, a0, b0, row[0], sum0);
        (a0, b0) = (b0, row[0]);
        sum1 = square(simd, a1, b1, row[1], sum1);
        (a1, b1) = (b1, row[1]);
        sum2 = square(simd, a2, b2, row[2], sum2);
        (a2, b2) = (b2, row[2]);
        sum3 = square(simd, a3, b3, row[3], sum3);
        (a3, b3) = (b3, row[3]);
    }
    [sum0, sum1, sum2, sum3]
}

/// Adds the squares of all rows of `m` values, those of a range of each, a vector or less.
#[inline(always)]
fn down_one<S: Simd>(
    simd: S,
    x: &[f64],
    m: usize,
    range: Range<usize>,
    mut sum: S::f64s,
) -> S::f64s {
    let mut rows = x.chunks_exact(m).map(|row| simd.partial_load_f64s(&row[range.clone()]));
    let (Some(mut a), Some(mut b)) = (rows.next(), rows.next()) else { return sum };
    for c in rows {
        sum = square(simd, a, b, c, sum);
        (a, b) = (b, c);
    }
    sum
}

/// Sum of (c - 2 b + a)^2.
#[inline(always)]
fn one_by_one<S: Simd>(simd: S, a: &[f64], b: &[f64], c: &[f64]) -> f64 {
    let [a, b, c] = [a, b, c].map(S::as_simd_f64s);
    let [mut sum0, mut sum1, mut sum2, mut sum3] = [simd.splat_f64s(0.0); 4];
    let [(a4, a1), (b4, b1), (c4, c1)] = [a.0, b.0, c.0].map(<[S::f64s]>::as_chunks::<4>);
    for ((a, b), c) in a4.iter().zip(b4).zip(c4) {
        sum0 = square(simd, a[0], b[0], c[0], sum0);
        sum1 = square(simd, a[1], b[1], c[1], sum1);
        sum2 = square(simd, a[2], b[2], c[2], sum2);
        sum3 = square(simd, a[3], b[3], c[3], sum3);
    }
    for ((a, b), c) in a1.iter().zip(b1).zip(c1) {
        sum0 = square(simd, *a, *b, *c, sum0);
    }
    let rest = a.1.iter().zip(b.1).zip(c.1).map(|((a, b), c)| (a + c - 2.0 * b).powi(2));
    reduce(simd, [sum0, sum1, sum2, sum3]) + rest.sum::<f64>()
}

/// Adds (c - 2 b + a)^2.
#[inline(always)]
fn square<S: Simd>(simd: S, a: S::f64s, b: S::f64s, c: S::f64s, sum: S::f64s) -> S::f64s {
    let d = simd.mul_add_e_f64s(simd.splat_f64s(-2.0), b, simd.add_f64s(a, c));
    simd.mul_add_e_f64s(d, d, sum)
}

/// The sum of all.
#[inline(always)]
fn reduce<S: Simd>(simd: S, [a, b, c, d]: [S::f64s; 4]) -> f64 {
    simd.reduce_sum_f64s(simd.add_f64s(simd.add_f64s(a, b), simd.add_f64s(c, d)))
}
