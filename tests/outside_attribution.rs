//! What attribution and modulated experiments rest on, against statsmodels, SciPy and NumPy
//! (`tests/vectors/gen/attribution.py`).

use num_complex::Complex64;
use quietgap_sim::attribution::choose::{bound, chance};
use quietgap_sim::attribution::judge::{multiple_coherence, threshold};
use quietgap_sim::modulation::drive::frequency;
use quietgap_sim::modulation::lines::{Rows, fit};
use serde_json::Value;

fn vectors() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/vectors/attribution.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn complex(value: &Value) -> Vec<Complex64> {
    let pair = |z: &Value| Complex64::new(number(&z[0]), number(&z[1]));
    value.as_array().unwrap().iter().map(pair).collect()
}

/// As many of sorted p enter as statsmodels' `fdr_gbs` declares (Y. Gavrilov, Y. Benjamini, S. K. Sarkar, Ann. Stat. 37
/// (2009) 619).
#[test]
fn as_many_discoveries() {
    let vectors = vectors();
    let cases = vectors["discoveries"].as_array().unwrap();
    assert_eq!(cases.len(), 12);
    for case in cases {
        let (p, q) = (numbers(&case["p"]), number(&case["q"]));
        let enters = |(n, p): &(usize, &f64)| **p <= bound((n + 1) as f64, 30.0, q);
        let declared = p.iter().enumerate().take_while(enters).count();
        assert_eq!(declared as f64, number(&case["declared"]), "q {q}");
    }
}

#[test]
fn tails_and_coherence() {
    let vectors = vectors();
    for case in vectors["student"].as_array().unwrap() {
        let [t, degrees, p] = ["t", "degrees", "p"].map(|key| number(&case[key]));
        assert!((chance(t, degrees) / p - 1.0).abs() < 1e-9, "{case}: {}", chance(t, degrees));
    }
    for case in vectors["multiple_coherence"].as_array().unwrap() {
        let channels: Vec<_> = case["channels"].as_array().unwrap().iter().map(complex).collect();
        let reading = complex(&case["reading"]);
        let coherence = multiple_coherence(&channels, &reading);
        assert!((coherence - number(&case["coherence"])).abs() < 1e-9, "{coherence}");
        let threshold = threshold(channels.len(), reading.len() as f64, 0.95);
        assert!((threshold / number(&case["threshold"]) - 1.0).abs() < 1e-9, "{threshold}");
    }
}

/// Lines by tapers and by least squares in time are two estimates of the same record: apart by what the tapers lose, sqrt(1/0.933 - 1)
/// of the bound. The bound (IEEE Std 1057, a sine in white noise): variance 2 s^2/N of each part.
#[test]
fn lines_are_those_of_least_squares() {
    let vectors = vectors();
    let case = &vectors["sines"];
    let values = numbers(&case["values"]);
    let rate_hz = number(&case["rate_hz"]);
    let times_s: Vec<f64> =
        (0..values.len()).map(|n| number(&case["start_s"]) + n as f64 / rate_hz).collect();
    let run = 0..values.len();
    let rows =
        Rows { values: &values, times_s: &times_s, runs: std::slice::from_ref(&run), rate_hz };
    let lines = fit(&rows, &numbers(&case["frequency_hz"])).unwrap();
    let other = numbers(&case["least_squares"]);
    let bound = number(&case["noise"]) * (2.0 / values.len() as f64).sqrt();
    for (line, other) in lines.iter().zip(other.chunks(2)) {
        let ratio = line.uncertainty / bound;
        println!("{:e}: uncertainty over the bound {ratio:.3}", line.frequency_hz);
        // 1/sqrt(0.933) = 1.035; 88 degrees of freedom tell it to 8 %.
        assert!((0.85..1.25).contains(&ratio), "{ratio}");
        for (own, other) in [line.amplitude.re, line.amplitude.im].iter().zip(other) {
            let apart = (own - other).abs() / bound;
            assert!(apart < 4.0 * (1.0 / 0.933f64 - 1.0).sqrt(), "{own} {other}: {apart}");
        }
    }
    // The larger of both is the one that is found, by its frequency's own bound: sigma 24 s^2/((2 pi)^2 A^2 N^3) rate^2.
    let found = frequency(&rows).unwrap();
    let n = values.len() as f64;
    let own = (24.0 / n.powi(3)).sqrt() * 1e-9 / (std::f64::consts::TAU * 5e-9) * rate_hz;
    assert!((found - 0.13).abs() < 6.0 * own, "{found}: {own}");
}
