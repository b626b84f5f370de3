//! **Values between rows, and fewer rows**: both by filters that are symmetrical in time. Interpolation whose passband reaches to 0.42 of the rate, by sines over their
//! arguments under Kaiser's window.

use super::Record;
use crate::filter::design::kaiser::{bessel_i0, beta, order};
use std::f64::consts::PI;
use std::ops::Range;

/// Values on each side that a value between takes.
pub const REACH: usize = 32;
/// Places between two values that weights are kept for; straight lines between.
const PLACES: usize = 512;
/// Shape of the window: 1e-7 within the passband.
const BETA: f64 = 14.0;

/// Weights.
#[derive(Debug)]
pub struct Interpolation {
    /// For each place the weights of the values from `REACH - 1` before to `REACH` behind.
    weights: Vec<[f64; 2 * REACH]>,
}

impl Interpolation {
    /// Makes the table.
    #[must_use]
    pub fn new() -> Self {
        let weight = |distance: f64| {
            let u = distance / REACH as f64;
            if distance == 0.0 {
                return 1.0;
            }
            let sine = (PI * distance).sin() / (PI * distance);
            sine * bessel_i0(BETA * (1.0 - u * u).max(0.0).sqrt()) / bessel_i0(BETA)
        };
        let place = |n: usize| {
            let into = n as f64 / PLACES as f64;
            let raw: [f64; 2 * REACH] =
                std::array::from_fn(|k| weight(k as f64 - (REACH as f64 - 1.0) - into));
            // A constant stays as it is.
            let sum: f64 = raw.iter().sum();
            raw.map(|w| w / sum)
        };
        Self { weights: (0..=PLACES).map(place).collect() }
    }

    /// Value at a place, in rows from the first; `None` within [`REACH`] of an end of the run that holds it.
    #[must_use]
    pub fn at(&self, values: &[f64], runs: &[Range<usize>], place: f64) -> Option<f64> {
        let known = place >= 0.0;
        if !known {
            return None;
        }
        let row = place.floor() as usize;
        let run = &runs[runs.partition_point(|run| run.end <= row)..];
        let run =
            run.first().filter(|run| run.start + REACH <= row + 1 && row + REACH < run.end)?;
        assert!(run.contains(&row));
        let into = place.fract() * PLACES as f64;
        let (low, part) = (into.floor() as usize, into.fract());
        let values = &values[row + 1 - REACH..=row + REACH];
        let [a, b] = [low, low + 1]
            .map(|n| -> f64 { self.weights[n].iter().zip(values).map(|(w, x)| w * x).sum() });
        Some(a + (b - a) * part)
    }
}

impl Default for Interpolation {
    fn default() -> Self {
        Self::new()
    }
}

/// A column of a record.
#[derive(Debug, Clone, Copy)]
pub struct Column<'a> {
    /// Record.
    pub record: &'a Record,
    /// Which of its columns.
    pub n: usize,
}

impl Column<'_> {
    /// Its values.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.record.columns[self.n]
    }

    /// Value at a time of its own; none near the ends of runs.
    #[must_use]
    pub fn at(&self, table: &Interpolation, time_s: f64) -> Option<f64> {
        let Record { starts_s, runs, rate_hz, .. } = self.record;
        // A run starts where it says: rows that are not in the file take no place between two of them.
        let n = starts_s.partition_point(|start| *start <= time_s).checked_sub(1)?;
        let place = runs[n].start as f64 + (time_s - starts_s[n]) * rate_hz;
        table.at(self.values(), &runs[n..=n], place)
    }
}

/// Rejection of what would fold, dB.
const REJECTION_DB: f64 = 140.0;
/// Ends of the passband and start of the stopband, of the lower rate. What folds stays above the passband.
const BAND: [f64; 2] = [0.4, 0.6];

/// Every `ratio`-th row of a record behind a filter: flat to 1e-6 up to 0.4 of the lower rate; what folds, by 140 dB, lies
/// above that. A run loses what the filter reaches beyond its ends; one that is shorter is left out.
#[must_use]
pub fn fewer(record: &Record, ratio: usize) -> Record {
    if ratio <= 1 {
        return record.clone();
    }
    let [pass, stop] = BAND.map(|f| f / ratio as f64);
    let reach = (order(REJECTION_DB, stop - pass) / 2.0).ceil() as usize;
    let longest = record.runs.iter().map(Range::len).max().unwrap_or(0);
    if longest <= 2 * reach {
        // Nothing is left, and no filter of any length is made for it.
        return Record {
            columns: vec![Vec::new(); record.columns.len()],
            runs: Vec::new(),
            starts_s: Vec::new(),
            rate_hz: record.rate_hz / ratio as f64,
            ..record.clone()
        };
    }
    let cut = pass + stop;
    let shape = beta(REJECTION_DB);
    let tap = |n: usize| {
        let u = n as f64 / (reach + 1) as f64;
        let x = PI * cut * n as f64;
        let sine = if n == 0 { 1.0 } else { x.sin() / x };
        cut * sine * bessel_i0(shape * (1.0 - u * u).sqrt()) / bessel_i0(shape)
    };
    let half: Vec<f64> = (0..=reach).map(tap).collect();
    // A constant stays as it is.
    let sum: f64 = half[0] + 2.0 * half[1..].iter().sum::<f64>();
    let taps: Vec<f64> = (0..=2 * reach).map(|n| half[n.abs_diff(reach)] / sum).collect();
    let mut columns = vec![Vec::new(); record.columns.len()];
    let (mut runs, mut starts_s) = (Vec::new(), Vec::new());
    for (run, start_s) in record.runs.iter().zip(&record.starts_s) {
        if run.len() < taps.len() {
            continue;
        }
        let first = columns.first().map_or(0, Vec::len);
        for (out, values) in columns.iter_mut().zip(&record.columns) {
            let windows = values[run.clone()].windows(taps.len()).step_by(ratio);
            // Slow values far from zero keep their last digits.
            let about = values[run.start];
            out.extend(windows.map(|window| {
                let sum = |sum, (x, tap): (&f64, &f64)| sum + (x - about) * tap;
                about + window.iter().zip(&taps).fold(0.0, sum)
            }));
        }
        runs.push(first..columns.first().map_or(0, Vec::len));
        starts_s.push(start_s + reach as f64 / record.rate_hz);
    }
    Record {
        names: record.names.clone(),
        columns,
        runs,
        starts_s,
        rate_hz: record.rate_hz / ratio as f64,
        left_out: record.left_out,
    }
}
