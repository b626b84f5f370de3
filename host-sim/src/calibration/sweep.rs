//! **Sweep**: a reference that records the motion while it goes on: a stage's encoder, or the interferometer. Its delay
//! and clock against the readings are fitted, and readings are held against where it says that the mass was then.
//!
//! The first alignment takes an axis as it is read, shares of the others and all. What the bridges' lines then leave
//! along the balances' speed is delay and clock that were missed, and is put right until it is nothing.

use super::bridges::{Forward, Found, Point, fit};
use super::regression::regress;
use crate::error::{Error, Result};
use crate::instrument::Sensor;
use crate::pendulum::swing::Measured;
use crate::records::Record;
use crate::records::resample::{Column, Interpolation};
use crate::separation::align::{Alignment, align};
use nalgebra::DMatrix;

/// Most points; more readings are passed over evenly.
const MOST: usize = 4000;
/// Readings from one point to the next, at least: their filters make neighbours alike.
const APART: usize = 3;
/// Stretches of a sweep that uncertainties are told from: noise of any spectrum counts as it does.
pub const STRETCHES: usize = 40;
/// Times that delay and clock are put right; three are usual.
const ROUNDS: usize = 6;
/// Part of a row's spacing that is no delay.
const SETTLED: f64 = 1e-6;

/// A reference's record.
#[derive(Debug)]
pub struct Reference<'a> {
    /// Rows.
    pub record: &'a Record,
    /// Which of the sensor's axes, counted in its order, each column is; axes without a column stand still.
    pub columns: &'a [usize],
}

/// A calibration by a sweep.
#[derive(Debug)]
pub struct Swept {
    /// Readings, and where the reference says that the mass was.
    pub points: Vec<Point>,
    /// How its times go.
    pub alignment: Alignment,
    /// Of each bridge.
    pub found: Vec<Found>,
}

/// Calibrates by readings whose first columns are the sensor's axes, those behind the bridges' quadratures. A delay of up
/// to `within_s` is looked for.
///
/// # Errors
/// Nothing of the one seen in the other, or too little in common; see [`fit`].
pub fn calibrate(
    sensor: &Sensor,
    readings: &Record,
    reference: &Reference<'_>,
    within_s: f64,
) -> Result<Swept> {
    let forward = Forward::new(sensor)?;
    let axes = sensor.axes().len();
    let table = Interpolation::new();
    let mut alignment = first(readings, reference, within_s)?;
    let mut round = 0;
    loop {
        let (points, times_s) = points(readings, axes, reference, &table, &alignment);
        let found = fit(sensor, &points, Some(STRETCHES))?;
        round += 1;
        let missed = missed(&forward, reference, &table, &alignment, &points, &times_s, &found);
        // Where nothing tells them better the first alignment stands.
        let delay_s = missed.map_or(0.0, |[delay_s, clock]| {
            for (is, more) in [(&mut alignment.delay_s, delay_s), (&mut alignment.clock, clock)] {
                *is = Measured { value: is.value + more.value, uncertainty: more.uncertainty };
            }
            delay_s.value
        });
        if round == ROUNDS || delay_s.abs() < SETTLED / readings.rate_hz {
            return Ok(Swept { points, alignment, found });
        }
    }
}

/// By the axis that tells the delay best.
fn first(readings: &Record, reference: &Reference<'_>, within_s: f64) -> Result<Alignment> {
    let mut best: Option<Alignment> = None;
    let mut refused = None;
    for (n, axis) in reference.columns.iter().enumerate() {
        let first = Column { record: readings, n: *axis };
        match align(first, Column { record: reference.record, n }, within_s) {
            Ok(found) => {
                let sure = |a: &Alignment| a.delay_s.uncertainty;
                if best.is_none_or(|best| sure(&found.alignment) < sure(&best)) {
                    best = Some(found.alignment);
                }
            }
            Err(error) => refused = refused.or(Some(error)),
        }
    }
    let nothing = || Error::new("the reference has no axis of the sensor");
    best.ok_or_else(|| refused.unwrap_or_else(nothing))
}

/// Places of all axes at a time of the reference's own; `None` near the ends of its runs.
fn place(
    reference: &Reference<'_>,
    table: &Interpolation,
    axes: usize,
    t: f64,
) -> Option<Vec<f64>> {
    let mut place = vec![0.0; axes];
    for (n, axis) in reference.columns.iter().enumerate() {
        place[*axis] = Column { record: reference.record, n }.at(table, t)?;
    }
    Some(place)
}

/// Points, and their readings' times.
fn points(
    readings: &Record,
    axes: usize,
    reference: &Reference<'_>,
    table: &Interpolation,
    alignment: &Alignment,
) -> (Vec<Point>, Vec<f64>) {
    let rows: usize = readings.runs.iter().map(ExactSizeIterator::len).sum();
    let apart = rows.div_ceil(MOST).max(APART);
    let (mut points, mut times_s) = (Vec::new(), Vec::new());
    for (run, start_s) in readings.runs.iter().zip(&readings.starts_s) {
        for k in run.clone().step_by(apart) {
            let time_s = start_s + (k - run.start) as f64 / readings.rate_hz;
            let then_s = alignment.second_s(time_s);
            if let Some(place) = place(reference, table, axes, then_s) {
                let read = |n: &[Vec<f64>]| n.iter().map(|column| column[k]).collect();
                let (own, quadratures) = readings.columns.split_at(axes);
                let (read, quadrature) = (read(own), read(quadratures));
                points.push(Point { place, read, quadrature, noise: None });
                times_s.push(time_s);
            }
        }
    }
    (points, times_s)
}

/// Delay and clock that were missed: what all bridges' lines leave along their balances' speed.
fn missed(
    forward: &Forward<'_>,
    reference: &Reference<'_>,
    table: &Interpolation,
    alignment: &Alignment,
    points: &[Point],
    times_s: &[f64],
    found: &[Found],
) -> Option<[Measured; 2]> {
    let step_s = 0.5 / reference.record.rate_hz;
    let (mut speeds, mut left) = (Vec::new(), Vec::new());
    for (n, (point, time_s)) in points.iter().zip(times_s).enumerate() {
        let at =
            |t: f64| place(reference, table, point.place.len(), alignment.second_s(*time_s) + t);
        let (Some(before), Some(behind)) = (at(-step_s), at(step_s)) else { continue };
        let [before, behind] = [before, behind].map(|place| forward.balances(&place).0);
        for (b, found) in found.iter().enumerate() {
            let speed = (behind[b] - before[b]) / (2.0 * step_s);
            let weight = found.gain() / found.line.residual_sd.max(f64::MIN_POSITIVE);
            speeds.push([speed * weight, speed * weight * (time_s - alignment.middle_s)]);
            left.push(found.line.residuals[n] / found.gain() * weight);
        }
    }
    // Later than thought: the reference is asked for too late a time, and what is read lags behind it.
    let x = DMatrix::from_fn(left.len(), 2, |n, k| -speeds[n][k]);
    let fit = regress(&x, &left, None).ok()?.by_stretches(&x, STRETCHES);
    Some([0, 1].map(|n| Measured { value: fit.values[n], uncertainty: fit.uncertainty(n) }))
}
