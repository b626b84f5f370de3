//! A reference that records the motion while it goes on, and what is left beside the exact inverse.

use super::bench::{Bench, calibrated, places};
use crate::normal::Normal;
use quietgap_sim::calibration::bridges::{Point, fit};
use quietgap_sim::calibration::sweep::{Reference, STRETCHES, Swept, calibrate};
use quietgap_sim::error::Error;
use quietgap_sim::readout::ideal::bridge::read;
use quietgap_sim::readout::ideal::housing::Housing;
use quietgap_sim::records::{LeftOut, Record};
use std::f64::consts::TAU;

const SECONDS: f64 = 600.0;
const RATE_HZ: f64 = 10.0;
/// Of the reference: its rows, how much later it stamps them, and how fast its clock is.
const REFERENCE_HZ: f64 = 25.0;
const DELAY_S: f64 = 0.37;
const CLOCK: f64 = 40e-6;

/// Six axes at periods of their own.
fn motion(t: f64) -> [f64; 6] {
    std::array::from_fn(|axis| {
        let reach = if axis < 3 { 5e-4 } else { 3e-3 };
        reach * (TAU * t / (40.0 + 9.0 * axis as f64) + axis as f64).sin()
    })
}

fn record(rate_hz: f64, rows: Vec<Vec<f64>>) -> Record {
    let columns: Vec<Vec<f64>> =
        (0..rows[0].len()).map(|n| rows.iter().map(|row| row[n]).collect()).collect();
    let whole = 0..rows.len();
    Record {
        names: (0..columns.len()).map(|n| format!("column {n}")).collect(),
        columns,
        runs: vec![whole],
        starts_s: vec![0.0],
        rate_hz,
        left_out: LeftOut::default(),
    }
}

/// What the reference records of axes: at its own time t' the motion of another.
fn reference(axes: &[usize]) -> Record {
    let rows = (0..(SECONDS * REFERENCE_HZ) as usize).map(|n| {
        let own_s = n as f64 / REFERENCE_HZ;
        let time_s = own_s * (1.0 - CLOCK) - DELAY_S;
        axes.iter().map(|axis| motion(time_s)[*axis]).collect()
    });
    record(REFERENCE_HZ, rows.collect())
}

fn readings(bench: &Bench, noise: f64) -> Record {
    let mut draw = Normal::new(8);
    let rows = (0..(SECONDS * RATE_HZ) as usize).map(|n| {
        let place = motion(n as f64 / RATE_HZ);
        let (axes, quadrature) = bench.row(&bench.told, &bench.housing, place, noise, &mut draw);
        [axes, quadrature].concat()
    });
    record(RATE_HZ, rows.collect())
}

fn by_sweep(bench: &Bench, readings: &Record, columns: &[usize]) -> Result<Swept, Error> {
    let record = &reference(columns);
    calibrate(&bench.told, readings, &Reference { record, columns }, 2.0)
}

/// Six axes moving at once, with 0.5 codes of noise a reading: as true as by five positions.
#[test]
fn a_sweep_makes_the_sensor_true() {
    let bench = Bench::new();
    let all = [0, 1, 2, 3, 4, 5];
    let Swept { points, alignment, found } =
        by_sweep(&bench, &readings(&bench, 0.5), &all).unwrap();
    assert!(points.len() > 1500 && points.len() <= 4000, "{}", points.len());
    // The reference stamps late: the readings are early by that, and by what its clock makes to the middle.
    let middle_s = alignment.middle_s;
    let want_s = middle_s - (middle_s + DELAY_S) / (1.0 - CLOCK);
    for (is, want, least) in
        [(alignment.delay_s, want_s, 1e-6), (alignment.clock, 1.0 - 1.0 / (1.0 - CLOCK), 1e-8)]
    {
        let off = (is.value - want).abs();
        assert!(off < 4.0 * is.uncertainty && is.uncertainty < least, "{is:?} {want}");
    }
    let sensor = calibrated(&bench.told, &found);
    let housing = Housing::new(&sensor);
    let mut worst = [0f64; 6];
    for (n, place) in
        places().into_iter().chain((0..200).map(|n| motion(3.0 * f64::from(n)))).enumerate()
    {
        let is = bench.row(&sensor, &housing, place, 0.0, &mut Normal::new(n as u64)).0;
        for axis in 0..6 {
            let range = if axis < 3 { 1e-3 } else { 1e-2 };
            worst[axis] = worst[axis].max((is[axis] - place[axis]).abs() / range);
        }
    }
    println!("{worst:?} {alignment:?}");
    assert!(worst.iter().all(|off| *off < 1e-5), "{worst:?}");
    for found in &found {
        assert_eq!(found.line.degrees, (STRETCHES - 7) as f64);
        for [bend, sure] in found.bent.unwrap() {
            assert!(bend.abs() < 4.0 * sure && sure < 1e-4, "{bend:e} {sure:e}");
        }
    }
}

/// An axis that the reference does not record is one that it does not move.
#[test]
fn an_axis_without_a_column_is_named() {
    let bench = Bench::new();
    let five = [0, 1, 2, 3, 4];
    let Err(refusal) = by_sweep(&bench, &readings(&bench, 0.5), &five) else { panic!("passed") };
    assert!(refusal.to_string().contains("phi_rad: the reference does not move"), "{refusal}");
}

/// Amplifiers that bend by 2e-4 of the balance squared and 3e-4 of its cube: found beside the exact inverse.
#[test]
fn what_is_bent_is_found() {
    let bench = Bench::new();
    let full: Vec<f64> = bench.a0_code.iter().copied().chain([f64::INFINITY]).collect();
    let told = &bench.told;
    let mut draw = Normal::new(12);
    let mut near: Vec<Point> = Vec::new();
    for place in places().into_iter().chain(places().into_iter().map(|p| p.map(|x| 1.3 * x))) {
        let envelopes = bench.plant.envelopes(place);
        let phasors: Vec<[f64; 2]> = envelopes
            .iter()
            .zip(&full)
            .map(|(e, full)| {
                let codes = [e.i, e.q].map(|v| v * bench.codes_per_volt);
                // In its own direction, with the sign of what it is in phase.
                let (sine, cosine) = told.design.signal_phase_rad.sin_cos();
                let r = (codes[0] * cosine + codes[1] * sine) / full;
                codes.map(|c| c * (1.0 + 2e-4 * r + 3e-4 * r * r) + 0.2 * draw.next())
            })
            .collect();
        let row = read(told, &bench.housing, &phasors);
        near.push(Point {
            place: place.to_vec(),
            read: row.axes,
            quadrature: row.quadrature,
            noise: None,
        });
    }
    let found = fit(told, &near, None).unwrap();
    for found in &found {
        let [[square, u2], [cube, u3]] = found.bent.unwrap();
        // Of what the amplifier sees: shares of 2 % of others that move alike are in it, squared.
        assert!((square / 2e-4 - 1.0).abs() < 0.1 && u2 < 2e-6, "{square:e} {u2:e}");
        assert!((cube / 3e-4 - 1.0).abs() < 0.2 && u3 < 1e-5, "{cube:e} {u3:e}");
    }
}
