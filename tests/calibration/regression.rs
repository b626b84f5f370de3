//! Least squares and what it says of itself, against published examples.

use crate::normal::Normal;
use nalgebra::DMatrix;
use quietgap_sim::calibration::coverage::{Part, combined, factor, variance};
use quietgap_sim::calibration::regression::{Refusal, regress};
use serde_json::Value;

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
        serde_json::from_str(include_str!("../vectors/regression_certified.json")).expect("JSON");
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
        ("Norris", include_str!("../vectors/strd_norris.csv"), 1, 9.0),
        ("Pontius", include_str!("../vectors/strd_pontius.csv"), 2, 9.0),
        ("Filip", include_str!("../vectors/strd_filip.csv"), 10, 7.0),
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

/// A calibration propagated by GTC's uncertain numbers from every reading to every constant (`gen/calibration.py`), to
/// nine digits.
#[test]
fn a_whole_calibration_is_propagated() {
    let want: Value =
        serde_json::from_str(include_str!("../vectors/calibration_propagated.json")).expect("JSON");
    let list = |v: &Value| -> Vec<f64> {
        v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
    };
    let rows: Vec<Vec<f64>> = want["x"].as_array().unwrap().iter().map(list).collect();
    let x = DMatrix::from_fn(rows.len(), 3, |n, k| rows[n][k]);
    let fit = regress(&x, &list(&want["y"]), None).unwrap();
    let number = |v: &Value| v.as_f64().unwrap();
    let told = |key: &str| number(&want["told"][key]);
    let near = |is: f64, want: &Value, what: &str| {
        assert!((is / number(want) - 1.0).abs() < 1e-9, "{what}: {is:e} against {want}");
    };
    near(fit.residual_sd, &want["residual_sd"], "residuals");
    near(fit.correlation(0, 1), &want["correlation_gain_stray"], "correlation");
    let part = |uncertainty: f64, degrees: f64| Part { uncertainty, degrees };
    let gain = fit.values[0];
    let a0 = combined(&[
        part(fit.uncertainty(0) / gain, fit.degrees),
        part(told("stage_scale"), f64::INFINITY),
    ]);
    let [stray, share] = [fit.ratio(1), fit.ratio(2)];
    for (key, value, uncertainty) in [
        ("a0_code", told("a0_code") * gain, told("a0_code") * gain * a0.uncertainty),
        ("stray_f", told("pair_f") * stray[0], told("pair_f") * stray[1]),
        ("share", share[0], share[1]),
    ] {
        near(value, &want["values"][key], key);
        near(uncertainty, &want["uncertainties"][key], key);
    }
    near(a0.degrees, &want["degrees_a0"], "degrees of freedom");
}

/// Rows whose noise follows the row before by 0.95 of it: intervals from stretches hold as they say, those of
/// independent rows do not.
#[test]
fn stretches_count_noise_that_lasts() {
    let rows = 4000;
    let x = DMatrix::from_fn(rows, 3, |n, k| match k {
        0 => (n as f64 / 40.0).sin(),
        1 => 1.0,
        _ => (n as f64 / 57.0).cos(),
    });
    let truth = [1.0, 0.02, -0.03];
    let (mut held, mut plain, mut all) = (0, 0, 0);
    for seed in 0..100 {
        let mut draw = Normal::new(500 + seed);
        let mut noise = 0.0;
        let y: Vec<f64> = (0..rows)
            .map(|n| {
                noise = 0.95 * noise + draw.next();
                noise + (0..3).map(|k| x[(n, k)] * truth[k]).sum::<f64>()
            })
            .collect();
        let independent = regress(&x, &y, None).unwrap();
        let fit = independent.clone().by_stretches(&x, 40);
        assert_eq!(fit.degrees, 37.0);
        for (k, truth) in truth.iter().enumerate() {
            let off = (fit.values[k] - truth).abs();
            held += i32::from(off < factor(0.95, fit.degrees) * fit.uncertainty(k));
            plain += i32::from(off < 1.96 * independent.uncertainty(k));
            all += 1;
        }
    }
    println!("of {all}: {held} by stretches, {plain} by rows");
    assert!((f64::from(held) / f64::from(all) - 0.945).abs() < 0.045, "{held}");
    assert!(plain < 3 * all / 4, "{plain}");
    // Fewer stretches than there would be freedom for: as before.
    let short = regress(&x, &vec![1.0; rows], None).unwrap();
    assert_eq!(short.clone().by_stretches(&x, 6).degrees, short.degrees);
    assert_eq!(short.by_stretches(&x, 7).degrees, 4.0);
}
