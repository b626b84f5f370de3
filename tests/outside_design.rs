//! Filter design against published designs and SciPy's: `tests/vectors/fir_design.json` is by
//! `tests/vectors/gen/fir_design.py`.

use quietgap_sim::filter::design::equiripple::{DENSITY, exchange};
use quietgap_sim::filter::design::spread_zeros::{self, Bands, fewest};
use quietgap_sim::filter::design::{Need, half_band, kaiser, least_squares};
use quietgap_sim::filter::response::{Response, Taps, db};
use serde_json::Value;

fn vectors() -> Value {
    let path = format!("{}/tests/vectors/fir_design.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("vectors")).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().expect("a list");
    list.iter().map(|x| x.as_f64().expect("a number")).collect()
}

fn apart(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).fold(0.0, |m, (a, b)| m.max((a - b).abs()))
}

/// Largest error over a dense grid.
fn error(taps: &[f64], low: f64, high: f64, desired: f64) -> f64 {
    let response = Taps::new(taps);
    let at = |k: i32| response.gain_at(low + (high - low) * f64::from(k) / 20_000.0);
    (0..=20_000).map(|k| (at(k) - desired).abs()).fold(0.0, f64::max)
}

/// A low pass by the exchange.
fn low_pass(length: usize, pass: f64, stop: f64, weights: [f64; 2], density: usize) -> Vec<f64> {
    let middle = pass.midpoint(stop);
    let bands = [(0.0, pass), (stop, 0.5)];
    let desired = |f: f64| if f < middle { 1.0 } else { 0.0 };
    let weight = |f: f64| if f < middle { weights[0] } else { weights[1] };
    exchange(length, &bands, density, &desired, &weight).expect("settles")
}

/// McClellan, Parks and Rabiner 1973, figure 7: 24 taps, 0 to 0.08 and 0.16 to 0.5, equal weights; its
/// taps and deviation as printed (taken from an open-source test that cites the figure). The paper's
/// grid has 16 points a cosine, as ours.
#[test]
fn figure_7_of_mcclellan_parks_rabiner_1973() {
    let printed = [
        0.0033740917,
        0.014938299,
        0.010569360,
        0.0025415067,
        -0.015929392,
        -0.034085343,
        -0.038112177,
        -0.014629169,
        0.040089541,
        0.11540713,
        0.18850752,
        0.23354606,
    ];
    let taps = low_pass(24, 0.08, 0.16, [1.0, 1.0], DENSITY);
    assert!(apart(&taps, &printed) < 1e-6, "{}", apart(&taps, &printed));
    let deviation = error(&taps, 0.16, 0.5, 0.0);
    assert!((deviation - 0.012475).abs() < 2e-5 && (db(deviation) + 38.08).abs() < 0.02);
    // On the true response, not on a grid: SciPy's at density 64.
    let dense = low_pass(24, 0.08, 0.16, [1.0, 1.0], 256);
    assert!(apart(&dense, &numbers(&vectors()["mpr1973_n24"]["h"])) < 5e-5);
}

/// The same paper, figure 9: 32 taps, band pass 0.2 to 0.35 with weights 10, 1, 10.
#[test]
fn figure_9_of_mcclellan_parks_rabiner_1973() {
    let printed = [
        -0.0057534121,
        0.00099027198,
        0.0075733545,
        -0.0065141192,
        0.013960525,
        0.0022951469,
        -0.019994067,
        0.0071369560,
        -0.039657363,
        0.011260114,
        0.066233643,
        -0.010497223,
        0.085136133,
        -0.12024993,
        -0.29678577,
        0.30410917,
    ];
    let bands = [(0.0, 0.1), (0.2, 0.35), (0.425, 0.5)];
    let inside = |f: f64| (0.15..0.4).contains(&f);
    let desired = |f: f64| if inside(f) { 1.0 } else { 0.0 };
    let weight = |f: f64| if inside(f) { 1.0 } else { 10.0 };
    let taps = exchange(32, &bands, DENSITY, &desired, &weight).expect("settles");
    assert!(apart(&taps, &printed) < 1e-8, "{:e}", apart(&taps, &printed));
}

/// A 16-tap low pass, 0 to 0.15 and 0.2 to 0.5, as an open numerical package's own test prints it.
#[test]
fn sixteen_taps_as_another_package_prints_them() {
    let printed = [
        0.0415131831103279,
        0.0581639884202646,
        -0.0281579212691008,
        -0.0535575358002337,
        -0.0617245915143180,
        0.0507753178978075,
        0.207901833139646,
        0.332716089537544,
    ];
    let taps = low_pass(16, 0.15, 0.2, [1.0, 1.0], DENSITY);
    assert!(apart(&taps, &printed) < 1e-12, "{:e}", apart(&taps, &printed));
}

/// Oppenheim and Schafer's low pass, 0.4 pi to 0.6 pi, errors 0.01 and 0.001 (recalled; recomputed with
/// SciPy): orders 25, 26 and 27 with the errors they reach.
#[test]
fn oppenheim_schafer_equiripple() {
    let vectors = vectors();
    for order in [25usize, 26, 27] {
        let want = &vectors[format!("os_pm_M{order}")];
        let taps = low_pass(order + 1, 0.2, 0.3, [1.0, 10.0], 64);
        assert!(apart(&taps, &numbers(&want["h"])) < 1e-4, "{order}");
        let [pass, stop] = [error(&taps, 0.0, 0.2, 1.0), error(&taps, 0.3, 0.5, 0.0)];
        let relative =
            |is: f64, key: &str| (is / want[key].as_f64().expect("a number") - 1.0).abs();
        assert!(
            relative(pass, "dp") < 0.01 && relative(stop, "ds") < 0.01,
            "{order}: {pass} {stop}"
        );
    }
}

fn flat(pass: f64, stop: f64, level: f64, run: impl FnOnce(&Need<'_>) -> Vec<f64>) -> Vec<f64> {
    let leak = move |_: f64| level;
    let stops = vec![(stop, 0.5)];
    run(&Need { pass, desired: &|_| 1.0, ripple: level, lowest_ripple: level, stops, leak: &leak })
}

/// Oppenheim and Schafer's Kaiser-window low pass (recalled; recomputed with SciPy): 60 dB, beta
/// 5.65326, order 36.22, that is 37, and what its 38 taps reach. Kaiser's beta for 65 dB is in SciPy's
/// documentation.
#[test]
fn oppenheim_schafer_kaiser() {
    assert!((kaiser::beta(60.0) - 5.65326).abs() < 1e-5);
    assert!((kaiser::beta(65.0) - 6.20426).abs() < 1e-5);
    let order = kaiser::order(60.0, 0.1);
    assert!((order - 36.22).abs() < 0.01 && order.ceil() == 37.0, "{order}");
    // Ours aims a little lower than the formula: by as much higher here.
    let level = 10f64.powf((-60.0 + kaiser::MARGIN_DB) / 20.0);
    let taps = flat(0.2, 0.3, level, |need| kaiser::taps(38, need).expect("taps"));
    let vectors = vectors();
    let want = numbers(&vectors["os_kaiser_M37"]["h"]);
    assert!(apart(&taps, &want) < 1e-12, "{:e}", apart(&taps, &want));
    assert!((error(&taps, 0.0, 0.2, 1.0) - 0.001130).abs() < 1e-6);
    assert!((error(&taps, 0.3, 0.5, 0.0) - 0.000960).abs() < 1e-6);
    // Their high pass: 33.556 dB, beta 2.5974, order 23.73.
    let loss = -db(0.021);
    assert!((loss - 33.556).abs() < 1e-3 && (kaiser::beta(loss) - 2.5974).abs() < 1e-3);
    assert!((kaiser::order(loss, 0.075) - 23.73).abs() < 0.01);
    // Half band, 31 taps, by SciPy's firwin.
    let taps = flat(0.2, 0.3, level, |need| kaiser::taps(31, need).expect("taps"));
    let want = numbers(&vectors["halfband_firwin31_kaiser60"]);
    assert!(apart(&taps, &want) < 1e-12, "{:e}", apart(&taps, &want));
}

/// Noise bandwidth of the Kaiser-Bessel window (Harris 1978, table I, recalled to two digits; here
/// recomputed with SciPy): alpha 2, 2.5, 3, 3.5, 4096 points, periodic.
#[test]
fn kaiser_window_noise_bandwidth() {
    for (alpha, gain, bandwidth) in
        [(2.0, 0.4892, 1.4963), (2.5, 0.4396, 1.6519), (3.0, 0.4026, 1.7952), (3.5, 0.3735, 1.9284)]
    {
        let window = kaiser::window(4097, std::f64::consts::PI * alpha);
        let window = &window[..4096];
        let sum: f64 = window.iter().sum();
        let squares: f64 = window.iter().map(|w| w * w).sum();
        assert!((sum / 4096.0 - gain).abs() < 6e-5, "{alpha}: {}", sum / 4096.0);
        assert!((4096.0 * squares / sum.powi(2) - bandwidth).abs() < 6e-5, "{alpha}");
    }
    // I0(1) and I0(10), Abramowitz and Stegun, table 9.8 (recalled).
    assert!((kaiser::bessel_i0(1.0) - 1.266_065_877_752_008_4).abs() < 1e-15);
    assert!((kaiser::bessel_i0(10.0) / 2_815.716_628_466_254 - 1.0).abs() < 1e-14);
}

/// Half-band filters of five lengths: SciPy's ripple, every second tap zero but the centre,
/// H(f) + H(1/2 - f) = 1.
#[test]
fn half_bands() {
    let vectors = vectors();
    for (length, pass) in [(11usize, 0.2), (15, 0.2), (23, 0.2), (31, 0.21), (39, 0.2)] {
        let want = &vectors[format!("halfband_len{length}_fp{pass}")];
        let taps = half_band::taps(length, pass).expect("settles");
        for (n, tap) in taps.iter().enumerate() {
            let from = n.abs_diff(length / 2);
            let zero = from > 0 && from % 2 == 0;
            assert_eq!(*tap == 0.0, zero, "{length}: tap {n} is {tap}");
        }
        assert_eq!(taps[length / 2], 0.5);
        let response = Taps::new(&taps);
        for k in 0..=500 {
            let f = f64::from(k) * 1e-3;
            let sum = response.gain_at(f) + response.gain_at(0.5 - f);
            assert!((sum - 1.0).abs() < 1e-12, "{length}: {sum} at {f}");
        }
        let ripple = error(&taps, 0.0, pass, 1.0);
        let published = want["dp"].as_f64().expect("a number");
        assert!((ripple / published - 1.0).abs() < 2e-3, "{length}: {ripple}, not {published}");
        assert!((error(&taps, 0.5 - pass, 0.5, 0.0) / ripple - 1.0).abs() < 1e-6);
    }
    assert!(half_band::taps(12, 0.2).is_none() && half_band::taps(11, 0.25).is_none());
}

/// SciPy's `firls(33, [0, 0.4, 0.6, 1], [1, 1, 0, 0], weight=[1, 10])`.
#[test]
fn least_squares_as_scipy() {
    let ten = 10f64.sqrt();
    let leak = move |_: f64| 1.0 / ten;
    let stops = vec![(0.3, 0.5)];
    let need =
        Need { pass: 0.2, desired: &|_| 1.0, ripple: 1.0, lowest_ripple: 1.0, stops, leak: &leak };
    let taps = least_squares::taps(33, &need).expect("a solution");
    let want = numbers(&vectors()["firls33"]);
    assert!(apart(&taps, &want) < 1e-10, "{:e}", apart(&taps, &want));
    // Two taps more, a smaller integral, for odd and for even lengths.
    let energy = |length: usize| {
        let taps = least_squares::taps(length, &need).expect("a solution");
        let response = Taps::new(&taps);
        let at = |low: f64, high: f64, desired: f64, weight: f64| -> f64 {
            let point = |k: i32| response.gain_at(low + (high - low) * f64::from(k) / 4000.0);
            (0..4000).map(|k| weight * (point(k) - desired).powi(2)).sum::<f64>() * (high - low)
        };
        at(0.0, 0.2, 1.0, 1.0) + at(0.3, 0.5, 0.0, 10.0)
    };
    let [a, b, c, d] = [31, 32, 33, 34].map(energy);
    assert!(a > c && b > d, "{a:e} {b:e} {c:e} {d:e}");
}

/// A corrector for the droop of a CIC of order 4 to 0.4 of half the rate: least squares makes it
/// flatter than the 41 taps that SciPy's `firwin2` gives.
#[test]
fn droop_correction_is_flatter_than_scipys_frequency_sampling() {
    let droop = |f: f64| {
        let x = std::f64::consts::PI * f;
        if x == 0.0 { 1.0 } else { (x.sin() / x).powi(4) }
    };
    let flatness = |taps: &[f64]| {
        let response = Taps::new(taps);
        (0..=400)
            .map(|k| f64::from(k) * 5e-4)
            .fold(0.0f64, |m, f| m.max(db(response.gain_at(f) * droop(f)).abs()))
    };
    let theirs = flatness(&numbers(&vectors()["cic4_comp_firwin2_41"]));
    let desired = |f: f64| 1.0 / droop(f);
    let stops = vec![(0.3, 0.5)];
    let need = Need {
        pass: 0.2,
        desired: &desired,
        ripple: 1e-3,
        lowest_ripple: 1e-3,
        stops,
        leak: &|_| 1e-3,
    };
    let ours = flatness(&least_squares::taps(41, &need).expect("a solution"));
    let equal =
        flatness(&quietgap_sim::filter::design::equiripple::taps(41, &need).expect("settles"));
    println!(
        "largest droop left: {theirs} dB by firwin2, {ours} least squares, {equal} equiripple"
    );
    assert!(theirs < 0.2 && ours < theirs && equal < theirs);
}

/// Zeros spread over narrow bands: one in each is a boxcar (the CIC's response), two put zeros exactly at
/// k/D +- a; more taps, more rejection, and a constant passes whole.
#[test]
fn spread_zeros_stand_where_they_should() {
    let bands = |ratio| Bands { ratio, half: 0.01 };
    for ratio in [5, 6] {
        let boxcar = spread_zeros::taps(bands(ratio), &vec![1; ratio as usize / 2]);
        assert_eq!(boxcar.len() as u64, ratio);
        assert!(boxcar.iter().all(|t| (t - 1.0 / ratio as f64).abs() < 1e-15), "{boxcar:?}");
    }
    let cic = Response::of(1, 5, 1, Vec::new(), 1.0);
    let boxcar = spread_zeros::taps(bands(5), &[1, 1]);
    for f in [0.03, 0.11, 0.27, 0.4] {
        assert!((Taps::new(&boxcar).gain_at(f).abs() - cic.gain_at(f).abs()).abs() < 1e-15);
    }
    let at = 0.01 * std::f64::consts::FRAC_1_SQRT_2;
    for ratio in [5, 6] {
        let taps = spread_zeros::taps(bands(ratio), &vec![2; ratio as usize / 2]);
        for k in 1..=ratio / 2 {
            for sign in [-1.0, 1.0] {
                let gain = Taps::new(&taps).gain_at(k as f64 / ratio as f64 + sign * at);
                assert!(gain.abs() < 1e-15, "{k}/{ratio}: {gain}");
            }
        }
    }
    let mut before = f64::INFINITY;
    for zeros in 1..=8 {
        let taps = spread_zeros::taps(bands(5), &[zeros; 2]);
        assert_eq!(taps.len(), zeros * 4 + 1);
        assert!((taps.iter().sum::<f64>() - 1.0).abs() < 1e-15);
        let worst = error(&taps, 0.19, 0.21, 0.0);
        assert!(worst < before / 10.0, "{zeros}: {worst}");
        before = worst;
    }
}

/// As few zeros as leave what they may: no band could do with one less.
#[test]
fn as_few_zeros_as_needed() {
    for (ratio, half, leak) in
        [(25, 4.0 / 6250.0, 1e-6), (16, 0.01, 1e-5), (10, 0.02, 1e-7), (2, 0.1, 1e-5)]
    {
        let bands = Bands { ratio, half };
        let counts = fewest(bands, half, &|_| leak).expect("few");
        let worst = |counts: &[usize]| {
            let taps = spread_zeros::taps(bands, counts);
            let edge = Taps::new(&taps).gain_at(half);
            let band = |k: u64| {
                let centre = k as f64 / ratio as f64;
                error(&taps, centre - half, (centre + half).min(0.5), 0.0)
            };
            (1..=ratio / 2).map(band).fold(0.0, f64::max) / edge
        };
        assert!(worst(&counts) <= leak * 1.02, "{ratio}: {counts:?} leave {}", worst(&counts));
        for k in 0..counts.len() {
            let mut fewer = counts.clone();
            fewer[k] -= 1;
            assert!(worst(&fewer) > leak, "{ratio}: {counts:?}, band {k}");
        }
        assert!(counts.iter().all(|n| *n <= counts[0]), "{counts:?}");
    }
}
