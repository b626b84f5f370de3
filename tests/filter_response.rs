//! Responses of the workbench against SciPy's, against the plan's whole impulse response, and against
//! tones through the integers themselves.

use crate::specs::{WORKLOADS, spec};
use quietgap_sim::filter::check::bands::{alias, multiples};
use quietgap_sim::filter::check::noise;
use quietgap_sim::filter::check::settling::{LEVELS, Settling};
use quietgap_sim::filter::design::search::search;
use quietgap_sim::filter::integers::Integers;
use quietgap_sim::filter::response::{Response, Taps, db};
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::instrument::{BUILT_IN, Sensor};
use serde_json::Value;
use std::f64::consts::TAU;

fn json(name: &str) -> Value {
    let path = format!("{}/tests/vectors/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("vectors")).expect("JSON")
}

/// Odd, even and half-band taps: `scipy.signal.freqz` of ten integer tap sets at 50 frequencies
/// (`tests/vectors/gen/fir.py`). SciPy's sums err by some 1e-16 of the largest.
#[test]
fn fir_stages_as_scipys_freqz() {
    let sets = json("fir_response.json");
    let sets = sets.as_array().expect("sets");
    assert_eq!(sets.len(), 10);
    let mut deepest = 0f64;
    for set in sets {
        let list = |key: &str| set[key].as_array().expect("a list").clone();
        let taps: Vec<f64> =
            list("taps").iter().map(|t| t.as_f64().expect("a tap") / 2f64.powi(30)).collect();
        let response = Taps::new(&taps);
        let column = |key: &str| -> Vec<f64> {
            list(key).iter().map(|x| x.as_f64().expect("a number")).collect()
        };
        let (f, re, im) = (column("f"), column("re"), column("im"));
        assert_eq!(f.len(), 50);
        for (f, size) in f.iter().zip(re.iter().zip(&im).map(|(a, b)| a.hypot(*b))) {
            let gain = response.gain_at(*f).abs();
            assert!((gain - size).abs() < 3e-15, "{}: {gain:e}, not {size:e}", set["name"]);
            deepest = deepest.min(db(gain));
        }
    }
    println!("deepest {deepest} dB");
}

/// CICs of six real ratios: droop and alias attenuation by formula in 50 digits
/// (`tests/vectors/gen/cic.py`).
#[test]
fn cic_as_in_fifty_digits() {
    let rows = json("cic_finiteR.json");
    let mut compared = 0;
    for row in rows.as_array().expect("rows") {
        let number = |key: &str| row[key].as_f64().unwrap_or_else(|| panic!("{key} in {row}"));
        let (order, ratio) = (number("N") as u8, number("R") as u16);
        let delay = number("M") as u8;
        let response = Response::of(order, ratio, delay, Vec::new(), f64::from(ratio));
        // In output rates.
        let (one, of) = row["fc"].as_str().and_then(|f| f.split_once('/')).expect("a fraction");
        let fc = one.parse::<f64>().expect("a number") / of.parse::<f64>().expect("a number");
        let droop = -db(response.gain(0, fc));
        let folded = -db(response.gain(1, -fc));
        assert!((droop - number("droop_dB")).abs() < 1e-9, "{row}: {droop}");
        assert!((folded - number("alias_dB")).abs() < 1e-9, "{row}: {folded}");
        compared += 1;
    }
    assert!(compared >= 6);
}

/// A stop band of -200 dB is the filter's own: three equal stages whose zero of order two each stands
/// at a third of the rate, near which the gain is known in closed form.
#[test]
fn two_hundred_decibels_are_real() {
    // (1 + z^-1 + z^-2)^2 / 16, exact in binary: H = ((1 + 2 cos w)/4)^2.
    let taps: Vec<f64> = [1.0, 2.0, 3.0, 2.0, 1.0].iter().map(|t| t / 16.0).collect();
    let stages = (0..3).map(|_| (Taps::new(&taps), 3)).collect();
    let response = Response::of(1, 2, 1, stages, 54.0);
    assert_eq!(response.output_rate_hz(), 1.0);
    // 9 output rates from zero: the first stage's zero. A little beside it, 1 + 2 cos w = -sqrt(3) d.
    for offset in [1e-3, 1e-4, 1e-5] {
        let d = TAU * offset / 27.0;
        let own = (3f64.sqrt() * d / 4.0).powi(2);
        let stage = response.stage_gain(1, 9, offset);
        // The next term of the series is d/(2 sqrt 3) of it; sums round to 2^-54 of the largest tap.
        assert!((stage - own).abs() < 2.0 * d * own + 5e-17, "{offset}: {stage:e}, not {own:e}");
    }
    let depth = db(response.stage_gain(1, 9, 1e-5));
    assert!(depth < -200.0, "{depth} dB");
}

/// Only bands up to half the CIC's output rate, and the first beyond, are looked at: none of the others
/// is worse. All bands of a built-in plan, 33 points each.
#[test]
fn no_band_is_worse_than_those_looked_at() {
    let subject = Subject::of_sensor(&Sensor::load(BUILT_IN[2].0).expect("built in"));
    let mask = subject.plan.mask.clone().expect("a mask");
    let response = Response::new(&subject.plan, subject.rate_hz);
    let seconds = subject.span() as f64 / subject.rate_hz;
    let worst = multiples(&response)
        .map(|k| alias(&response, k, mask.alias_into_hz, seconds).gain)
        .fold(0.0, f64::max);
    let mut all = 0f64;
    for k in 1..=response.interval() / 2 {
        for n in -16..=16 {
            all = all.max(response.gain(k, mask.alias_into_hz * f64::from(n) / 16.0).abs());
        }
    }
    println!("worst {} dB of those looked at, {} dB of all", db(worst), db(all));
    assert!(all <= worst * (1.0 + 1e-12), "{} dB, not {} dB", db(all), db(worst));
    assert!(all > worst * 0.9);
}

/// Fifty tones through the integers of the 1 kS/s plan: magnitude at the output as computed. What may
/// differ: codes rounded to 1/12 (a reading takes up 4/12 codes^2 over f_s times the noise bandwidth,
/// here below half the output rate), and the carrier's cosines rounded to 2^-f, f = 23 for this plan,
/// which reads a tone elsewhere at up to 2^-f of its size.
#[test]
fn fifty_tones_through_the_integers() {
    let found = search(&spec(WORKLOADS[2].1)).expect("a plan");
    let subject = found.subject;
    let response = Response::new(&subject.plan, subject.rate_hz);
    let output = subject.output_rate_hz();
    let full = 2f64.powi(subject.code_bits as i32 - 1);
    let amplitude = 0.9 * full;
    let rounding = noise::converter_density(subject.rate_hz) * (output / 2.0).sqrt() / amplitude;
    let limit = 2f64.powi(-23) + 5.0 * rounding;
    let (mut measured_deep, mut worst) = (0, 0f64);
    for n in 0..50u64 {
        // Pass band, transition, then aliases of the last stage, of the first, of the CIC; whole hertz,
        // none on a multiple of half the output rate, whose image would lie on the tone.
        let offset: i64 = match n {
            0..20 => 13 + 29 * n as i64,
            20..30 => -(17 + 61 * (n as i64 - 20)),
            30..38 => 811 + 233 * (n as i64 - 30),
            38..44 => 3_907 + 1_013 * (n as i64 - 38),
            44..48 => 19_903 + 271 * (n as i64 - 44),
            _ => -(40_011 + 13 * (n as i64 - 48)),
        };
        let tone = subject.carrier_hz as i64 + offset;
        let rate = subject.rate_hz as i64;
        let mut chain = Integers::new(&subject, 1).expect("fits");
        let frames =
            (subject.span() + 24 * subject.interval()).next_multiple_of(subject.interval());
        let codes: Vec<i32> = (0..frames as i64)
            .map(|k| {
                let turns = (tone * k).rem_euclid(rate) as f64 / rate as f64;
                (amplitude * (TAU * turns).cos()).round() as i32
            })
            .collect();
        let mut out = Vec::new();
        chain.push(&codes, |p, saturated| {
            assert!(!saturated);
            out.push(p[0]);
        });
        let settled = (subject.span() / subject.interval()) as usize;
        let phasors: Vec<[f64; 2]> = out[settled..].iter().map(|p| chain.codes(p)).collect();
        // The wanted component turns by `offset`, its image by -(tone + carrier): fit both.
        let angle = |hz: i64, k: usize| {
            TAU * (hz * k as i64 * subject.interval() as i64).rem_euclid(rate) as f64 / rate as f64
        };
        let image = -(tone + subject.carrier_hz as i64);
        let found = fit(&phasors, &|k| [angle(offset, k), angle(image, k)]);
        let is = found[0] / amplitude;
        let want = response.gain_at(offset as f64).abs();
        worst = worst.max((is - want).abs());
        assert!((is - want).abs() < limit, "{offset} Hz: {is:e}, not {want:e}, limit {limit:e}");
        measured_deep += usize::from(want < 1e-4 && want > 10.0 * limit);
        if want > 0.5 {
            assert!(
                (db(is) - db(want)).abs() < 1e-5,
                "{offset} Hz: {} dB, not {}",
                db(is),
                db(want)
            );
        }
    }
    println!(
        "worst {worst:e} of a tone, limit {limit:e}; {measured_deep} stop-band gains measured"
    );
    assert!(worst > 0.0);
}

/// Magnitudes of two turning components, least squares over complex readings.
fn fit(readings: &[[f64; 2]], angles: &dyn Fn(usize) -> [f64; 2]) -> [f64; 2] {
    use nalgebra::{DMatrix, DVector};
    let matrix = DMatrix::from_fn(2 * readings.len(), 4, |row, column| {
        let (k, is_q) = (row / 2, row % 2 == 1);
        let (s, c) = angles(k)[column / 2].sin_cos();
        // (a + i b)(c + i s) = a c - b s + i (a s + b c).
        match (column % 2 == 1, is_q) {
            (false, false) => c,
            (false, true) => s,
            (true, false) => -s,
            (true, true) => c,
        }
    });
    let right = DVector::from_iterator(2 * readings.len(), readings.iter().flatten().copied());
    let x = matrix.svd(true, true).solve(&right, 1e-9).expect("a solution");
    [x[0].hypot(x[1]), x[2].hypot(x[3])]
}

/// Settling as the integers do it: a carrier switched on at a sample, readings of the 1 kS/s plan
/// against the computed step response at the instants they stand at, and the time to 1e-3.
#[test]
fn a_step_through_the_integers() {
    let found = search(&spec(WORKLOADS[2].1)).expect("a plan");
    let subject = found.subject;
    let settling = Settling::new(&subject.plan, subject.rate_hz);
    let amplitude = 0.5 * 2f64.powi(subject.code_bits as i32 - 1);
    let mut chain = Integers::new(&subject, 1).expect("fits");
    let (interval, rate) = (subject.interval() as usize, subject.rate_hz as i64);
    // Whole intervals of zeros first; the carrier's period divides them.
    let before = 3 * interval;
    let codes: Vec<i32> = (0..before + 40 * interval)
        .map(|k| {
            let turns =
                (subject.carrier_hz as i64 * k as i64).rem_euclid(rate) as f64 / rate as f64;
            if k < before { 0 } else { (amplitude * (TAU * turns).cos()).round() as i32 }
        })
        .collect();
    let mut out = Vec::new();
    chain.push(&codes, |p, _| out.push(p[0]));
    let per_output = interval / usize::from(subject.plan.ratio);
    let mut last_outside = 0;
    for (n, phasor) in out.iter().enumerate().skip(3) {
        // Values of the step stand behind each interval of the CIC.
        let at = ((n - 2) * per_output - 1).min(settling.step.len() - 1);
        let is = chain.codes(phasor)[0] / amplitude;
        // The first intervals of the CIC weigh the image at twice the carrier by a rising part of its
        // response only: a few thousandths of the step, until that has passed. One interval of the CIC
        // too late would be off by a hundredth and more.
        assert!((is - settling.step[at]).abs() < 1e-3, "{n}: {is}, not {}", settling.step[at]);
        if (is - 1.0).abs() > LEVELS[0] {
            last_outside = n;
        }
    }
    let end = chain.codes(out.last().expect("outputs"))[0] / amplitude;
    assert!((end - 1.0).abs() < 1e-6, "{end}");
    let seconds = (last_outside - 2) as f64 * interval as f64 / subject.rate_hz;
    let told = settling.settled_s[0];
    assert!(
        seconds <= told && told <= seconds + interval as f64 / subject.rate_hz,
        "{seconds} {told}"
    );
    assert!(settling.settled_s[0] < settling.settled_s[1] && settling.overshoot > 0.0);
}
