//! Rows of any length, for a host: by the widest vectors that the machine has.
//!
//! The sums stand level by level here, those of all columns side by side: A_1 of every column, then A_2, and so on.

use super::{add_to_levels, centre_levels, middle};
use crate::cic::step_weights;
use crate::over_range::Ends;
use pulp::{Arch, Simd, WithSimd};

/// Vectors side by side: their sums and extremes stay in registers.
const MOST: usize = 3;
/// Codes of the widest vector.
const LANES: usize = 16;
/// Rows shorter than this are summed some at a time, as one long one.
const SHORT: usize = 2 * LANES;

/// All columns take whole rows, in pairs where they `alternate`: to what is there or, where they are the `whole` section,
/// in its place and with A_2 from the middle row. What was seen of their codes.
#[inline(never)]
pub(super) fn sum_columns<const ORDER: usize>(
    sums: &mut [i32],
    data: &[i32],
    alternate: bool,
    whole: bool,
    ends: Ends,
) -> i32 {
    let work = SumColumns::<ORDER> { sums, data, alternate, whole };
    let [least, most] = Arch::new().dispatch(work);
    ends.look(ends.look(0, least), most)
}

struct SumColumns<'a, const ORDER: usize> {
    sums: &'a mut [i32],
    data: &'a [i32],
    alternate: bool,
    whole: bool,
}

impl<const ORDER: usize> WithSimd for SumColumns<'_, ORDER> {
    /// Least and largest code: all that the ends are judged by.
    type Output = [i32; 2];

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> [i32; 2] {
        let Self { sums, data, alternate, whole } = self;
        let width = sums.len() / ORDER;
        if width == 0 {
            return [0; 2];
        }
        let rows = data.len() / width;
        let centre = if whole { middle(rows) } else { 0 };
        let mut met = Met { least: simd.splat_i32s(0), most: simd.splat_i32s(0) };
        let is_short = ORDER == 2 && width < SHORT;
        if !is_short && width >= S::I32_LANES {
            let whole = whole.then_some(centre);
            if alternate {
                sum::<S, ORDER, true>(simd, sums, data, whole, &mut met);
            } else {
                sum::<S, ORDER, false>(simd, sums, data, whole, &mut met);
            }
            return met.words(simd);
        }
        if whole {
            sums.fill(0);
        }
        let mut rest = data;
        if is_short {
            let joined = SHORT.div_ceil(width).next_power_of_two();
            let (now, later) = data.split_at(rows / joined * joined * width);
            let mut long = [0; 4 * SHORT];
            let long = long.split_at_mut(2 * joined * width).0;
            sum::<S, ORDER, false>(simd, long, now, Some(0), &mut met);
            join(sums, long, now.len() / width, alternate);
            rest = later;
        }
        let [least, most] = met.words(simd);
        let (rest_least, rest_most) = sum_plain::<ORDER>(sums, rest, alternate);
        centre_levels(sums, width, centre);
        [least.min(rest_least), most.max(rest_most)]
    }
}

/// Least and largest codes so far, none above or below zero.
struct Met<V> {
    least: V,
    most: V,
}

impl<V> Met<V> {
    #[inline(always)]
    fn words<S: Simd<i32s = V>>(self, _: S) -> [i32; 2] {
        let (mut least, mut most) = ([0; LANES], [0; LANES]);
        if let [to, ..] = S::as_mut_simd_i32s(&mut least).0 {
            *to = self.least;
        }
        if let [to, ..] = S::as_mut_simd_i32s(&mut most).0 {
            *to = self.most;
        }
        [least.iter().fold(0, |all, x| all.min(*x)), most.iter().fold(0, |all, x| all.max(*x))]
    }
}

/// Adds the sums of long rows, each of which joins some, to those of so many `rows`: of order 2, from a row's place s in the
/// long one of m and its own t behind, A_2 = sum of (m t + m - s) v = m A_2 of the long one - s A_1 of it.
#[inline(always)]
fn join(sums: &mut [i32], long: &[i32], rows: usize, alternate: bool) {
    let width = sums.len() / 2;
    let (first, second) = sums.split_at_mut(width);
    let (long_first, long_second) = long.split_at(long.len() / 2);
    let joined = (long_first.len() / width) as i32;
    for (first, second) in first.iter().zip(second.iter_mut()) {
        *second = second.wrapping_add(first.wrapping_mul(rows as i32));
    }
    let places = long_first.chunks_exact(width).zip(long_second.chunks_exact(width));
    for (s, (long_first, long_second)) in (0..).zip(places) {
        let sign = if alternate && s % 2 == 1 { -1 } else { 1 };
        let (times, less) = (joined.wrapping_mul(sign), sign.wrapping_mul(s));
        for (first, long) in first.iter_mut().zip(long_first) {
            *first = first.wrapping_add(long.wrapping_mul(sign));
        }
        for (second, (one, two)) in second.iter_mut().zip(long_first.iter().zip(long_second)) {
            let whole = two.wrapping_mul(times).wrapping_sub(one.wrapping_mul(less));
            *second = second.wrapping_add(whole);
        }
    }
}

/// Column by column, for the few rows that are left.
#[inline(always)]
fn sum_plain<const ORDER: usize>(sums: &mut [i32], data: &[i32], alternate: bool) -> (i32, i32) {
    let width = sums.len() / ORDER;
    let (mut least, mut most) = (0, 0);
    for (r, row) in data.chunks_exact(width).enumerate() {
        for (column, code) in row.iter().enumerate() {
            least = least.min(*code);
            most = most.max(*code);
            add_to_levels(sums, width, column, *code, alternate && r % 2 == 1);
        }
    }
    (least, most)
}

/// All columns, some vectors at a time, to what is there or, as a `whole` section with A_2 from so many rows before its end, in
/// its place. The last vector takes some columns before its own, which have their sums already:
/// one by one they would take as long as all others.
#[inline(always)]
fn sum<S: Simd, const ORDER: usize, const ALTERNATE: bool>(
    simd: S,
    sums: &mut [i32],
    data: &[i32],
    whole: Option<i32>,
    met: &mut Met<S::i32s>,
) {
    let width = sums.len() / ORDER;
    let mut first = 0;
    while first < width {
        let left = (width - first).div_ceil(S::I32_LANES).min(MOST);
        macro_rules! vectors {
            ($count:literal) => {{
                let pass = Pass::<S, ORDER, $count>::of(simd, data, first, width, ALTERNATE, met);
                match whole {
                    Some(centre) => pass.write(simd, sums, centre),
                    None => pass.add_to(sums, data.len() / width),
                }
            }};
        }
        match left {
            1 => vectors!(1),
            2 => vectors!(2),
            _ => vectors!(3),
        }
        first += left * S::I32_LANES;
    }
}

/// Sums of some rows, of columns from `first` on.
struct Pass<S: Simd, const ORDER: usize, const V: usize> {
    sums: [[S::u32s; V]; ORDER],
    first: usize,
    width: usize,
}

impl<S: Simd, const ORDER: usize, const V: usize> Pass<S, ORDER, V> {
    #[inline(always)]
    fn of(
        simd: S,
        data: &[i32],
        first: usize,
        width: usize,
        alternate: bool,
        met: &mut Met<S::i32s>,
    ) -> Self {
        let mut pass = Self { sums: [[simd.splat_u32s(0); V]; ORDER], first, width };
        let (mut least, mut most) = ([met.least; V], [met.most; V]);
        let mut pairs = data.chunks_exact(2 * width);
        for pair in &mut pairs {
            let (even, odd) = pair.split_at(width);
            for v in 0..V {
                pass.add(simd, even, v, false, &mut least[v], &mut most[v]);
            }
            for v in 0..V {
                pass.add(simd, odd, v, alternate, &mut least[v], &mut most[v]);
            }
        }
        // Rows that alternate come in pairs: the last one of an odd number does not.
        for row in pairs.remainder().chunks_exact(width) {
            for v in 0..V {
                pass.add(simd, row, v, false, &mut least[v], &mut most[v]);
            }
        }
        for v in 0..V {
            met.least = simd.min_i32s(met.least, least[v]);
            met.most = simd.max_i32s(met.most, most[v]);
        }
        pass
    }

    /// First column of a vector.
    #[inline(always)]
    fn column(&self, v: usize) -> usize {
        (self.first + v * S::I32_LANES).min(self.width - S::I32_LANES)
    }

    /// One vector of a row: a load, N adds and the watch.
    #[inline(always)]
    fn add(
        &mut self,
        simd: S,
        row: &[i32],
        v: usize,
        negative: bool,
        least: &mut S::i32s,
        most: &mut S::i32s,
    ) {
        let codes = row.get(self.column(v)..).map(S::as_simd_i32s);
        let Some(([codes, ..], _)) = codes else { return };
        *least = simd.min_i32s(*least, *codes);
        *most = simd.max_i32s(*most, *codes);
        let mut carry = simd.transmute_u32s_i32s(*codes);
        for (level, sums) in self.sums.iter_mut().enumerate() {
            sums[v] = if level == 0 && negative {
                simd.sub_u32s(sums[v], carry)
            } else {
                simd.add_u32s(sums[v], carry)
            };
            carry = sums[v];
        }
    }

    /// Writes the sums in place of what is there, A_2 from the `centre`.
    #[inline(always)]
    fn write(&self, simd: S, sums: &mut [i32], centre: i32) {
        for v in 0..V {
            for level in 0..ORDER {
                let mut sum = self.sums[level][v];
                if level == 1 {
                    let from = simd.splat_u32s(centre as u32);
                    sum = simd.sub_u32s(sum, simd.mul_u32s(self.sums[0][v], from));
                }
                let at = level * self.width + self.column(v);
                if let Some(([to, ..], _)) = sums.get_mut(at..).map(S::as_mut_simd_i32s) {
                    *to = simd.transmute_i32s_u32s(sum);
                }
            }
        }
    }

    /// Adds the sums to what is there, which so many `rows` lie behind.
    #[inline(always)]
    fn add_to(&self, sums: &mut [i32], rows: usize) {
        let steps = step_weights::<ORDER>(rows as u32);
        for v in 0..V {
            let at = self.column(v);
            // Those before have their sums already.
            let own = (self.first + v * S::I32_LANES).min(self.width);
            let mut words = [[0; LANES]; ORDER];
            for level in 0..ORDER {
                if let [to, ..] = S::as_mut_simd_u32s(&mut words[level]).0 {
                    *to = self.sums[level][v];
                }
            }
            for lane in own - at..S::I32_LANES {
                let column = sums.iter_mut().skip(at + lane).step_by(self.width);
                let mut before = [0i32; ORDER];
                for (level, sum) in column.enumerate() {
                    before[level] = *sum;
                    *sum = words[level][lane] as i32;
                    for (old, step) in before.iter().take(level + 1).rev().zip(steps) {
                        *sum = sum.wrapping_add(old.wrapping_mul(step as i32));
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;
    use crate::made_up::made_up;
    use std::vec::Vec;

    /// Whatever vectors a machine has, or none: the same sums and extremes.
    #[test]
    fn any_machine() {
        let mut made_up = made_up(7);
        let mut next = || (made_up() >> 40) as i32 - (1 << 23);
        for (width, rows) in [(1, 70), (5, 33), (8, 12), (16, 7), (33, 6), (35, 32), (100, 4)] {
            let codes: Vec<i32> = (0..rows * width).map(|_| next()).collect();
            let before: Vec<i32> = (0..2 * width).map(|_| next()).collect();
            for (alternate, whole) in [(false, false), (false, true), (true, false), (true, true)] {
                let by = |run: &dyn Fn(SumColumns<'_, 2>) -> [i32; 2]| {
                    let mut sums = before.clone();
                    let met = run(SumColumns { sums: &mut sums, data: &codes, alternate, whole });
                    (sums, met)
                };
                let want = by(&|work| work.with_simd(pulp::Scalar));
                let least = codes.iter().fold(0, |all, code| all.min(*code));
                let most = codes.iter().fold(0, |all, code| all.max(*code));
                assert_eq!(want.1, [least, most], "{width} x {rows}");
                assert_eq!(by(&|work| Arch::new().dispatch(work)), want, "{width} x {rows}");
                #[cfg(target_arch = "x86_64")]
                if let Some(simd) = pulp::x86::V3::try_new() {
                    assert_eq!(
                        by(&|work| Simd::vectorize(simd, work)),
                        want,
                        "{width} x {rows}, 256 bits"
                    );
                }
            }
        }
    }
}
