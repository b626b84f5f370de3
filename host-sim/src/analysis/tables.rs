//! **Tables** of windows and carriers, and sums over them: plain loops over eight values side by side, which the compiler
//! turns into the vectors that the machine has.

use pulp::{Arch, Simd, WithSimd};
use std::f64::consts::TAU;

/// Values side by side.
const LANES: usize = 8;
/// Values from one cosine and sine to the next.
const BLOCK: usize = 64;

/// Cosines and sines of 2 pi `cycles` n for n from 0: the sine itself every 64 values, one product of complex numbers
/// between, so that no error grows.
#[must_use]
pub fn turns(cycles: f64, length: usize) -> [Vec<f64>; 2] {
    let mut tables = [vec![0.0; length], vec![0.0; length]];
    let [cosines, sines] = &mut tables;
    Arch::new().dispatch(Turns { cycles, cosines, sines });
    tables
}

struct Turns<'a> {
    cycles: f64,
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
            let (s, c) = turn(n * BLOCK);
            let small = small_c.iter().zip(&small_s);
            for ((cosine, sine), (by_c, by_s)) in cosines.iter_mut().zip(sines).zip(small) {
                (*cosine, *sine) = (c * by_c - s * by_s, s * by_c + c * by_s);
            }
        }
    }
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
        let pairs = self.table.chunks_mut(LANES).zip(self.window.chunks(LANES));
        for (n, (values, weights)) in pairs.enumerate() {
            let from = (n * LANES) as f64 - middle;
            for (lane, (x, w)) in values.iter_mut().zip(weights).enumerate() {
                *x *= w;
                sums[lane] += *x;
                moments[lane] += *x * (from + lane as f64);
            }
        }
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
        for (n, values) in self.table.chunks_mut(LANES).enumerate() {
            let from = (n * LANES) as f64 - middle;
            for (lane, x) in values.iter_mut().enumerate() {
                *x -= self.level + self.slope * (from + lane as f64);
            }
        }
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
        for values in self.0.chunks(LANES) {
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

/// Sum of products.
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
        for (a, b) in self.0.chunks(LANES).zip(self.1.chunks(LANES)) {
            for (lane, (a, b)) in a.iter().zip(b).enumerate() {
                sums[lane] += a * b;
            }
        }
        sums.iter().sum()
    }
}
