//! **Equiripple** taps: the largest weighted error is the least that so many taps allow.
//!
//! The exchange of Parks and McClellan 1972 on a grid, as McClellan, Parks and Rabiner 1973 describe
//! it: of a guess of extremal frequencies follow the ripple and, by barycentric interpolation, the
//! response; its largest errors are the next guess. Written anew because a readily available one
//! searched for ever where a design cannot be had; here every loop is bounded.

mod interpolation;

use super::{LOWEST, Need};
use interpolation::Interpolation;
use std::f64::consts::{PI, TAU};

/// Weighted error that counts as none.
const NOTHING: f64 = 1e-6;

/// Grid points for each cosine, as in the paper's program.
pub const DENSITY: usize = 16;

/// Exchanges after which a design is given up; ten are usual.
const EXCHANGES: usize = 80;

/// Least steps of the grid in a band.
const NARROW: f64 = 8.0;

/// Bands up to which the grid is even, as the paper's is.
const MANY: usize = 3;

/// Cosines up to which a band counts as of few extremes.
const FEW: usize = 4;

/// A band: from, to (cycles a sample).
pub type Band = (f64, f64);

/// Taps for `need`; `None` where the exchange does not settle.
#[must_use]
pub fn taps(length: usize, need: &Need<'_>) -> Option<Vec<f64>> {
    let edge = edge(need);
    let desired = |f: f64| if f < edge { (need.desired)(f) } else { 0.0 };
    let weight = |f: f64| 1.0 / if f < edge { ripple(need, f) } else { (need.leak)(f) };
    exchange(length, &bands(need), DENSITY, &desired, &weight)
}

/// The lowest end of the pass band by itself, where less is allowed there.
fn lowest(need: &Need<'_>) -> f64 {
    if need.lowest_ripple < need.ripple { need.pass * LOWEST } else { 0.0 }
}

/// Pass band, in two where its lowest end is apart, and stop bands.
#[must_use]
pub fn bands(need: &Need<'_>) -> Vec<Band> {
    let lowest = lowest(need);
    let mut bands = vec![(lowest * 1.5, need.pass)];
    if lowest > 0.0 {
        bands.insert(0, (0.0, lowest));
    }
    bands.extend(&need.stops);
    bands
}

/// Half-way from the pass to the first stop band.
#[must_use]
pub fn edge(need: &Need<'_>) -> f64 {
    need.stops.first().map_or(1.0, |stop| need.pass.midpoint(stop.0))
}

/// Ripple allowed at a frequency of the pass band.
#[must_use]
pub fn ripple(need: &Need<'_>, f: f64) -> f64 {
    if f <= lowest(need) { need.lowest_ripple } else { need.ripple }
}

/// A grid point: cosine of the angle, desired response and weight for a sum of cosines.
#[derive(Debug, Clone, Copy)]
struct Point {
    x: f64,
    desired: f64,
    weight: f64,
}

/// Cosines up to which extremes spread evenly are a good guess.
const EVEN_GUESS: usize = 40;

/// The exchange over `bands`, `density` grid points a cosine.
#[must_use]
pub fn exchange(
    length: usize,
    bands: &[Band],
    density: usize,
    desired: &dyn Fn(f64) -> f64,
    weight: &dyn Fn(f64) -> f64,
) -> Option<Vec<f64>> {
    // Of many bands each has few extremes, and those close to its ends: more points there. Where it does not
    // settle on that grid it may on the even one.
    let grids: &[bool] = if bands.len() > MANY { &[true, false] } else { &[false] };
    grids.iter().find_map(|crowded| {
        on_grid(length, &|length| grid(length, bands, density, *crowded, desired, weight))
    })
}

/// The exchange over the points that `grid` gives for a length.
fn on_grid(length: usize, grid: &dyn Fn(usize) -> (Vec<Point>, Vec<usize>)) -> Option<Vec<f64>> {
    // Guesses from the extremes of shorter filters, shortest first.
    let mut lengths = vec![length];
    while let Some(last) = lengths.last().filter(|n| **n > 2 * EVEN_GUESS) {
        lengths.push(last * 3 / 5 / 2 * 2 + length % 2);
    }
    let mut guess: Vec<f64> = vec![0.0, 1.0];
    let mut taps = None;
    for length in lengths.into_iter().rev() {
        let (grid, ends) = grid(length);
        let cosines = length.div_ceil(2);
        if cosines < 2 || grid.len() < cosines + 2 {
            return None;
        }
        let last = (grid.len() - 1) as f64;
        let start = (0..=cosines).map(|k| stretched(&guess, k as f64 / cosines as f64));
        let mut start: Vec<usize> = start.map(|at| (at * last).round() as usize).collect();
        apart(&mut start, grid.len());
        let settled = settle(&grid, &ends, start);
        taps = settled.as_ref().and_then(|e| coefficients(length, &Interpolation::new(&grid, e)?));
        guess = settled.map_or(guess, |e| e.iter().map(|k| *k as f64 / last).collect());
    }
    taps
}

/// Value of a rising sequence over its index, at a part of its length.
fn stretched(values: &[f64], part: f64) -> f64 {
    let at = part * (values.len() - 1) as f64;
    let low = (at.floor() as usize).min(values.len() - 2);
    values[low] + (values[low + 1] - values[low]) * (at - low as f64)
}

/// Moves indices so that no two are the same.
fn apart(indices: &mut [usize], points: usize) {
    for k in 1..indices.len() {
        indices[k] = indices[k].max(indices[k - 1] + 1);
    }
    let mut most = points;
    for index in indices.iter_mut().rev() {
        most -= 1;
        *index = (*index).min(most);
        most = *index;
    }
}

/// Exchanges until the extremes stay.
fn settle(grid: &[Point], ends: &[usize], mut extremes: Vec<usize>) -> Option<Vec<usize>> {
    for _ in 0..EXCHANGES {
        let fit = Interpolation::new(grid, &extremes)?;
        let values = fit.at_each(&grid.iter().map(|p| p.x).collect::<Vec<_>>());
        let errors = grid.iter().zip(values).map(|(p, value)| p.weight * (p.desired - value));
        let errors: Vec<f64> = errors.collect();
        let largest = errors.iter().fold(0.0f64, |m, e| m.max(e.abs()));
        let Some(next) = alternation(&errors, ends, extremes.len(), fit.ripple.abs()) else {
            // Far more taps than narrow bands need leave errors of rounding only, which alternate as
            // they like.
            return (largest < NOTHING).then_some(extremes);
        };
        if next == extremes || largest <= fit.ripple.abs() * (1.0 + 1e-9) {
            return Some(next);
        }
        extremes = next;
    }
    None
}

/// Points of all bands, and the first index behind each band.
fn grid(
    length: usize,
    bands: &[Band],
    density: usize,
    crowded: bool,
    desired: &dyn Fn(f64) -> f64,
    weight: &dyn Fn(f64) -> f64,
) -> (Vec<Point>, Vec<usize>) {
    let odd = length % 2 == 1;
    let even_step = 0.5 / (density * length.div_ceil(2)) as f64;
    let (mut points, mut ends) = (Vec::new(), Vec::new());
    for (low, high) in bands {
        // A band narrower than the grid gets points of its own, both its ends among them.
        let width = high - low;
        let step = even_step.min(width / NARROW);
        let mut count = (width / step).floor() as usize;
        if crowded {
            count = (width / even_step).max(NARROW).ceil() as usize;
        }
        let crowded = crowded && count < FEW * density;
        if crowded {
            count += count / 2;
        }
        for k in 0..=count {
            let part = 0.5 - 0.5 * (PI * k as f64 / count as f64).cos();
            let at = if crowded { width * part } else { step * k as f64 };
            let f = if k == count { *high } else { low + at };
            // With an even number of taps H = cos(pi f) times a sum of cosines, zero at half the rate.
            let factor = if odd { 1.0 } else { (PI * f).cos() };
            if f > 0.5 - even_step && !odd {
                continue;
            }
            let (desired, weight) = (desired(f) / factor, weight(f) * factor);
            points.push(Point { x: (TAU * f).cos(), desired, weight });
        }
        ends.push(points.len());
    }
    (points, ends)
}

/// `count` points of alternating error, the largest there are; `None` where there are fewer.
fn alternation(errors: &[f64], ends: &[usize], count: usize, ripple: f64) -> Option<Vec<usize>> {
    if errors.iter().any(|e| !e.is_finite()) {
        return None;
    }
    // Local extremes, the ends of bands among them, of one sign in a row: the largest.
    let mut found: Vec<usize> = Vec::new();
    let mut start = 0;
    for end in ends {
        for k in start..*end {
            let size = errors[k].abs();
            let beside = |other: usize| errors[other] * errors[k].signum();
            let over_left = k == start || size >= beside(k - 1);
            let over_right = k + 1 == *end || size > beside(k + 1);
            if !(over_left && over_right) || size < ripple * (1.0 - 1e-6) {
                continue;
            }
            match found.last() {
                Some(last) if errors[*last].signum() == errors[k].signum() => {
                    if size > errors[*last].abs() {
                        *found.last_mut()? = k;
                    }
                }
                _ => found.push(k),
            }
        }
        start = *end;
    }
    // Too many: drop the smaller end, or where one more than an even number is over, both ends' pair.
    while found.len() > count {
        let ends = [errors[found[0]].abs(), errors[found[found.len() - 1]].abs()];
        let smallest = (0..found.len() - 1)
            .map(|k| (k, errors[found[k]].abs().max(errors[found[k + 1]].abs())))
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        if found.len() - count >= 2 && smallest.1 < ends[0].min(ends[1]) {
            found.drain(smallest.0..=smallest.0 + 1);
        } else if ends[0] < ends[1] {
            found.remove(0);
        } else {
            found.pop();
        }
    }
    (found.len() == count).then_some(found)
}

/// Taps of the sum of cosines: from its values at equal steps of the angle.
fn coefficients(length: usize, fit: &Interpolation) -> Option<Vec<f64>> {
    let odd = length % 2 == 1;
    // H itself at k/length cycles a sample; the taps are its inverse transform about the centre.
    let at = |k: usize| k as f64 / length as f64;
    let count = length.div_ceil(2);
    let sums = fit.at_each(&(0..count).map(|k| (TAU * at(k)).cos()).collect::<Vec<_>>());
    let factor = |k: usize| if odd { 1.0 } else { (PI * at(k)).cos() };
    let values: Vec<f64> = sums.into_iter().zip(0..).map(|(sum, k)| factor(k) * sum).collect();
    let turn = |half_steps: usize| (PI * half_steps as f64 / length as f64).cos();
    let table: Vec<f64> = (0..2 * length).map(turn).collect();
    let tap = |n: usize| {
        // Twice the distance from the centre.
        let from = 2 * n as i64 - (length as i64 - 1);
        let rest: f64 = (1..values.len())
            .map(|k| values[k] * table[(k as i64 * from).rem_euclid(2 * length as i64) as usize])
            .sum();
        (values[0] + 2.0 * rest) / length as f64
    };
    let half: Vec<f64> = (0..length.div_ceil(2)).map(tap).collect();
    let taps: Vec<f64> = (0..length).map(|n| half[n.min(length - 1 - n)]).collect();
    taps.iter().all(|t| t.is_finite()).then_some(taps)
}
