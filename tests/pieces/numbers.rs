//! Numerical pieces of the library by themselves.

use num_complex::Complex64;
use quietgap_sim::analysis::tapers::{
    Cell, Places, TAPERS, at, of_constant, smoothed, without_line,
};
use quietgap_sim::attribution::term::{Form, Term, lag, rate};
use quietgap_sim::filter::design::least_squares::solve;
use quietgap_sim::filter::design::low_delay::factor;
use quietgap_sim::filter::design::quadrature::panels;
use quietgap_sim::filter::response::{Response, Taps};
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::plant::electrodes::tilt_factor;
use std::f64::consts::{PI, TAU};

#[test]
fn polynomials_to_degree_fifteen_are_exact() {
    for degree in 0..16 {
        let sum: f64 = panels(0.0, 1.0, 1).iter().map(|(x, w)| w * x.powi(degree)).sum();
        assert!((sum - 1.0 / f64::from(degree + 1)).abs() < 1e-15, "{degree}: {sum}");
    }
}

/// Three points settle the three factors of five taps, exactly; two leave one open, and there are no taps.
#[test]
fn points_settle_taps() {
    let points = [(0.0, 1.0, 1.0), (0.2, 1.0, 0.5), (0.5, 1.0, 0.0)];
    let taps = solve(5, &points).expect("as many points as factors");
    let found = Taps::new(&taps);
    for (f, _, want) in points {
        assert!((found.gain_at(f) - want).abs() < 1e-14, "{f}: {taps:?}");
    }
    assert_eq!(solve(5, &points[..2]), None);
}

/// Magnitudes that later stages share are those of each multiple by itself, in whatever order multiples come.
#[test]
fn shared_gains_are_each_ones() {
    let stage = |taps: &[f64], ratio| (Taps::new(taps), ratio);
    let stages =
        vec![stage(&[0.2, 0.6, 0.2], 5), stage(&[0.5, 0.5], 2), stage(&[0.1, 0.4, 0.5], 3)];
    let response = Response::of(2, 8, 1, stages, 240.0);
    let offsets = [-0.3, 0.0, 0.2];
    let mut gains = response.at_each(&offsets);
    for multiple in [1, 7, 3, 33, 33, 4, 1, 30, 61, 0, 6, 12] {
        for (gain, offset_hz) in gains.around(multiple).iter().zip(offsets) {
            let want = response.gain(multiple, offset_hz).abs();
            assert!((gain - want).abs() < 1e-15, "{multiple} {offset_hz}: {gain} {want}");
        }
    }
}

/// (1 + a z)(1 + b z) by hand: zeros within the circle are found again, those outside mirrored.
#[test]
fn factors_of_a_product() {
    let correlate = |h: &[f64]| -> Vec<f64> {
        let last = h.len() as isize - 1;
        let at = |n: isize| if (0..=last).contains(&n) { h[n as usize] } else { 0.0 };
        (-last..=last).map(|lag| (0..=last).map(|n| at(n) * at(n + lag)).sum()).collect()
    };
    let found = factor(&correlate(&[1.0, 0.3, -0.4])).expect("taps");
    // (1 + 0.8 z)(1 - 0.5 z): within already.
    for (found, want) in found.iter().zip([1.0, 0.3, -0.4]) {
        assert!((found - want).abs() < 1e-9, "{found} {want}");
    }
    // (1 + 2 z)(1 - 0.5 z) = 1 + 1.5 z - z^2 turns to (2 + z)(1 - 0.5 z) = 2 + 0 z - 0.5 z^2.
    let found = factor(&correlate(&[1.0, 1.5, -1.0])).expect("taps");
    for (found, want) in found.iter().zip([2.0, 0.0, -0.5]) {
        assert!((found - want).abs() < 1e-9, "{found} {want}");
    }
}

#[test]
fn a_first_look_sees_the_same() {
    for length in [1, 2, 3, 4, 41, 64, 151] {
        let half: Vec<f64> = (0..length).map(|n| 1.0 / (1.0 + f64::from(n)) - 0.2).collect();
        let taps: Vec<f64> =
            (0..length as usize).map(|n| half[n.min(length as usize - 1 - n)]).collect();
        let taps = Taps::new(&taps);
        for (turns, of, rest) in
            [(0, 1, 0.0), (3, 7, 1e-3), (1, 2, -2e-3), (5, 11, 0.0), (9, 4, 0.01)]
        {
            let (exact, coarse) =
                (taps.gain(turns, of, rest), taps.coarse_gains(&[turns; 11], of, rest)[10]);
            assert!((exact.abs() - coarse).abs() < 1e-11, "{length}: {exact} {coarse}");
        }
    }
}

#[test]
fn spline_error_is_of_fourth_order() {
    // Natural end conditions hold exactly for half waves of a sine, whose second derivative
    // vanishes at both ends.
    let t: Vec<f64> = (0..=200).map(|k| k as f64 / 100.0).collect();
    let f = |t: f64| (std::f64::consts::PI * t).sin();
    let y = t.iter().map(|t| f(*t)).collect();
    let motion = Motion::new(t, [Some(y), None, None, None, None, None]).unwrap();
    for k in 0..1000 {
        let t = k as f64 * 0.002 + 0.0005;
        // Spline error: 5/384 h^4 max|f''''| (de Boor 1978, recalled) = 1.3e-8.
        assert!((motion.at(t)[0] - f(t)).abs() < 1.3e-8);
    }
    assert_eq!(motion.at(-1.0)[0], 0.0);
}

/// Mean by Gauss-Legendre, 20 points a side (nodes by Newton's method).
fn quadrature(a: f64, b: f64) -> f64 {
    let n = 20;
    let nodes: Vec<(f64, f64)> = (0..n)
        .map(|k| {
            let mut x = (std::f64::consts::PI * (k as f64 + 0.75) / (n as f64 + 0.5)).cos();
            let mut slope = 0.0;
            for _ in 0..100 {
                let (mut p0, mut p1) = (1.0, x);
                for j in 2..=n {
                    let j = j as f64;
                    (p0, p1) = (p1, ((2.0 * j - 1.0) * x * p1 - (j - 1.0) * p0) / j);
                }
                slope = n as f64 * (x * p1 - p0) / (x * x - 1.0);
                x -= p1 / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect();
    let mut sum = 0.0;
    for (s, ws) in &nodes {
        for (t, wt) in &nodes {
            sum += ws * wt / (1.0 - a * s - b * t) / 4.0;
        }
    }
    sum
}

#[test]
fn closed_forms_meet_quadrature() {
    for a in [0.0, 1e-6, 1e-3, 0.0199, 0.0201, 0.1, 0.3] {
        for b in [0.0, 1e-7, 0.99e-4, 1.01e-4, 1e-3, 0.019, 0.03, 0.25] {
            let (got, want) = (tilt_factor(a, b), quadrature(a, b));
            // The z ln z form cancels to about 1e-16/(4 a b) where it is used, b >= 1e-4, a >= 0.02.
            let limit = if a.max(b) >= 0.02 && a.min(b) > 1e-4 { 1e-10 } else { 2e-13 };
            assert!((got - want).abs() < limit, "{a} {b}: {got} {want}");
        }
    }
}

/// Both follow a sine as their responses say, in the middle.
#[test]
fn forms_in_time_are_forms_in_frequency() {
    let (rate_hz, f) = (2.0, 0.05);
    let x: Vec<f64> = (0..4000).map(|n| (TAU * f * f64::from(n) / rate_hz).cos()).collect();
    for (form, within) in [(Form::Rate, 1e-9), (Form::Lag { time_s: 7.0 }, 1e-2)] {
        let term = Term { channel: 0, form, delay_s: 0.0 };
        let mut y = x.clone();
        match form {
            Form::Rate => rate(&mut y, rate_hz),
            Form::Lag { time_s } => lag(&mut y, time_s * rate_hz),
            Form::Plain => {}
        }
        let h = term.response(f);
        for (n, y) in y.iter().enumerate().take(3000).skip(1000) {
            let turn = Complex64::new(0.0, TAU * f * n as f64 / rate_hz).exp();
            let want = (h * turn).re;
            assert!((y - want).abs() < within * h.norm(), "{form:?} {n}: {y} {want}");
        }
    }
    let mut ends = vec![0.0, 1.0, 4.0, 9.0, 16.0];
    rate(&mut ends, 1.0);
    assert_eq!(ends, [1.0, 2.0, 4.0, 6.0, 7.0]);
}

fn noise(count: usize) -> Vec<f64> {
    (0..count).map(|n| ((n * n * 7919 + n * 104_729) % 1009) as f64 - 504.0).collect()
}

/// Cells are the sums that define them, by the definition's own sines; so are those of single frequencies.
#[test]
fn cells_are_their_definition() {
    let (rows, rate_hz) = (300, 2.0);
    let x = noise(rows);
    let run = 0..rows;
    let places = Places::new(std::slice::from_ref(&run), rate_hz, 0.8);
    let cells = places.cells(&x);
    let lineless = without_line(&x);
    assert!(cells.len() > 15);
    for (f, cell) in places.frequencies().zip(&cells) {
        let single = at(&lineless, rate_hz, f);
        for k in 0..TAPERS {
            let mut sum = Complex64::default();
            for (n, x) in lineless.iter().enumerate() {
                let taper = (PI * ((k + 1) * (n + 1)) as f64 / (rows + 1) as f64).sin();
                // The transform counts from one row before the first.
                let turn = Complex64::new(0.0, -TAU * f * (n + 1) as f64 / rate_hz).exp();
                sum += turn * (x * taper);
            }
            sum *= (2.0 / (rows + 1) as f64).sqrt() * (2.0 / rate_hz).sqrt();
            assert!((cell[k] - sum).norm() < 1e-9, "{f} {k}: {} {sum}", cell[k]);
            assert!((single[k].norm() - sum.norm()).abs() < 1e-9, "{f} {k}");
        }
    }
}

/// 1 + 1/2 + 1/3 + 1/4 less Euler's constant (Abramowitz and Stegun 1964, 6.3.2, recalled).
const DIGAMMA_OF_5: f64 = 25.0 / 12.0 - 0.577_215_664_901_532_9;

/// Tapers have the size 1 and are at right angles; a power law stays one when it is smoothed.
#[test]
fn tapers_are_orthogonal_and_laws_stay() {
    let u = of_constant(1000, 2.0);
    // sqrt(2/N) cot(pi (k + 1)/(2 (N + 1))) for even k, nothing for odd ones.
    for (k, u) in u.iter().enumerate() {
        let want = if k % 2 == 0 {
            (2.0 / 1001.0f64).sqrt() / (PI * (k + 1) as f64 / 2002.0).tan()
        } else {
            0.0
        };
        assert!((u.re - want).abs() < 1e-9 && u.im.abs() < 1e-9, "{k}: {u} {want}");
    }
    let f: Vec<f64> = (1..200).map(f64::from).collect();
    let cells: Vec<Cell> = f.iter().map(|f| [Complex64::new(f.powf(-1.0), 0.0); TAPERS]).collect();
    let low = (TAPERS as f64) / DIGAMMA_OF_5.exp();
    for (f, p) in f.iter().zip(smoothed(&f, &cells)) {
        assert!((p / (low * f.powf(-2.0)) - 1.0).abs() < 1e-9, "{f}: {p}");
    }
}
