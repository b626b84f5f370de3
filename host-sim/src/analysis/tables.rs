//! **Tables** of windows and carriers, and sums over them: plain loops over eight values side by side, which the compiler
//! turns into the vectors that the machine has.

use pulp::{Arch, Simd, WithSimd};
use std::f64::consts::TAU;
use std::ops::Range;

/// Values side by side.
const LANES: usize = 8;
/// Values from one cosine and sine to the next.
const BLOCK: usize = 64;

/// Cosines and sines of 2 pi `cycles` n for a range of n: the sine itself every 64 values, one product of complex numbers
/// between, so that no error grows.
#[must_use]
pub fn turns(cycles: f64, range: Range<usize>) -> [Vec<f64>; 2] {
    let mut tables = [vec![0.0; range.len()], vec![0.0; range.len()]];
    let [cosines, sines] = &mut tables;
    Arch::new().dispatch(Turns { cycles, from: range.start, cosines, sines });
    tables
}

struct Turns<'a> {
    cycles: f64,
    from: usize,
    cosines: &'a mut [f64],
    sines: &'a mut [f64],
}

impl WithSimd for Turns<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let turn = |n: usize| (TAU * (self.cycles * n as f64).fract()).sin_cos();
        let (mut small_c, mut small_s) = ([0.0; BLOCK], [0.0; BLOCK]);
        for (n, (c, s)) in small_c.iter_mut().zip(&mut small_s).enumerate() {
            (*s, *c) = turn(n);
        }
        let blocks = self.cosines.chunks_mut(BLOCK).zip(self.sines.chunks_mut(BLOCK));
        for (n, (cosines, sines)) in blocks.enumerate() {
            let (s, c) = turn(self.from + n * BLOCK);
            let small = small_c.iter().zip(&small_s);
            for ((cosine, sine), (by_c, by_s)) in cosines.iter_mut().zip(sines).zip(small) {
                (*cosine, *sine) = (c * by_c - s * by_s, s * by_c + c * by_s);
            }
        }
    }
}

/// Sums of terms times Chebyshev polynomials at each argument, by Clenshaw's recurrence.
pub fn chebyshev(arguments: &mut [f64], terms: &[f64]) {
    Arch::new().dispatch(Chebyshev { arguments, terms });
}

struct Chebyshev<'a> {
    arguments: &'a mut [f64],
    terms: &'a [f64],
}

impl WithSimd for Chebyshev<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let (first, others) = self.terms.split_first().expect("a window has a term");
        each_part(self.arguments, |_, values| {
            let (mut b1, mut b2) = ([0.0; LANES], [0.0; LANES]);
            for c in others.iter().rev() {
                for lane in 0..LANES {
                    let next = c + 2.0 * values[lane] * b1[lane] - b2[lane];
                    (b1[lane], b2[lane]) = (next, b1[lane]);
                }
            }
            for lane in 0..LANES {
                values[lane] = first + values[lane] * b1[lane] - b2[lane];
            }
        });
    }
}

/// Hands on [`LANES`] values at a time with the index of the first; the last ones filled up with zeros.
#[inline(always)]
fn each_part(values: &mut [f64], mut work: impl FnMut(usize, &mut [f64; LANES])) {
    let (parts, rest) = values.as_chunks_mut();
    let whole = parts.len();
    for (n, part) in parts.iter_mut().enumerate() {
        work(n * LANES, part);
    }
    let mut last = filled(rest);
    work(whole * LANES, &mut last);
    rest.copy_from_slice(&last[..rest.len()]);
}

/// Up to [`LANES`] values and zeros.
#[inline(always)]
fn filled(values: &[f64]) -> [f64; LANES] {
    let mut all = [0.0; LANES];
    all[..values.len()].copy_from_slice(values);
    all
}

/// Multiplies a table by a window; its sum then, and that of its products with n less the middle's.
pub fn weigh(table: &mut [f64], window: &[f64]) -> [f64; 2] {
    Arch::new().dispatch(Weigh { table, window })
}

struct Weigh<'a> {
    table: &'a mut [f64],
    window: &'a [f64],
}

impl WithSimd for Weigh<'_> {
    type Output = [f64; 2];

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> [f64; 2] {
        let middle = (self.table.len() as f64 - 1.0) / 2.0;
        let (mut sums, mut moments) = ([0.0; LANES], [0.0; LANES]);
        let (windows, last) = self.window.as_chunks();
        let last = filled(last);
        each_part(self.table, |n, values| {
            let weights = windows.get(n / LANES).unwrap_or(&last);
            let from = n as f64 - middle;
            for lane in 0..LANES {
                values[lane] *= weights[lane];
                sums[lane] += values[lane];
                moments[lane] += values[lane] * (from + lane as f64);
            }
        });
        [sums.iter().sum(), moments.iter().sum()]
    }
}

/// Takes `level` off a table, and `slope` times n less the middle's.
pub fn less_line(table: &mut [f64], level: f64, slope: f64) {
    Arch::new().dispatch(LessLine { table, level, slope });
}

struct LessLine<'a> {
    table: &'a mut [f64],
    level: f64,
    slope: f64,
}

impl WithSimd for LessLine<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let middle = (self.table.len() as f64 - 1.0) / 2.0;
        each_part(self.table, |n, values| {
            let from = n as f64 - middle;
            for (lane, x) in values.iter_mut().enumerate() {
                *x -= self.level + self.slope * (from + lane as f64);
            }
        });
    }
}

/// The first `count` multiples of `step` from zero, rounded to whole numbers, ties to even.
#[must_use]
pub fn rounded_multiples(step: f64, count: usize) -> Vec<usize> {
    // Where the machine rounds by one instruction, none of a library is called.
    Arch::new().dispatch(RoundedMultiples { step, count })
}

struct RoundedMultiples {
    step: f64,
    count: usize,
}

impl WithSimd for RoundedMultiples {
    type Output = Vec<usize>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Vec<usize> {
        (0..self.count).map(|k| (k as f64 * self.step).round_ties_even() as usize).collect()
    }
}

/// Sum of values.
#[must_use]
pub fn sum(values: &[f64]) -> f64 {
    Arch::new().dispatch(Sum(values))
}

struct Sum<'a>(&'a [f64]);

impl WithSimd for Sum<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> f64 {
        // Four vectors of them: no sum waits for the last one.
        let mut sums = [[0.0; LANES]; 4];
        let (parts, rest) = self.0.as_chunks::<{ 4 * LANES }>();
        for values in parts {
            for (sums, values) in sums.iter_mut().zip(values.as_chunks::<LANES>().0) {
                for lane in 0..LANES {
                    sums[lane] += values[lane];
                }
            }
        }
        sums.iter().flatten().chain(rest).sum()
    }
}

/// Sums of values, of their squares, and of their fourth powers.
#[must_use]
pub fn powers(values: &[f64]) -> [f64; 3] {
    Arch::new().dispatch(Powers(values))
}

struct Powers<'a>(&'a [f64]);

impl WithSimd for Powers<'_> {
    type Output = [f64; 3];

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> [f64; 3] {
        let (mut ones, mut twos, mut fours) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
        let (parts, last) = self.0.as_chunks();
        for values in parts.iter().chain([&filled(last)]) {
            for (lane, x) in values.iter().enumerate() {
                let square = x * x;
                ones[lane] += x;
                twos[lane] += square;
                fours[lane] += square * square;
            }
        }
        [ones.iter().sum(), twos.iter().sum(), fours.iter().sum()]
    }
}

/// Sum of products of values that are as many.
#[must_use]
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    Arch::new().dispatch(Dot(a, b))
}

struct Dot<'a>(&'a [f64], &'a [f64]);

impl WithSimd for Dot<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> f64 {
        let mut sums = [0.0; LANES];
        let [(a, last_a), (b, last_b)] = [self.0, self.1].map(<[f64]>::as_chunks::<LANES>);
        for (a, b) in a.iter().zip(b) {
            for lane in 0..LANES {
                sums[lane] += a[lane] * b[lane];
            }
        }
        let rest: f64 = last_a.iter().zip(last_b).map(|(a, b)| a * b).sum();
        sums.iter().sum::<f64>() + rest
    }
}
