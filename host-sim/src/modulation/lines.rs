//! **Lines** in noise: amplitudes at known frequencies.
//!
//! With U_k what taper k makes of a constant and Y_k of the reading turned back by the line's frequency, y = Re(A e^(i omega t))
//! gives Y_k = A U_k/2 and noise of the density S: A = 2 sum(U Y)/sum(U^2), both parts of which have the variance
//! 2 S/sum(U^2) (D. J. Thomson, Proc. IEEE 70 (1982) 1055, for several tapers and one line; recalled). Five sine tapers
//! lose 3.5 % against the bound of white noise, and let through little of what is far away. S is the mean power of the
//! tapers at neighbouring frequencies and of what the line leaves at its own.

use crate::analysis::tapers::{Cell, TAPERS, at, of_constant, without_line};
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// A line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Frequency.
    pub frequency_hz: f64,
    /// A of Re(A e^(i omega t)), t the record's own time.
    pub amplitude: Complex64,
    /// Standard uncertainty of each of its parts.
    pub uncertainty: f64,
    /// Degrees of freedom of that.
    pub degrees: f64,
    /// Amplitude density of the noise beside it.
    pub noise: f64,
}

/// Values with the times of their rows.
#[derive(Debug, Clone, Copy)]
pub struct Rows<'a> {
    /// Values.
    pub values: &'a [f64],
    /// Times.
    pub times_s: &'a [f64],
    /// Rows that follow each other.
    pub runs: &'a [Range<usize>],
    /// Rows a second.
    pub rate_hz: f64,
}

/// Neighbours to each side.
const BESIDE: i32 = 4;
/// Rounds of taking the other lines off.
const ROUNDS: usize = 6;
/// Bins that a line must lie from zero, and from another.
pub const APART_BINS: f64 = (TAPERS + 1) as f64;

/// Shortest run, rows, whose lines stand clear of zero and of each other.
#[must_use]
pub fn shortest(frequencies: &[f64], rate_hz: f64) -> usize {
    let mut sorted = frequencies.to_vec();
    sorted.sort_by(f64::total_cmp);
    let gaps = sorted.windows(2).map(|w| w[1] - w[0]);
    // From zero half of the distance is enough: there is no line, but the end of the drift.
    let least = gaps.fold(sorted.first().map_or(1.0, |f| 2.0 * f), f64::min);
    (APART_BINS * rate_hz / least).ceil() as usize
}

/// Fits lines of runs that are long enough; `None` where there is none.
#[must_use]
pub fn fit(rows: &Rows<'_>, frequencies: &[f64]) -> Option<Vec<Line>> {
    let least = shortest(frequencies, rows.rate_hz);
    let runs: Vec<&Range<usize>> = rows.runs.iter().filter(|run| run.len() >= least).collect();
    if runs.is_empty() || frequencies.is_empty() {
        return None;
    }
    let mut left: Vec<Vec<f64>> =
        runs.iter().map(|run| without_line(&rows.values[(*run).clone()])).collect();
    let weights: Vec<Cell> = runs.iter().map(|run| of_constant(run.len(), rows.rate_hz)).collect();
    let whole: f64 = weights.iter().flatten().map(|u| u.norm_sqr()).sum();
    let mut amplitudes = vec![Complex64::default(); frequencies.len()];
    // Of what all leave, each takes its own; what they take of each other is less each time.
    for _ in 0..ROUNDS {
        // What the first straight line took of the lines is no drift of what they leave.
        left.iter_mut().for_each(|x| *x = without_line(x));
        for (amplitude, f) in amplitudes.iter_mut().zip(frequencies) {
            let mut sum = Complex64::default();
            for ((run, x), weights) in runs.iter().zip(&left).zip(&weights) {
                let back = turned(-TAU * f * rows.times_s[run.start]);
                let cell = at(x, rows.rate_hz, *f);
                sum +=
                    cell.iter().zip(weights).map(|(y, u)| y * u.conj()).sum::<Complex64>() * back;
            }
            let step = sum * 2.0 / whole;
            *amplitude += step;
            for (run, x) in runs.iter().zip(&mut left) {
                take_off(x, step, *f, rows.times_s[run.start], rows.rate_hz);
            }
        }
    }
    let line = |(amplitude, f): (&Complex64, &f64)| {
        let (mut power, mut count) = (0.0, -1.0);
        for (run, x) in runs.iter().zip(&left) {
            let step = APART_BINS * rows.rate_hz / (run.len() + 1) as f64;
            for n in -BESIDE..=BESIDE {
                let beside = f + f64::from(n) * step;
                // As far from both ends of the band as tapers reach.
                if beside < step / 2.0 || beside > rows.rate_hz / 2.0 - step / 2.0 {
                    continue;
                }
                let cell = at(x, rows.rate_hz, beside);
                power += cell.iter().map(|y| y.norm_sqr()).sum::<f64>();
                count += TAPERS as f64;
            }
        }
        let density = power / count;
        Line {
            frequency_hz: *f,
            amplitude: *amplitude,
            uncertainty: (2.0 * density / whole).sqrt(),
            degrees: 2.0 * count,
            noise: density.sqrt(),
        }
    };
    Some(amplitudes.iter().zip(frequencies).map(line).collect())
}

fn turned(phase: f64) -> Complex64 {
    Complex64::new(phase.cos(), phase.sin())
}

/// Takes Re(A e^(i omega t)) off.
fn take_off(x: &mut [f64], amplitude: Complex64, frequency_hz: f64, start_s: f64, rate_hz: f64) {
    for (n, x) in x.iter_mut().enumerate() {
        let turn = TAU * frequency_hz * (start_s + n as f64 / rate_hz);
        *x -= (amplitude * turned(turn)).re;
    }
}
