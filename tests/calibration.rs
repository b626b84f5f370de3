//! Calibration against published examples of regression and uncertainty, and against a six-axis sensor whose gains,
//! shares, phases and strays are known because they were put in.

mod bench;
mod regression;
mod sweep;

use crate::normal::Normal;
use bench::{Bench, PHASES, STRAYS_F, calibrated, places, share};
use quietgap_sim::calibration::bridges::{Forward, Mixing, Point, fit, with_strays};
use quietgap_sim::calibration::coverage::{factor, variance};
use quietgap_sim::calibration::regression::Regression;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::instrument::calibration_file::{date, days};
use quietgap_sim::readout::ideal::housing::Housing;
use std::path::Path;

/// Days of the civil calendar, both ways.
#[test]
fn days_are_the_calendars() {
    assert_eq!(days("1970-01-01"), Some(0));
    assert_eq!(days("2000-03-01"), Some(11_017));
    assert_eq!(days("2026-11-27"), Some(20_784));
    for day in 0..40_000 {
        assert_eq!(days(&date(day)), Some(day), "{}", date(day));
    }
    for bad in ["2026-13-01", "2026-00-01", "2026-11", "yesterday", "2026-11-27-1", "26-11-27"] {
        assert_eq!(days(bad), None, "{bad}");
    }
}

/// Five positions of each axis, gains 0.1 % off, phases 3 degrees, strays unknown: afterwards readings are within
/// 1e-5 of the range everywhere in it; before they were not.
#[test]
fn five_positions_make_the_sensor_true() {
    let bench = Bench::new();
    let mut draw = Normal::new(31);
    let points: Vec<Point> = places().into_iter().map(|p| bench.point(p, 0.5, &mut draw)).collect();
    let found = fit(&bench.told, &points, None).unwrap();
    let sensor = calibrated(&bench.told, &found);
    let housing = Housing::new(&sensor);
    let (mut before, mut behind) = ([0f64; 6], [0f64; 6]);
    for _ in 0..300 {
        // Uniform by a normal's fold would do; three sums of it are enough to reach all of the range.
        let place: [f64; 6] = std::array::from_fn(|axis| {
            let part = (draw.next() * 1e3).fract();
            part * if axis < 3 { 8e-4 } else { 5e-3 }
        });
        let old = bench.row(&bench.told, &bench.housing, place, 0.0, &mut draw).0;
        let new = bench.row(&sensor, &housing, place, 0.0, &mut draw).0;
        for axis in 0..6 {
            let range = if axis < 3 { 1e-3 } else { 1e-2 };
            before[axis] = before[axis].max((old[axis] - place[axis]).abs() / range);
            behind[axis] = behind[axis].max((new[axis] - place[axis]).abs() / range);
        }
    }
    println!("before {before:?}\nbehind {behind:?}");
    assert!(behind.iter().all(|off| *off < 1e-5), "{behind:?}");
    assert!(before.iter().any(|off| *off > 1e-3), "{before:?}");
    let shares = Mixing::new(&bench.told, &found).shares;
    for (b, found) in found.iter().enumerate() {
        for j in 0..6 {
            assert!((shares[(b, j)] - share(b, j)).abs() < 1e-5, "{b} {j}: {:e}", shares[(b, j)]);
        }
        let a0 = bench.told.design.calibrated_a0(&bench.told.file, b) * found.gain();
        assert!(
            (a0 / bench.a0_code[b] - 1.0).abs() < 1e-5,
            "{b}: {a0} against {}",
            bench.a0_code[b]
        );
        let pair: f64 = bench.told.design.c0_f[b].iter().sum();
        let stray = found.stray_share() * pair;
        assert!((stray - STRAYS_F[b]).abs() < 1e-17, "{b}: {stray:e}");
        assert!((found.phase_rad[0] + PHASES[b]).abs() < 1e-4, "{b}: {:?}", found.phase_rad);
    }
}

/// 200 repeats: intervals of 95 % of gain, strays, phase and shares hold as often as 90 to 99 %.
#[test]
fn two_hundred_calibrations_hold_their_intervals() {
    let bench = Bench::new();
    // What a calibration without noise finds is what there is to find.
    let mut none = Normal::new(0);
    let exact: Vec<Point> = places().into_iter().map(|p| bench.point(p, 0.0, &mut none)).collect();
    let truth = fit(&bench.told, &exact, None).unwrap();
    let (mut held, mut all) = ([0; 4], 0);
    for seed in 0..200 {
        let mut draw = Normal::new(1000 + seed);
        let points: Vec<Point> =
            places().into_iter().map(|p| bench.point(p, 20.0, &mut draw)).collect();
        for (found, truth) in fit(&bench.told, &points, None).unwrap().iter().zip(&truth) {
            let wide = factor(0.95, found.line.degrees);
            let holds = |line: &Regression, n: usize| {
                (line.values[n] - truth.line.values[n]).abs() < wide * line.uncertainty(n)
            };
            held[0] += u32::from(holds(&found.line, 0));
            let off = found.stray_share() - truth.stray_share();
            let sure = found.line.ratio(1)[1];
            held[1] += u32::from(off.abs() < wide * sure);
            let off = found.phase_rad[0] - truth.phase_rad[0];
            held[2] += u32::from(off.abs() < wide * found.phase_rad[1]);
            // One share of each bridge, another one every time.
            held[3] += u32::from(holds(&found.line, 2 + (all as usize / 6) % 5));
            all += 1;
        }
    }
    println!(
        "of {all}: gain {}, strays {}, phase {}, shares {}",
        held[0], held[1], held[2], held[3]
    );
    assert!(
        held.iter().all(|n| (f64::from(*n) / f64::from(all) - 0.945).abs() < 0.045),
        "{held:?}"
    );
}

/// Every other place predicts those between within its uncertainty.
#[test]
fn one_half_predicts_the_other() {
    let bench = Bench::new();
    let forward = Forward::new(&bench.told).unwrap();
    let mut draw = Normal::new(77);
    let mut all = places();
    // Twice, so that each half has every axis.
    all.extend(places().iter().map(|p| p.map(|x| -0.8 * x)));
    let points: Vec<Point> = all.into_iter().map(|p| bench.point(p, 20.0, &mut draw)).collect();
    let (one, two) = points.split_at(30);
    let found = fit(&bench.told, one, None).unwrap();
    let known: Vec<f64> = found.iter().map(|f| f.known_share).collect();
    let with = with_strays(&bench.told, &known);
    let with = Forward::new(&with).unwrap();
    for (b, found) in found.iter().enumerate() {
        let others: Vec<usize> = (0..6).filter(|j| *j != b).collect();
        let mut outside = 0;
        for point in two {
            let (wanted, polarisation) = with.balances(&point.place);
            let (sine, cosine) = found.phase_rad[0].sin_cos();
            let said = forward.balances(&point.read).0[b] * cosine + point.quadrature[b] * sine;
            let slopes: Vec<f64> = [wanted[b], 1.0 / polarisation]
                .into_iter()
                .chain(others.iter().map(|j| wanted[*j]))
                .collect();
            let predicted: f64 = slopes.iter().zip(&found.line.values).map(|(x, v)| x * v).sum();
            let own = found.line.residual_sd.powi(2);
            let sure = (variance(&slopes, &found.line.covariance) + own).sqrt();
            outside +=
                u32::from((said - predicted).abs() > factor(0.95, found.line.degrees) * sure);
        }
        assert!(outside <= 5, "{b}: {outside} of 30 outside 95 %");
    }
}

/// Axes that were not moved, or never alone, are named.
#[test]
fn an_axis_that_did_not_move_is_named() {
    let bench = Bench::new();
    let mut draw = Normal::new(5);
    let still: Vec<Point> = places()
        .into_iter()
        .map(|mut p| {
            (p[0], p[5]) = (0.0, 0.0);
            bench.point(p, 0.5, &mut draw)
        })
        .collect();
    let refusal = fit(&bench.told, &still, None).expect_err("refused").to_string();
    assert!(refusal.contains("does not move"), "{refusal}");
    let few: Vec<Point> =
        places().into_iter().take(7).map(|p| bench.point(p, 0.5, &mut draw)).collect();
    let refusal = fit(&bench.told, &few, None).expect_err("refused").to_string();
    assert!(refusal.contains("7 places, allowed 8"), "{refusal}");
    let two = Sensor::parse(
        Path::new("t.toml"),
        &include_str!("../host-sim/sensors/vault-two-bridge.toml")
            .replace("names = [\"x\", \"phi\"]", "names = [\"x\"]"),
    );
    if let Ok(two) = two {
        let refusal = Forward::new(&two).expect_err("refused").to_string();
        assert!(refusal.contains("2 bridges and 1 axes"), "{refusal}");
    }
}
