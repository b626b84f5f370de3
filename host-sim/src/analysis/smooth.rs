//! **A frequency's sums over long segments**: window and carrier turn little from one value to the next, so the sums of
//! [`blocks`](super::blocks) stand for the values, but for those before a segment's first whole block and after its last.

use super::blocks::{Blocks, Level, NODES};
use super::density::Detrend;
use super::tables;
use super::vector;
use super::window::{Argument, Curve};
use pulp::{Arch, Simd, WithSimd};
use std::f64::consts::TAU;

/// What segments of a length are multiplied with at one frequency, less its own trend (see [`super::log_spaced`]).
#[derive(Debug)]
pub struct Smooth<'a> {
    length: usize,
    block: usize,
    /// Cycles a value.
    cycles: f64,
    curve: &'a Curve,
    /// Cosine and sine of the carrier's turn from a block's first value to each node.
    carrier: [[f64; NODES]; 2],
    /// What the window's argument needs of it: cosine and sine, or the place over the length and nothing.
    argument: [[f64; NODES]; 2],
    /// Turns of carrier and window over as many values as from a segment's start to its first whole block.
    starts: [[Vec<f64>; 2]; 2],
    /// The products at a segment's first and last values, as many as a block: cosines and minus sines.
    edges: [[Vec<f64>; 2]; 2],
    /// Level and slope about the middle of both.
    trends: [[f64; 2]; 2],
}

impl<'a> Smooth<'a> {
    /// For segments of `length` and `cycles` a value on blocks like those of `level`, at most half as long.
    pub fn new(
        level: &Level,
        curve: &'a Curve,
        length: usize,
        cycles: f64,
        detrend: Detrend,
    ) -> Self {
        let block = level.length;
        let turns = |cycles: f64| level.places.map(|place| (TAU * cycles * place).sin_cos());
        let carrier = turns(cycles);
        let argument = match curve.argument {
            Argument::Cosine => turns(1.0 / length as f64).map(|(sin, cos)| (cos, sin)),
            Argument::Square => level.places.map(|place| (place / length as f64, 0.0)),
        };
        let edge = |from: usize| {
            let weights = curve.samples(length, from..from + block);
            // Minus the sine: turned the other way.
            let mut tables = tables::turns(-cycles, from..from + block);
            for table in &mut tables {
                tables::weigh(table, &weights);
            }
            tables
        };
        let mut smooth = Self {
            length,
            block,
            cycles,
            curve,
            carrier: [carrier.map(|(_, cos)| cos), carrier.map(|(sin, _)| sin)],
            argument: [argument.map(|(one, _)| one), argument.map(|(_, other)| other)],
            starts: [cycles, 1.0 / length as f64].map(|cycles| tables::turns(cycles, 0..block)),
            edges: [edge(0), edge(length - block)],
            trends: [[0.0; 2]; 2],
        };
        if detrend != Detrend::None {
            smooth.less_trend(level, detrend == Detrend::Line);
        }
        smooth
    }

    /// Finds the trend of the products themselves, from the sums of blocks of ones, and takes it off the edges.
    fn less_trend(&mut self, level: &Level, line: bool) {
        let (blocks, rest) = (self.length / self.block, self.length % self.block);
        let middle = (self.length as f64 - 1.0) / 2.0;
        let ones = level.ones.repeat(blocks);
        let sums = self.whole_blocks(&ones);
        let moments = if line {
            let place =
                |n: usize| (n / NODES * self.block) as f64 + level.places[n % NODES] - middle;
            let ramp: Vec<f64> = ones.iter().enumerate().map(|(n, x)| x * place(n)).collect();
            self.whole_blocks(&ramp)
        } else {
            [0.0; 2]
        };
        let n = self.length as f64;
        for (part, trend) in self.trends.iter_mut().enumerate() {
            let last = &self.edges[1][part][self.block - rest..];
            let from = (self.length - rest) as f64 - middle;
            let moment = last.iter().enumerate().map(|(n, x)| x * (from + n as f64));
            let sum = sums[part] + last.iter().sum::<f64>();
            let moment = if line { moments[part] + moment.sum::<f64>() } else { 0.0 };
            *trend = [sum / n, moment / (n * (n * n - 1.0) / 12.0)];
        }
        for (edge, from) in self.edges.iter_mut().zip([0, self.length - self.block]) {
            for (table, [level, slope]) in edge.iter_mut().zip(self.trends) {
                tables::less_line(
                    table,
                    level + slope * (from as f64 - middle + (self.block as f64 - 1.0) / 2.0),
                    slope,
                );
            }
        }
    }

    /// Hands on the sums of both products with each segment of `x`.
    pub fn each(&self, x: &[f64], blocks: &Blocks, starts: &[usize], take: impl FnMut([f64; 2])) {
        let Some(level) = blocks.level(self.block) else { return };
        Arch::new().dispatch(Each { of: self, x, level, starts, take });
    }

    /// Sums of both products with blocks from a segment's start on.
    fn whole_blocks(&self, sums: &[f64]) -> [f64; 2] {
        Arch::new().dispatch(WholeBlocks { of: self, sums })
    }

    #[inline(always)]
    fn segment<S: Simd>(&self, simd: S, x: &[f64], level: &Level, start: usize) -> [f64; 2] {
        let (block, end) = (self.block, start + self.length);
        let blocks = start.div_ceil(block)..end / block;
        let whole = blocks.start * block..blocks.end * block;
        let (head, tail) = (&x[start..whole.start], &x[whole.end..end]);
        let sums = &level.sums[blocks.start * NODES..blocks.end * NODES];
        let inside = self.in_blocks(simd, sums, head.len());
        let half = (block as f64 - 1.0) / 2.0;
        let mut from_middle = head.len() as f64 + half - (self.length as f64 - 1.0) / 2.0;
        let mut moments = [0.0; 2];
        for [sum, moment] in &level.moments[blocks] {
            moments[0] += sum;
            moments[1] += moment + from_middle * sum;
            from_middle += block as f64;
        }
        let [first, last] = &self.edges;
        let first = vector::segment(simd, head, first.each_ref().map(|edge| &edge[..head.len()]));
        let from = block - tail.len();
        let last = vector::segment(simd, tail, last.each_ref().map(|edge| &edge[from..]));
        std::array::from_fn(|part| {
            let [level, slope] = self.trends[part];
            let trend = level * moments[0] + slope * moments[1];
            inside[part] - trend + first[part] + last[part]
        })
    }

    /// Sums of both products with blocks of which the first begins `offset` values from a segment's start, less than a
    /// block's.
    #[inline(always)]
    fn in_blocks<S: Simd>(&self, simd: S, sums: &[f64], offset: usize) -> [f64; 2] {
        let [zero, one, eight] = [0.0, 1.0, 8.0].map(|x| simd.splat_f64s(x));
        let [cos, sin] = self.carrier.each_ref().map(|table| S::as_simd_f64s(table).0);
        let [of_cos, of_sin] = self.argument.each_ref().map(|table| S::as_simd_f64s(table).0);
        let (last, between) =
            self.curve.terms[1..].split_last().map_or((0.0, &[][..]), |(c, b)| (*c, b));
        let [first, last] = [self.curve.terms[0], last].map(|term| simd.splat_f64s(term));
        let (mut re, mut im) = (zero, zero);
        let per_value = [self.cycles, 1.0 / self.length as f64];
        let steps = per_value.map(|cycles| (TAU * cycles * self.block as f64).sin_cos());
        let mut turned = [(0.0, 1.0); 2];
        for (k, sums) in sums.chunks_exact(NODES).enumerate() {
            let from = (offset + k * self.block) as f64;
            turned = if k == 0 {
                self.starts.each_ref().map(|[cos, sin]| (sin[offset], cos[offset]))
            } else if k.is_multiple_of(EXACT) {
                per_value.map(|cycles| (TAU * (cycles * from).fract()).sin_cos())
            } else {
                let [carrier, window] = steps;
                [turn(turned[0], carrier), turn(turned[1], window)]
            };
            let (minus_sin, by) = match self.curve.argument {
                Argument::Cosine => (-turned[1].0, turned[1].1),
                Argument::Square => (from / self.length as f64, 0.0),
            };
            let [minus_sin, by] = [minus_sin, by].map(|x| simd.splat_f64s(x));
            let (mut by_cos, mut by_sin) = (zero, zero);
            let at = S::as_simd_f64s(sums).0.iter().zip(of_cos.iter().zip(of_sin));
            for ((x, (a, b)), (c, s)) in at.zip(cos.iter().zip(sin)) {
                let argument = match self.curve.argument {
                    Argument::Cosine => simd.mul_add_e_f64s(by, *a, simd.mul_f64s(minus_sin, *b)),
                    Argument::Square => {
                        let q = simd.add_f64s(minus_sin, *a);
                        let product = simd.mul_f64s(q, simd.sub_f64s(q, one));
                        simd.mul_add_e_f64s(eight, product, one)
                    }
                };
                // Clenshaw's recurrence.
                let (mut b1, mut b2) = (last, zero);
                let twice = simd.add_f64s(argument, argument);
                for term in between.iter().rev() {
                    let next = simd.sub_f64s(simd.splat_f64s(*term), b2);
                    (b1, b2) = (simd.mul_add_e_f64s(twice, b1, next), b1);
                }
                let weight = simd.mul_add_e_f64s(argument, b1, simd.sub_f64s(first, b2));
                let y = simd.mul_f64s(weight, *x);
                by_cos = simd.mul_add_e_f64s(y, *c, by_cos);
                by_sin = simd.mul_add_e_f64s(y, *s, by_sin);
            }
            // Times e^(-i angle) of the block's first value.
            let (s, c) = turned[0];
            let [s, minus_s, c] = [s, -s, c].map(|x| simd.splat_f64s(x));
            re = simd.mul_add_e_f64s(c, by_cos, simd.mul_add_e_f64s(minus_s, by_sin, re));
            im = simd.mul_add_e_f64s(s, by_cos, simd.mul_add_e_f64s(c, by_sin, im));
        }
        [simd.reduce_sum_f64s(re), -simd.reduce_sum_f64s(im)]
    }
}

struct Each<'a, F> {
    of: &'a Smooth<'a>,
    x: &'a [f64],
    level: &'a Level,
    starts: &'a [usize],
    take: F,
}

impl<F: FnMut([f64; 2])> WithSimd for Each<'_, F> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        for start in self.starts {
            (self.take)(self.of.segment(simd, self.x, self.level, *start));
        }
    }
}

struct WholeBlocks<'a> {
    of: &'a Smooth<'a>,
    sums: &'a [f64],
}

impl WithSimd for WholeBlocks<'_> {
    type Output = [f64; 2];

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> [f64; 2] {
        self.of.in_blocks(simd, self.sums, 0)
    }
}

/// Sine and cosine of the sum of two angles.
#[inline(always)]
fn turn((s, c): (f64, f64), (by_s, by_c): (f64, f64)) -> (f64, f64) {
    (s * by_c + c * by_s, c * by_c - s * by_s)
}

/// Blocks from one sine to the next: between, turns are multiplied.
const EXACT: usize = 16;
