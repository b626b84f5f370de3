//! **Blocks of a record as sums at a few nodes**: what a block's values are multiplied with, where it is smooth,
//! is known over the whole block by its values at some Chebyshev nodes (L. N. Trefethen, Approximation Theory and
//! Approximation Practice, SIAM 2013, chapters 2 to 5). So sums of products over a long segment need the values' own
//! sums with the polynomials of the nodes, worked out once for all frequencies and segments, and the factors at the nodes.

use std::f64::consts::PI;

use super::tables;
use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

/// Nodes of a block.
pub const NODES: usize = 32;
/// Values of a block of the first level: four for each node.
const SHORTEST: usize = 4 * NODES;
/// Values of the longest: what is multiplied with values before the first block and after the last takes its time, too.
const LONGEST: f64 = 2048.0;
/// Radians that a factor may turn from a block's middle to its end: a Chebyshev series of e^(i theta t) has terms
/// 2 J_k(theta), below 1e-15 for all k from [`NODES`] on.
const REACH_RAD: f64 = 8.0;

/// A record's blocks of one length, from its first value on; a last part of a block is in none.
#[derive(Debug)]
pub struct Level {
    /// Values of a block.
    pub length: usize,
    /// Sums of a block's values with the polynomials that are 1 at one of its nodes and 0 at all others, [`NODES`] a block.
    pub sums: Vec<f64>,
    /// Where the nodes are, in values from a block's first one.
    pub places: [f64; NODES],
    /// The sums of a block of ones.
    pub ones: [f64; NODES],
    /// Each block's sum, and that of its values times their places from its middle.
    pub moments: Vec<[f64; 2]>,
}

/// Blocks of a record, each level's of two of the level before.
#[derive(Debug)]
pub struct Blocks(Vec<Level>);

impl Blocks {
    /// All levels of a record up to blocks of `longest` values.
    #[must_use]
    pub fn new(values: &[f64], longest: usize) -> Self {
        let longest = longest.min(values.len());
        if longest < SHORTEST {
            return Self(Vec::new());
        }
        let within = |n: usize| (2.0 * n as f64 + 1.0) / SHORTEST as f64 - 1.0;
        let weights: Vec<f64> = (0..SHORTEST).flat_map(|n| polynomials(within(n))).collect();
        let mut last = Level::new(SHORTEST, values, &[1.0; SHORTEST], &weights);
        // Nodes of a block's first half lie at (t - 1)/2, of its second at (t + 1)/2.
        let half = |side: f64| (0..NODES).flat_map(move |k| polynomials((node(k) + side) / 2.0));
        let weights: Vec<f64> = half(-1.0).chain(half(1.0)).collect();
        let mut levels = Vec::new();
        while 2 * last.length <= longest {
            let ones = [last.ones, last.ones].concat();
            let next = Level::new(2 * last.length, &last.sums, &ones, &weights);
            levels.push(std::mem::replace(&mut last, next));
        }
        levels.push(last);
        Self(levels)
    }

    /// Values of the longest blocks over which factors of so many cycles a value are known by their nodes; `None`
    /// where values themselves are fewer than what there would be to do.
    #[must_use]
    pub fn length(cycles: f64, segment: usize) -> Option<usize> {
        let longest = (REACH_RAD / (PI * cycles)).min(segment as f64 / 8.0).min(LONGEST);
        let doublings = (longest / SHORTEST as f64).log2().floor();
        (doublings >= 1.0).then(|| SHORTEST << doublings as u32)
    }

    /// The blocks of a length, or the longest that there are; `None` where the record has none.
    #[must_use]
    pub fn level(&self, length: usize) -> Option<&Level> {
        self.0.iter().rev().find(|level| level.length <= length)
    }
}

impl Level {
    /// Of values, or of the sums of blocks of half the length, each times its row of weights; and of ones.
    fn new(length: usize, values: &[f64], block_of_ones: &[f64], weights: &[f64]) -> Self {
        let many = 64;
        let rows = block_of_ones.len();
        let mut sums = vec![0.0; values.len() / rows * NODES];
        let parts = sums.par_chunks_mut(NODES * many).zip(values.par_chunks(rows * many));
        parts.for_each(|(sums, values)| Arch::new().dispatch(Weigh { values, weights, sums }));
        let mut ones = [0.0; NODES];
        Arch::new().dispatch(Weigh { values: block_of_ones, weights, sums: &mut ones });
        let half = length as f64 / 2.0;
        let from_middle: [f64; NODES] = std::array::from_fn(|k| half * node(k));
        let moments = sums
            .par_chunks_exact(NODES)
            .map(|sums| [tables::sum(sums), tables::dot(sums, &from_middle)]);
        let moments = moments.collect();
        Self { length, sums, places: from_middle.map(|place| place + half - 0.5), ones, moments }
    }
}

/// Chebyshev node of the first kind, -1 to 1.
fn node(k: usize) -> f64 {
    -(PI * (k as f64 + 0.5) / NODES as f64).cos()
}

/// At `t`, -1 to 1, the polynomials that are 1 at one node and 0 at the others, by the barycentric formula (J.-P. Berrut,
/// L. N. Trefethen, SIAM Review 46 (2004) 501, equations 4.2 and 5.3).
fn polynomials(t: f64) -> [f64; NODES] {
    let one = |k: usize| {
        let sign = if k.is_multiple_of(2) { 1.0 } else { -1.0 };
        sign * (PI * (k as f64 + 0.5) / NODES as f64).sin() / (t - node(k))
    };
    let terms: [f64; NODES] = std::array::from_fn(one);
    let sum: f64 = terms.iter().sum();
    match terms.iter().position(|term| term.is_infinite()) {
        Some(at) => std::array::from_fn(|k| f64::from(u8::from(k == at))),
        None => terms.map(|term| term / sum),
    }
}

/// Adds each block's values, as many as rows of `weights`, times those rows to its sums.
struct Weigh<'a> {
    values: &'a [f64],
    weights: &'a [f64],
    sums: &'a mut [f64],
}

impl WithSimd for Weigh<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let length = self.weights.len() / NODES;
        let pairs = self.values.chunks(2 * length).zip(self.sums.chunks_mut(2 * NODES));
        for (values, sums) in pairs {
            // Two blocks at once: a row is loaded for both. The last one may be alone: it is then worked out twice.
            let (one, other) = values.split_at(length);
            let other = other.get(..length).unwrap_or(one);
            let (one_sums, other_sums) = sums.split_at_mut(NODES);
            for from in (0..NODES).step_by(4 * S::F64_LANES) {
                let part = from..(from + 4 * S::F64_LANES).min(NODES);
                let [mut a, mut b, mut c, mut d] = [simd.splat_f64s(0.0); 4];
                let [mut e, mut f, mut g, mut h] = [simd.splat_f64s(0.0); 4];
                let rows = self.weights.chunks_exact(NODES);
                for ((x, y), row) in one.iter().zip(other).zip(rows) {
                    let [x, y] = [*x, *y].map(|x| simd.splat_f64s(x));
                    let (row, _) = S::as_simd_f64s(&row[part.clone()]);
                    let [p, q, r, s] = row else { return };
                    a = simd.mul_add_e_f64s(x, *p, a);
                    b = simd.mul_add_e_f64s(x, *q, b);
                    c = simd.mul_add_e_f64s(x, *r, c);
                    d = simd.mul_add_e_f64s(x, *s, d);
                    e = simd.mul_add_e_f64s(y, *p, e);
                    f = simd.mul_add_e_f64s(y, *q, f);
                    g = simd.mul_add_e_f64s(y, *r, g);
                    h = simd.mul_add_e_f64s(y, *s, h);
                }
                let put = |sums: &mut [f64], found: [S::f64s; 4]| {
                    if let Some(sums) = sums.get_mut(part.clone()) {
                        S::as_mut_simd_f64s(sums).0.copy_from_slice(&found);
                    }
                };
                put(one_sums, [a, b, c, d]);
                put(other_sums, [e, f, g, h]);
            }
        }
    }
}
