//! **Alignment** of a second sensor to a first: x1(t) = offset + drift t + scale x2(t'),
//! t' = t - delay - clock t, by least squares over all rows that both have (Gauss and Newton's steps).
//!
//! Uncertainties are those of stretches: what the residuals do to the fit in each of forty parts of the record
//! adds up as it does, whatever their spectrum.

use crate::error::{Error, Result};
use crate::pendulum::swing::Measured;
use crate::records::resample::{Column, Interpolation};
use nalgebra::{SMatrix, SVector};
use std::ops::Range;

/// Numbers that are fitted.
const NUMBERS: usize = 5;
/// Parts of the record that uncertainties are told from.
const PARTS: usize = 40;
/// Steps of the fit.
const ROUNDS: usize = 20;
/// Part of an interval of the second's rows, over which derivatives are taken.
const APART: f64 = 0.05;

/// What relates the second to the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alignment {
    /// First over second.
    pub scale: Measured,
    /// How much later the first's times are for the same event, in the middle of the record, s.
    pub delay_s: Measured,
    /// Relative: by how much the second's clock is slow against the first's.
    pub clock: Measured,
    /// Of the first at the middle of the record, less the scaled second.
    pub offset: f64,
    /// Of the first against the scaled second, per second.
    pub drift_per_s: f64,
    /// Share of the first's variance that the second explains.
    pub explained: f64,
    /// Middle of what both have, in the first's time.
    pub middle_s: f64,
}

impl Alignment {
    /// The second's time at one of the first's.
    #[must_use]
    pub fn second_s(&self, first_s: f64) -> f64 {
        second_s(first_s, [self.delay_s.value, self.clock.value], self.middle_s)
    }
}

fn second_s(first_s: f64, [delay_s, clock]: [f64; 2], middle_s: f64) -> f64 {
    first_s - delay_s - clock * (first_s - middle_s)
}

/// Both on the first's times: first, and second brought to its scale.
#[derive(Debug, Clone)]
pub struct Aligned {
    /// The first's values, without offset and drift.
    pub first: Vec<f64>,
    /// The second's at the same instants, scaled.
    pub second: Vec<f64>,
    /// Rows that both have.
    pub runs: Vec<Range<usize>>,
    /// Rows a second.
    pub rate_hz: f64,
    /// What was fitted.
    pub alignment: Alignment,
}

/// Rows of the first, with times.
struct Rows<'a> {
    x: &'a [f64],
    times_s: Vec<f64>,
    runs: &'a [Range<usize>],
}

/// Brings the second to the first; a delay of up to `within_s` is looked for.
///
/// # Errors
/// In words: too little in common, or nothing of the one seen in the other.
pub fn align(first: Column<'_>, second: Column<'_>, within_s: f64) -> Result<Aligned> {
    let record = first.record;
    let rows = Rows { x: first.values(), times_s: record.times_s(), runs: &record.runs };
    let table = Interpolation::new();
    let fit = Fit::new(&rows, second, &table);
    let start = fit.coarse(within_s)?;
    let (numbers, alignment) = fit.fine(start)?;
    let (mut aligned, mut runs) = (vec![0.0; rows.x.len()], Vec::new());
    let mut one = rows.x.to_vec();
    for run in rows.runs {
        let mut from = None;
        for k in run.clone() {
            let value = fit.value(fit.time(&numbers, rows.times_s[k]));
            if let Some(value) = value {
                let t = rows.times_s[k] - fit.middle_s;
                one[k] -= numbers[0] + numbers[1] * t;
                aligned[k] = numbers[2] * value;
                from.get_or_insert(k);
            }
            if let Some(start) = from.filter(|_| value.is_none() || k + 1 == run.end) {
                runs.push(start..if value.is_none() { k } else { k + 1 });
                from = None;
            }
        }
    }
    Ok(Aligned { first: one, second: aligned, runs, rate_hz: record.rate_hz, alignment })
}

struct Fit<'a> {
    rows: &'a Rows<'a>,
    second: Column<'a>,
    table: &'a Interpolation,
    /// Middle of the time that both have.
    middle_s: f64,
}

impl<'a> Fit<'a> {
    fn new(rows: &'a Rows<'a>, second: Column<'a>, table: &'a Interpolation) -> Self {
        let ends = |starts: &[f64], runs: &[Range<usize>], rate: f64| {
            let last = starts.len() - 1;
            [starts[0], starts[last] + runs[last].len() as f64 / rate]
        };
        let r = second.record;
        let [from, to] = ends(&r.starts_s, &r.runs, r.rate_hz);
        let mut known = rows.times_s.iter().filter(|t| t.is_finite() && **t >= from && **t <= to);
        let first = known.next().copied().unwrap_or(from);
        let last = known.next_back().copied().unwrap_or(first);
        Self { rows, second, table, middle_s: f64::midpoint(first, last) }
    }

    /// The second's value at a time of its own.
    fn value(&self, time_s: f64) -> Option<f64> {
        self.second.at(self.table, time_s)
    }

    /// Its time for one of the first's.
    fn time(&self, numbers: &[f64; NUMBERS], t: f64) -> f64 {
        second_s(t, [numbers[3], numbers[4]], self.middle_s)
    }

    /// Value and slope there.
    fn both(&self, numbers: &[f64; NUMBERS], t: f64) -> Option<[f64; 2]> {
        let h = APART / self.second.record.rate_hz;
        let at = self.time(numbers, t);
        let [before, behind] = [self.value(at - h)?, self.value(at + h)?];
        Some([self.value(at)?, (behind - before) / (2.0 * h)])
    }

    /// The delay of whole rows that leaves least, of those within reach.
    fn coarse(&self, within_s: f64) -> Result<[f64; NUMBERS]> {
        let step = 1.0 / self.second.record.rate_hz;
        let most = (within_s / step).ceil() as i64;
        let mut best: Option<(f64, f64)> = None;
        // Some thousands of rows tell which it is.
        let known: Vec<usize> = self.rows.runs.iter().flat_map(Clone::clone).collect();
        let every = (known.len() / 2000).max(1);
        for n in -most..=most {
            let delay = n as f64 * step;
            let mut sums = [0.0; 6];
            for k in known.iter().step_by(every) {
                let Some(y) = self.value(self.rows.times_s[*k] - delay) else { continue };
                let x = self.rows.x[*k];
                for (sum, term) in sums.iter_mut().zip([1.0, x, y, x * x, x * y, y * y]) {
                    *sum += term;
                }
            }
            let [count, x, y, xx, xy, yy] = sums;
            let [xx, xy, yy] = [xx - x * x / count, xy - x * y / count, yy - y * y / count];
            let told = xy * xy / (xx * yy);
            if count > 2.0 * NUMBERS as f64 && best.is_none_or(|(most, _)| told > most) {
                best = Some((told, delay));
            }
        }
        let (told, delay) = best.ok_or_else(|| {
            Error::new("the two records have no rows at the same times: nothing to compare")
        })?;
        let enough = told > 0.05;
        if !enough {
            return Err(Error::new(format!(
                "the second explains {:.1} % of the first at best, within {within_s} s of delay: they do not see the same \
                 motion, allowed 5 % or more",
                100.0 * told.max(0.0)
            )));
        }
        Ok([0.0, 0.0, 0.0, delay, 0.0])
    }

    /// Gauss and Newton's steps from there, then uncertainties.
    fn fine(&self, start: [f64; NUMBERS]) -> Result<([f64; NUMBERS], Alignment)> {
        let mut numbers = start;
        // The linear ones first: without a scale the others have no slope.
        let mut last = f64::INFINITY;
        for round in 0..ROUNDS {
            let sums = self.sums(&numbers);
            let free = if round == 0 { 3 } else { NUMBERS };
            let step = sums.step(free).ok_or_else(|| {
                Error::new("the motion does not tell scale, delay and clocks apart: too short, or too little of it")
            })?;
            for (n, d) in numbers.iter_mut().zip(&step) {
                *n += d;
            }
            let change = sums.change(&step);
            if round > 1 && (change < 1e-9 || change >= last && change < 1e-4) {
                break;
            }
            last = change;
        }
        let sums = self.sums(&numbers);
        let spread = sums
            .covariance()
            .ok_or_else(|| Error::new("the fit of both sensors does not settle"))?;
        let of = |n: usize| Measured { value: numbers[n], uncertainty: spread[(n, n)].sqrt() };
        let alignment = Alignment {
            offset: numbers[0],
            drift_per_s: numbers[1],
            scale: of(2),
            delay_s: of(3),
            clock: of(4),
            explained: 1.0 - sums.residual / sums.variance(),
            middle_s: self.middle_s,
        };
        Ok((numbers, alignment))
    }

    /// Normal equations at some numbers.
    fn sums(&self, numbers: &[f64; NUMBERS]) -> Sums {
        let rows: Vec<usize> = self.rows.runs.iter().flat_map(Clone::clone).collect();
        let mut sums = Sums::default();
        let part = rows.len().div_ceil(PARTS);
        for part in rows.chunks(part) {
            let mut score = SVector::<f64, NUMBERS>::zeros();
            for k in part {
                let time = self.rows.times_s[*k];
                let Some([value, slope]) = self.both(numbers, time) else { continue };
                let t = time - self.middle_s;
                let [offset, drift, scale, ..] = *numbers;
                let miss = self.rows.x[*k] - offset - drift * t - scale * value;
                let row = SVector::from([1.0, t, value, -scale * slope, -scale * slope * t]);
                sums.normal += row * row.transpose();
                score += row * miss;
                sums.residual += miss * miss;
                sums.count += 1.0;
                sums.x += self.rows.x[*k];
                sums.xx += self.rows.x[*k].powi(2);
            }
            sums.right += score;
            sums.spread += score * score.transpose();
            sums.parts += 1.0;
        }
        sums
    }
}

#[derive(Default)]
struct Sums {
    normal: SMatrix<f64, NUMBERS, NUMBERS>,
    right: SVector<f64, NUMBERS>,
    spread: SMatrix<f64, NUMBERS, NUMBERS>,
    parts: f64,
    residual: f64,
    count: f64,
    x: f64,
    xx: f64,
}

/// Smallest eigenvalue over the largest of scaled equations at which numbers can be told apart.
const SMALLEST: f64 = 1e-12;

impl Sums {
    /// Scales that make the equations' diagonal one.
    fn scales(&self) -> SVector<f64, NUMBERS> {
        self.normal.diagonal().map(|d| if d > 0.0 { 1.0 / d.sqrt() } else { 1.0 })
    }

    /// Step of the first `free` numbers; `None` where they cannot be told apart.
    fn step(&self, free: usize) -> Option<SVector<f64, NUMBERS>> {
        let scales = self.scales();
        let d = SMatrix::<f64, NUMBERS, NUMBERS>::from_diagonal(&scales);
        let mut normal = d * self.normal * d;
        let mut right = d * self.right;
        for k in free..NUMBERS {
            normal.row_mut(k).fill(0.0);
            normal.column_mut(k).fill(0.0);
            normal[(k, k)] = 1.0;
            right[k] = 0.0;
        }
        let eigen = normal.symmetric_eigen();
        let enough = eigen.eigenvalues.min() > SMALLEST * eigen.eigenvalues.max();
        if !enough {
            return None;
        }
        Some(d * normal.cholesky()?.solve(&right))
    }

    /// Largest change of a number over its size: what it moves of all rows together.
    fn change(&self, step: &SVector<f64, NUMBERS>) -> f64 {
        let moved = (step.transpose() * self.normal * step)[0];
        (moved / self.residual.max(f64::MIN_POSITIVE)).sqrt()
    }

    fn variance(&self) -> f64 {
        self.xx - self.x * self.x / self.count
    }

    fn covariance(&self) -> Option<SMatrix<f64, NUMBERS, NUMBERS>> {
        let scales = self.scales();
        let d = SMatrix::<f64, NUMBERS, NUMBERS>::from_diagonal(&scales);
        let inverse = d * (d * self.normal * d).try_inverse()? * d;
        let freedom = self.parts / (self.parts - NUMBERS as f64).max(1.0);
        Some(inverse * self.spread * inverse * freedom)
    }
}
