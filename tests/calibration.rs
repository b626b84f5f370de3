//! Calibration against published examples of regression and uncertainty, and against a six-axis sensor whose gains,
//! phases and strays are known because they were put in.

#[path = "interferometer/normal.rs"]
mod normal;

use nalgebra::DMatrix;
use normal::Normal;
use quietgap_sim::calibration::bridges::{Forward, Found, Mixing, Point, fit, with_strays};
use quietgap_sim::calibration::coverage::{Part, combined, factor, variance};
use quietgap_sim::calibration::regression::{Refusal, Regression, regress};
use quietgap_sim::instrument::calibration_file::{date, days};
use quietgap_sim::instrument::{Design, Sensor};
use quietgap_sim::readout::ideal::bridge::read;
use quietgap_sim::readout::ideal::housing::Housing;
use quietgap_sim::simulation::plant::Parts;
use quietgap_sim::simulation::plant::drive::Drive;
use serde_json::Value;
use std::path::Path;

fn polynomial(x: &[f64], degree: usize) -> DMatrix<f64> {
    DMatrix::from_fn(x.len(), degree + 1, |n, k| x[n].powi(k as i32))
}

fn columns(text: &str) -> [Vec<f64>; 2] {
    let rows: Vec<Vec<f64>> = text
        .lines()
        .filter_map(|line| line.split(',').map(|c| c.trim().parse().ok()).collect())
        .collect();
    [0, 1].map(|k| rows.iter().map(|r| r[k]).collect())
}

fn certified(name: &str) -> Value {
    let all: Value =
        serde_json::from_str(include_str!("vectors/regression_certified.json")).expect("JSON");
    all[name].clone()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_str().unwrap().parse().unwrap()).collect()
}

/// Digits that agree.
fn digits(is: f64, want: f64) -> f64 {
    if is == want { 16.0 } else { -((is - want) / want).abs().log10() }
}

/// NIST's certified regressions (Statistical Reference Datasets, CHECKS CAL-4): 9 digits, Filip's 7.
#[test]
fn certified_regressions() {
    for (name, text, degree, least) in [
        ("Norris", include_str!("vectors/strd_norris.csv"), 1, 9.0),
        ("Pontius", include_str!("vectors/strd_pontius.csv"), 2, 9.0),
        ("Filip", include_str!("vectors/strd_filip.csv"), 10, 7.0),
    ] {
        let [y, x] = columns(text);
        let fit = regress(&polynomial(&x, degree), &y, None).unwrap();
        let want = certified(name);
        for (which, is, want) in [
            ("coefficient", fit.values.clone(), numbers(&want["certified_coef"])),
            (
                "uncertainty",
                (0..=degree).map(|n| fit.uncertainty(n)).collect(),
                numbers(&want["certified_sd"]),
            ),
        ] {
            for (n, (is, want)) in is.iter().zip(want).enumerate() {
                let agree = digits(*is, want);
                println!("{name}: {which} {n} to {agree:.1} digits");
                assert!(agree > least, "{name}: {which} {n} is {is:e}, {want:e}");
            }
        }
    }
    // Wampler 1 and 2: exact polynomials of 0 to 20.
    let x: Vec<f64> = (0..=20).map(f64::from).collect();
    for base in [1.0, 0.1] {
        let terms = |x: f64| (0..=5).map(|k| (base * x).powi(k)).sum::<f64>();
        let y: Vec<f64> = x.iter().map(|x| terms(*x)).collect();
        let fit = regress(&polynomial(&x, 5), &y, None).unwrap();
        for (k, is) in fit.values.iter().enumerate() {
            assert!(digits(*is, base.powi(k as i32)) > 9.0, "{base} {k}: {is:e}");
        }
    }
}

/// GUM H.3 (data from memory, results of CHECKS CAL-1): a thermometer's line about three temperatures.
#[test]
fn a_thermometers_line() {
    let t =
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b =
        [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let mean = t.iter().sum::<f64>() / 11.0;
    for (about, name) in [(20.0, "GUM_H3_t0_20"), (0.0, "GUM_H3_t0_0"), (mean, "GUM_H3_t0_mean")] {
        let x: Vec<f64> = t.iter().map(|t| t - about).collect();
        let fit = regress(&polynomial(&x, 1), &b, None).unwrap();
        let want = certified(name);
        let number = |key: &str| want[key].as_str().unwrap().parse::<f64>().unwrap();
        for (is, key) in [
            (fit.values[0], "y1"),
            (fit.values[1], "y2"),
            (fit.uncertainty(0), "u1"),
            (fit.uncertainty(1), "u2"),
            (fit.residual_sd, "s"),
        ] {
            assert!(digits(is, number(key)) > 11.0, "{name} {key}: {is}");
        }
        assert!((fit.correlation(0, 1) - number("r")).abs() < 1e-10, "{name}");
        let slopes = [1.0, 30.0 - about];
        let at = fit.values[0] + slopes[1] * fit.values[1];
        assert!(digits(at, number("b30")) > 11.0 && fit.degrees == 9.0);
        assert!(digits(variance(&slopes, &fit.covariance).sqrt(), number("uc30")) > 10.0);
    }
}

/// GUM H.1 (CHECKS CAL-3; parts from memory): combined uncertainty, effective degrees of freedom, Student's t.
#[test]
fn an_end_gauge() {
    let part = |uncertainty: f64, degrees: f64| Part { uncertainty, degrees };
    let all = combined(&[part(25.0, 18.0), part(9.7, 25.6), part(2.9, 50.0), part(16.6, 2.0)]);
    assert!((all.uncertainty / 31.671 - 1.0).abs() < 2e-3, "{all:?}");
    assert!((all.degrees - 16.76).abs() < 0.3, "{all:?}");
    assert!((factor(0.99, 16.76) - 2.92078).abs() < 1e-5);
    assert!((factor(0.95, f64::INFINITY) - 1.959_964).abs() < 1e-5);
    // GUM table G.2.
    for (degrees, want) in [(1.0, 12.71), (5.0, 2.57), (10.0, 2.23), (50.0, 2.01)] {
        assert!((factor(0.95, degrees) - want).abs() < 0.005, "{degrees}");
    }
}

#[test]
fn what_cannot_be_told_is_refused() {
    let x: Vec<f64> = (0..9).map(f64::from).collect();
    let y = vec![1.0; 9];
    assert_eq!(regress(&polynomial(&x[..3], 2), &y[..3], None).unwrap_err(), Refusal::TooFew(3));
    assert!(regress(&polynomial(&x[..4], 2), &y[..4], None).is_ok());
    let twice = DMatrix::from_fn(9, 3, |n, k| [1.0, x[n], 2.0 * x[n]][k]);
    assert_eq!(regress(&twice, &y, None).unwrap_err(), Refusal::NotTold(vec![1, 2]));
    let nothing = DMatrix::from_fn(9, 2, |_, k| if k == 0 { 1.0 } else { 0.0 });
    assert_eq!(regress(&nothing, &y, None).unwrap_err(), Refusal::NotTold(vec![1]));
    let mut bad = y.clone();
    bad[4] = f64::NAN;
    assert_eq!(regress(&polynomial(&x, 1), &bad, None).unwrap_err(), Refusal::NoNumber(4));
}

/// A weight of 4 counts as the row four times.
#[test]
fn weights_are_repeats() {
    let x = [0.0, 1.0, 2.0, 3.0, 5.0];
    let y = [0.1, 0.9, 2.2, 2.9, 5.05];
    let weights = [1.0, 4.0, 1.0, 2.0, 1.0];
    let weighed = regress(&polynomial(&x, 1), &y, Some(&weights)).unwrap();
    let (mut xs, mut ys) = (Vec::new(), Vec::new());
    for n in 0..5 {
        for _ in 0..weights[n] as usize {
            xs.push(x[n]);
            ys.push(y[n]);
        }
    }
    let repeated = regress(&polynomial(&xs, 1), &ys, None).unwrap();
    for k in 0..2 {
        assert!((weighed.values[k] - repeated.values[k]).abs() < 1e-12);
    }
}

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

/// What is true of the six-axis vault sensor, and what its file says.
struct Bench {
    plant: Drive,
    told: Sensor,
    housing: Housing,
    codes_per_volt: f64,
    /// Of the plant.
    a0_code: Vec<f64>,
}

/// Gains off by so much, shares of others of 2 % and less, phases by so many radians, strays in the plant that the file does not know.
const GAINS: [f64; 6] = [1e-3, -0.7e-3, 0.4e-3, -1e-3, 0.9e-3, -0.2e-3];
const PHASES: [f64; 6] = [0.052, -0.03, 0.01, 0.045, -0.052, 0.02];
const STRAYS_F: [f64; 6] = [40e-15, -25e-15, 10e-15, 35e-15, -40e-15, 5e-15];

/// Share of bridge `j` in bridge `b`: up to 2 %, of both signs, no two alike.
fn share(b: usize, j: usize) -> f64 {
    let sign = if (b + j).is_multiple_of(2) { 1.0 } else { -1.0 };
    if b == j { 0.0 } else { sign * (0.02 - 0.0005 * (6 * b + j) as f64) }
}

impl Bench {
    fn new() -> Self {
        let sensor = Sensor::load("vault-six-axis").unwrap();
        let mut plant = sensor.clone();
        let names: Vec<String> = plant.file.bridges.iter().map(|b| b.name.clone()).collect();
        for (b, (bridge, stray)) in plant.file.bridges.iter_mut().zip(STRAYS_F).enumerate() {
            let others = names.iter().enumerate().filter(|(j, _)| *j != b);
            bridge.cross_coupling = others.map(|(j, name)| (name.clone(), share(b, j))).collect();
            bridge.stray_f[0] += f64::max(stray, 0.0);
            bridge.stray_f[1] += f64::max(-stray, 0.0);
        }
        let mut told = sensor.clone();
        for b in 0..6 {
            told.file.bridges[b].a0_code = Some(sensor.design.a0_code[b] * (1.0 + GAINS[b]));
            told.file.bridges[b].alignment_rad = Some(sensor.design.signal_phase_rad + PHASES[b]);
        }
        let monitor = told.file.monitor.as_mut().unwrap();
        monitor.alignment_rad =
            Some(sensor.design.signal_phase_rad + sensor.file.amplifier.loss_rad);
        Self {
            plant: Drive::new(&plant, Parts::ALL),
            housing: Housing::new(&told),
            codes_per_volt: sensor.design.codes_per_volt,
            a0_code: Design::new(&plant.file, &plant.plan).a0_code,
            told,
        }
    }

    /// Reading at a pose by a sensor's constants, with noise of so many codes.
    fn point(&self, place: [f64; 6], noise: f64, draw: &mut Normal) -> Point {
        let row = self.row(&self.told, &self.housing, place, noise, draw);
        Point { place: place.to_vec(), read: row.0, quadrature: row.1, noise: vec![0.0; 6] }
    }

    fn row(
        &self,
        sensor: &Sensor,
        housing: &Housing,
        place: [f64; 6],
        noise: f64,
        draw: &mut Normal,
    ) -> (Vec<f64>, Vec<f64>) {
        let phasors: Vec<[f64; 2]> = self
            .plant
            .envelopes(place)
            .into_iter()
            .map(|e| [e.i, e.q].map(|v| v * self.codes_per_volt + noise * draw.next()))
            .collect();
        let row = read(sensor, housing, &phasors);
        (row.axes, row.quadrature)
    }
}

/// Five positions of each axis, the others at places of their own.
fn places() -> Vec<[f64; 6]> {
    let mut places = Vec::new();
    for axis in 0..6 {
        for step in -2..=2 {
            let mut place = [0.0; 6];
            let reach = if axis < 3 { 3e-4 } else { 4e-3 };
            place[axis] = reach * f64::from(step);
            places.push(place);
        }
    }
    places
}

fn calibrated(told: &Sensor, found: &[Found]) -> Sensor {
    let shares: Vec<f64> = found.iter().map(Found::stray_share).collect();
    let mut sensor = with_strays(told, &shares);
    let mixing = Mixing::new(told, found);
    for (b, found) in found.iter().enumerate() {
        let a0 = told.design.calibrated_a0(&told.file, b);
        let alignment = told.design.alignment(&told.file, b);
        let bridge = &mut sensor.file.bridges[b];
        bridge.a0_code = Some(a0 * mixing.gains[b]);
        bridge.cross_coupling = mixing.by_name(told, b);
        bridge.alignment_rad = Some(alignment + found.phase_rad[0]);
    }
    sensor
}

/// Five positions of each axis, gains 0.1 % off, phases 3 degrees, strays unknown: afterwards readings are within
/// 1e-5 of the range everywhere in it; before they were not.
#[test]
fn five_positions_make_the_sensor_true() {
    let bench = Bench::new();
    let mut draw = Normal::new(31);
    let points: Vec<Point> = places().into_iter().map(|p| bench.point(p, 0.5, &mut draw)).collect();
    let found = fit(&bench.told, &points).unwrap();
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
    let truth = fit(&bench.told, &exact).unwrap();
    let (mut held, mut all) = ([0; 4], 0);
    for seed in 0..200 {
        let mut draw = Normal::new(1000 + seed);
        let points: Vec<Point> =
            places().into_iter().map(|p| bench.point(p, 20.0, &mut draw)).collect();
        for (found, truth) in fit(&bench.told, &points).unwrap().iter().zip(&truth) {
            let wide = factor(0.95, found.line.degrees);
            let holds = |line: &Regression, n: usize| {
                (line.values[n] - truth.line.values[n]).abs() < wide * line.uncertainty(n)
            };
            held[0] += u32::from(holds(&found.line, 0));
            let off = found.stray_share() - truth.stray_share();
            let sure = found.line.uncertainty(1) / found.gain();
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
    let found = fit(&bench.told, one).unwrap();
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
    let refusal = fit(&bench.told, &still).expect_err("refused").to_string();
    assert!(refusal.contains("does not move"), "{refusal}");
    let few: Vec<Point> =
        places().into_iter().take(7).map(|p| bench.point(p, 0.5, &mut draw)).collect();
    let refusal = fit(&bench.told, &few).expect_err("refused").to_string();
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
