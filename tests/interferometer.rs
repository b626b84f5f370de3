//! The interferometer against published figures, packages of other authors, and a forward model of its own:
//! light, optics and detectors written here from the equations alone.

mod model;

use crate::normal::Normal;
use model::{Bench, Optics, interferometer, sensor};
use proptest::prelude::*;
use quietgap_core::fringe::{FringeHealth, Fringes};
use quietgap_sim::instrument::file::AirFile;
use quietgap_sim::interferometer::air::index;
use quietgap_sim::interferometer::ellipse::{Ellipse, algebraic, geometric};
use quietgap_sim::interferometer::filter::{Filter, steps};
use quietgap_sim::interferometer::geometry::Geometry;
use quietgap_sim::interferometer::noise::{predicted, total};
use quietgap_sim::interferometer::phase::{Unwrap, arctangent};
use quietgap_sim::interferometer::track::Manner;
use quietgap_sim::interferometer::{balance, board};
use quietgap_sim::simulation::interferometer::{Detectors, Noise, Scene};
use serde_json::Value;
use std::f64::consts::{PI, TAU};

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/interferometer.json")).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// Ciddor's equation: 23 states by ref-index (PyPI), and values of the paper's table for dry air of 450 ppm at
/// 633 nm (from memory).
#[test]
fn air_is_ciddors() {
    for state in vectors()["air"].as_array().expect("a list") {
        let air = AirFile {
            pressure_pa: number(&state["pascal"]),
            temperature_k: number(&state["celsius"]) + 273.15,
            relative_humidity: number(&state["humidity_percent"]) / 100.0,
            carbon_dioxide_ppm: number(&state["carbon_dioxide_ppm"]),
        };
        let (is, want) =
            (index(&air, number(&state["wavelength_nm"]) * 1e-9), number(&state["index"]));
        // The package takes the vapour's pressure by another formula: 1e-3 of the vapour's 1e-6.
        assert!((is - want).abs() < 2e-9, "{state}: {is:.12} against {want:.12}");
    }
    for (celsius, pascal, want) in [
        (20.0, 8e4, 21458.0),
        (20.0, 1e5, 26824.4),
        (20.0, 1.2e5, 32191.6),
        (10.0, 1e5, 27774.7),
        (30.0, 1e5, 25937.2),
    ] {
        let air = AirFile {
            pressure_pa: pascal,
            temperature_k: celsius + 273.15,
            relative_humidity: 0.0,
            carbon_dioxide_ppm: 450.0,
        };
        let is = (index(&air, 633e-9) - 1.0) * 1e8;
        assert!((is - want).abs() < 0.06, "{celsius} C, {pascal} Pa: {is:.2} against {want}");
    }
}

/// CHECKS INT-1: fringe of a double pass at 1064 nm and 632.8 nm, and per radian.
#[test]
fn a_fringe_is_half_a_wavelength() {
    for (wavelength_m, fringe_m, per_radian) in
        [(1064e-9, 532e-9, 84.670_429_7e-9), (632.8e-9, 316.4e-9, 50.356_624_0e-9)]
    {
        let mut file = interferometer(&sensor(1000.0, 10.0, 18));
        file.wavelength_m = wavelength_m;
        let is = Geometry::new(&file).unwrap().metres_per_radian;
        assert!((is * TAU / fringe_m - 1.0).abs() < 1e-12, "{is:e}");
        assert!((is / per_radian - 1.0).abs() < 1e-9, "{is:e}");
    }
}

/// CHECKS INT-2: Heydemann's ellipse by mpmath; both fits find it, the correction leaves nothing, and what taking
/// it as a circle costs is the figure of the table.
#[test]
fn an_ellipse_is_found_and_corrected() {
    let vectors = vectors();
    let e = &vectors["ellipse"];
    let wanted = [
        number(&e["offset_x"]),
        number(&e["offset_y"]),
        1.0,
        number(&e["ratio"]),
        number(&e["lack_rad"]),
    ];
    let points: Vec<[f64; 3]> = e["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| std::array::from_fn(|k| number(&p[k])))
        .collect();
    let signals: Vec<[f64; 2]> = points.iter().map(|[_, x, y]| [*x, *y]).collect();
    for (name, found) in
        [("algebraic", algebraic(&signals)), ("geometric", geometric(&signals).map(|f| f.ellipse))]
    {
        let ellipse = found.expect("an ellipse");
        for (is, want) in ellipse.numbers().iter().zip(wanted) {
            assert!((is - want).abs() < 1e-13, "{name}: {ellipse:?}");
        }
        for [phase, x, y] in &points {
            let [c, s] = ellipse.corrected([*x, *y]);
            let off = (s * phase.cos() - c * phase.sin()).atan2(c * phase.cos() + s * phase.sin());
            assert!(
                off.abs() < 1e-12 && (c.hypot(s) - 1.0).abs() < 1e-12,
                "{name}: {phase}: {off:e}"
            );
        }
        let uncorrected = ellipse.uncorrected_error();
        let want = number(&e["uncorrected_rad"]);
        assert!((uncorrected / want - 1.0).abs() < 1e-4, "{uncorrected}");
    }
    // CHECKS INT-3: what a small fault costs at one and two periods.
    let small = 1e-4;
    for (numbers, want) in [
        ([small, 0.0, 1.0, 1.0, 0.0], 1.0),
        ([0.0, small, 1.0, 1.0, 0.0], 1.0),
        ([0.0, 0.0, 1.0, 1.0 + small, 0.0], 0.5),
        ([0.0, 0.0, 1.0, 1.0, small], 0.5),
    ] {
        let is = Ellipse::of_numbers(numbers).uncorrected_error() / small;
        assert!((is / want - 1.0).abs() < 1e-3, "{numbers:?}: {is}");
    }
}

/// Noise shrinks what a plain least squares finds; both fits are free of that to a tenth of it, and the stated
/// uncertainties are those of 200 repeats.
#[test]
fn noise_does_not_shrink_the_ellipse() {
    let truth = Ellipse::of_numbers([0.04, -0.02, 0.8, 1.1, 0.1]);
    let (noise, count, repeats) = (0.04, 400, 200);
    let mut draw = Normal::new(5);
    let mut sums = [[0.0; 5]; 2];
    let (mut squares, mut stated) = ([0.0; 5], [0.0; 5]);
    for _ in 0..repeats {
        let signals: Vec<[f64; 2]> = (0..count)
            .map(|n| {
                truth.at(TAU * f64::from(n) / f64::from(count)).map(|x| x + noise * draw.next())
            })
            .collect();
        let (a, g) = (algebraic(&signals).unwrap(), geometric(&signals).unwrap());
        for k in 0..5 {
            let miss = g.ellipse.numbers()[k] - truth.numbers()[k];
            sums[0][k] += a.numbers()[k] - truth.numbers()[k];
            sums[1][k] += miss;
            squares[k] += miss * miss;
            stated[k] += g.uncertainty[k].powi(2);
        }
    }
    // A circle of radius r and noise s seems larger by s^2/(2 r) to the geometric fit; the algebraic one without
    // weights is off by a few s^2/r.
    let second_order = noise * noise / 0.8;
    for k in 0..5 {
        let chance = 4.0 * (stated[k] / f64::from(repeats)).sqrt() / f64::from(repeats).sqrt();
        for (name, sums) in ["algebraic", "geometric"].iter().zip(&sums) {
            let mean = sums[k] / f64::from(repeats);
            let allowed = if *name == "algebraic" { 0.15 } else { 0.7 } * second_order + chance;
            assert!(mean.abs() < allowed, "{name} {k}: {mean:e}, allowed {allowed:e}");
        }
        let ratio = (squares[k] / stated[k]).sqrt();
        assert!((0.85..1.15).contains(&ratio), "uncertainty of number {k}: {ratio}");
    }
}

#[test]
fn no_ellipse_is_made_of_a_line_a_point_or_a_hyperbola() {
    let line: Vec<[f64; 2]> = (0..50).map(|n| [f64::from(n), 2.0 * f64::from(n)]).collect();
    let hyperbola: Vec<[f64; 2]> = (0..50)
        .map(|n| {
            let t = (f64::from(n) - 24.5) / 12.0;
            [t.sinh(), t.cosh()]
        })
        .collect();
    for points in [line, hyperbola, vec![[1.0, 1.0]; 50], vec![[0.0, 1.0]; 5]] {
        assert!(algebraic(&points).is_none() && geometric(&points).is_none(), "{points:?}");
    }
}

/// The table of CHECKS (mpmath), and every direction.
#[test]
fn arctangents_are_right() {
    let mut compared = 0;
    for line in include_str!("vectors/atan2_i32.csv").lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
        if cells[0] == 0.0 && cells[1] == 0.0 {
            continue;
        }
        let off = arctangent(cells[0], cells[1]) - cells[2];
        assert!(off.abs() < 4e-15, "{line}: {off:e}");
        compared += 1;
    }
    assert!(compared > 200, "{compared}");
    assert_eq!(arctangent(0.0, 0.0), 0.0);
    assert!((arctangent(0.0, -1.0) - PI).abs() < 1e-15);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn arctangent_as_the_libraries(s in -1.0f64..1.0, c in -1.0f64..1.0, size in -300i32..300) {
        let (s, c) = (s * 10f64.powi(size), c * 10f64.powi(size));
        prop_assert!((arctangent(s, c) - s.atan2(c)).abs() < 4e-15);
    }
}

/// Steps below half a turn are followed, whatever their number; the step itself is told.
#[test]
fn turns_are_counted() {
    for step in [0.49, 0.3, -0.2, -0.49, 1e-9] {
        let mut unwrap = Unwrap::default();
        for n in 0..1000 {
            let phase = TAU * step * f64::from(n);
            let [whole, told] = unwrap.next(phase.sin().atan2(phase.cos()));
            assert!((whole - phase).abs() < 1e-9, "{step} {n}");
            assert!(n == 0 || (told - step).abs() < 1e-9, "{step} {n}: {told}");
        }
    }
    // Beyond half a turn it is another motion: that is the limit.
    let mut unwrap = Unwrap::default();
    unwrap.next(0.0);
    let [whole, told] = unwrap.next(TAU * 0.51 - TAU);
    assert!((whole + TAU * 0.49).abs() < 1e-9 && (told + 0.49).abs() < 1e-9);
}

/// Blocks by their sums against three boxcars one after another, sample by sample; a ramp comes out at its
/// time; the gain is that of the impulse response.
#[test]
fn the_filter_is_three_boxcars_and_a_fir() {
    let all = steps(1000.0, 10.0).unwrap();
    assert_eq!((all.block, all.blocks), (4, 25));
    let mut draw = Normal::new(3);
    let x: Vec<f64> = (0..4000).map(|_| draw.next()).collect();
    let boxcar = |x: &[f64]| -> Vec<f64> {
        (0..x.len()).map(|n| x[n.saturating_sub(3)..=n].iter().sum::<f64>() / 4.0).collect()
    };
    let cic = boxcar(&boxcar(&boxcar(&x)));
    let mut whole = Filter::new(all);
    let mut out = Vec::new();
    for piece in x.chunks(37) {
        whole.push(piece, |y| out.push(y));
    }
    assert_eq!(out.len(), 40);
    let (span, fir) = (whole.span(), whole.taps());
    assert_eq!(span as usize, 10 + 4 * (fir.len() - 1));
    for (n, y) in out.iter().enumerate() {
        let last = 100 * (n + 1) - 1;
        if last + 1 < span as usize {
            continue;
        }
        let want: f64 = fir.iter().enumerate().map(|(k, tap)| tap * cic[last - 4 * k]).sum();
        assert!((y - want).abs() < 1e-12, "{n}: {y} against {want}");
    }
    // A ramp.
    let mut filter = Filter::new(all);
    let ramp: Vec<f64> = (0..4000).map(f64::from).collect();
    let mut out = Vec::new();
    filter.push(&ramp, |y| out.push(y));
    let last = out.len() - 1;
    let at = (2 * (100 * (last as u64 + 1) - 1) - filter.delay_half_frames()) as f64 / 2.0;
    assert!((out[last] - at).abs() < 1e-8, "{} against {at}", out[last]);
    // Passband and what folds into it.
    for k in 0..=35 {
        let gain = filter.gain(f64::from(k) * 1e-4);
        assert!((gain - 1.0).abs() < 2e-6, "{k}: {gain}");
    }
    for k in 65..5000 {
        let f = f64::from(k) * 1e-4;
        let apart = (f * 100.0).fract();
        if !(0.35..=0.65).contains(&apart) {
            let gain = filter.gain(f).abs();
            assert!(gain < 4e-6, "{f}: {gain:e}");
        }
    }
}

#[test]
fn ratios_that_cannot_be_split_are_refused() {
    for (rate, output, good) in [
        (1000.0, 10.0, true),
        (1e6, 1000.0, true),
        (10.0, 10.0, true),
        (80.0, 10.0, true),
        (64.0, 1.0, true),
        (131.0, 1.0, false),
        (1000.0, 300.0, false),
        (1000.0, 2000.0, false),
        (2.0 * 131.0, 1.0, false),
        (2.0 * 127.0, 1.0, true),
    ] {
        assert_eq!(steps(rate, output).is_ok(), good, "{rate} to {output}");
    }
}

/// Gains of a detector and its complement from their fringes, with intensity noise upon them.
#[test]
fn detectors_are_balanced_by_their_fringes() {
    let mut draw = Normal::new(9);
    let pairs: Vec<[f64; 2]> = (0..2000)
        .map(|n| {
            let (c, light) = ((0.37 * f64::from(n)).cos(), 1.0 + 1e-4 * draw.next());
            [1.3 * light * (1.0 + 0.9 * c), 0.8 * light * (1.0 - 0.9 * c)]
        })
        .collect();
    let found = balance::fitted(&pairs).unwrap();
    assert!((found / (1.3 / 0.8) - 1.0).abs() < 1e-4, "{found}");
    assert!(balance::fitted(&[[1.0, 1.0]; 5]).is_none());
    assert!(balance::fitted(&[[1.0, 1.0], [2.0, 2.0]]).is_none());
}

/// Offsets of 5 %, 12 % of gain error, 7.5 degrees of quadrature error: below 10 pm over the whole motion; with
/// the ellipse drifting by 5 % in an hour, below 50 pm. 1064 nm, double pass.
#[test]
fn faulty_optics_are_corrected_to_picometres() {
    for (drift_per_hour, allowed_m) in [(0.0, 10e-12), (0.05, 50e-12)] {
        let optics = Optics {
            offsets: [0.05, -0.05],
            ratio: 1.12,
            lack_rad: 7.5f64.to_radians(),
            drift_per_hour,
            noise: 1e-4,
            ..Optics::GOOD
        };
        let seconds = if drift_per_hour > 0.0 { 3600.0 } else { 600.0 };
        let sensor = sensor(200.0, 10.0, 18);
        // A swing of some fringes on a slow drift.
        let bench = Bench::new(&sensor, optics, 11);
        let x = |t: f64| 1.7e-6 * (TAU * t / 41.0).sin() + 2e-10 * t;
        let rows = bench.readings(seconds, x, Manner::Geometric, 60.0).unwrap();
        let worst =
            rows.iter().map(|r| (r.axes[0] - (x(r.time_s) - x(0.0))).abs()).fold(0.0, f64::max);
        println!("drift {drift_per_hour} an hour: at most {worst:e} m off");
        // Noise of a reading: 1e-4 a frame of 84.67 nm, averaged, is 3 pm; five of it.
        assert!(worst < allowed_m, "{drift_per_hour}: {worst:e}");
        assert!(rows.len() > 1000);
        // By the conic, too.
        let rows = bench.readings(seconds, x, Manner::Algebraic, 60.0).unwrap();
        let worst =
            rows.iter().map(|r| (r.axes[0] - (x(r.time_s) - x(0.0))).abs()).fold(0.0, f64::max);
        assert!(worst < allowed_m, "algebraic, {drift_per_hour}: {worst:e}");
    }
}

/// Intensity noise of 1 % moves the readings a hundred times less than it would one detector's fringe.
#[test]
fn intensity_is_rejected() {
    let sensor = sensor(200.0, 10.0, 24);
    let optics = Optics { intensity: 0.01, gains: [1.0, 0.7, 1.2, 0.9], ..Optics::GOOD };
    let bench = Bench::new(&sensor, optics, 12);
    let x = |t: f64| 1.7e-6 * (TAU * t / 41.0).sin();
    let (rows, seen) = bench.both(300.0, x, Manner::Geometric, 60.0).unwrap();
    let squares: f64 = rows.iter().map(|r| (r.axes[0] - x(r.time_s) + x(0.0)).powi(2)).sum();
    let rms = (squares / rows.len() as f64).sqrt();
    // One detector at its steepest: 1 % of 84.67 nm, of white noise 0.26 of it in the readings' band.
    assert!(rms < 0.01 * 84.67e-9 * 0.26 / 100.0, "{rms:e}");
    let slope = seen[0].intensity.expect("it shows").abs();
    assert!(slope < 0.01, "{slope}");
}

/// The noise of readings is what is predicted from detectors, shot noise and rounding.
#[test]
fn noise_is_as_predicted() {
    for (own_v, current_a, bits) in [(2e-5, 1e-3, 24), (0.0, 1e-9, 24), (2e-4, 1e-3, 12)] {
        let text = sensor(200.0, 10.0, bits)
            .replace("photocurrent_a = 1.0e-4", &format!("photocurrent_a = {current_a:e}"))
            .replace(
                "detector_noise_v_per_rthz = 0.0",
                &format!("detector_noise_v_per_rthz = {own_v:e}"),
            );
        let file = interferometer(&text);
        let volts = file.light.detector_v;
        let shot = volts * f64::sqrt(2.0 * 1.602_176_634e-19 / current_a);
        let optics = Optics {
            noise: own_v / volts * 100f64.sqrt(),
            shot: shot / volts * 100f64.sqrt(),
            ..Optics::GOOD
        };
        let bench = Bench::new(&text, optics, 13);
        let x = |t: f64| 1.7e-6 * (TAU * t / 41.0).sin();
        let rows = bench.readings(1200.0, x, Manner::Geometric, 300.0).unwrap();
        let error: Vec<f64> = rows.iter().map(|r| r.axes[0] - x(r.time_s)).collect();
        let density = quietgap_sim::analysis::welch::welch(
            &error,
            10.0,
            256,
            quietgap_sim::analysis::window::Window::HANN,
            quietgap_sim::analysis::density::Detrend::Line,
        )
        .unwrap();
        let (rms, sure) = density.rms(0.2, 3.0).unwrap();
        let is = rms / 2.8f64.sqrt();
        let want = total(&predicted(&file, Geometry::new(&file).unwrap().metres_per_radian, 1.0));
        println!("{is:e} against {want:e}, known to {sure:.3}");
        assert!(
            (is / want - 1.0).abs() < 3.0 * sure + 0.02,
            "{own_v} {bits}: {is:e} against {want:e}"
        );
    }
}

/// The core's integers against the f64 chain, frame by frame, on codes of the model.
#[test]
fn the_cores_fringes_are_the_same() {
    let text = sensor(200.0, 10.0, 18);
    let optics = Optics {
        offsets: [0.05, -0.04],
        ratio: 1.12,
        lack_rad: 0.13,
        gains: [1.0, 0.9, 1.1, 1.2],
        noise: 1e-4,
        ..Optics::GOOD
    };
    let bench = Bench::new(&text, optics, 16);
    let codes = bench.codes(120.0, |t| 1.7e-6 * (TAU * t / 41.0).sin());
    let knot = bench.tracks(&codes, Manner::Geometric, 60.0).unwrap()[0].knots[0];
    let settings = board::settings(bench.file(), &knot).unwrap();
    let mut fringes = Fringes::new(settings).unwrap();
    let (mut unwrap, mut first, mut worst) = (Unwrap::default(), None, 0f64);
    for frame in &codes {
        // As the sensor file wires them.
        let [b, d, a, c] = *frame;
        let [cosine, sine] = knot.ellipse.corrected(knot.signals([a, b, c, d].map(f64::from)));
        let [phase, _] = unwrap.next(arctangent(sine, cosine));
        let want = (phase - *first.get_or_insert(phase)) / TAU;
        let (is, health) = fringes.push([a, b, c, d]);
        assert_eq!(health, FringeHealth::default());
        worst = worst.max((is as f64 / 2f64.powi(32) - want).abs());
    }
    // An eighth of a code's step on 26 000, halved by rounding, and settings of 28 bits.
    println!("at most {worst:e} turns apart");
    assert!(worst < 1e-6 && worst > 0.0, "{worst:e}");
    let wide = interferometer(&sensor(200.0, 10.0, 32));
    assert!(board::settings(&wide, &knot).is_err());
}

/// Faults: the first value that raises each, the last that does not, and how long.
#[test]
fn faults_are_told() {
    let text = sensor(200.0, 10.0, 18);
    let x = |t: f64| 1.7e-6 * (TAU * t / 41.0).sin();
    let bench = Bench::new(&text, Optics::GOOD, 14);
    let good = bench.codes(120.0, x);
    let span = Filter::new(steps(200.0, 10.0).unwrap()).span() as usize;
    // The middle detectors' signals shrink about the mean by this: contrast over the ellipse's.
    let shrunk = |part: f64| {
        let mut codes = good.clone();
        let mean = 26214.4;
        codes[12_000] = codes[12_000].map(|c| (mean + part * (f64::from(c) - mean)).round() as i32);
        codes
    };
    let ends = |code: i32| {
        let mut codes = good.clone();
        codes[12_000][1] = code;
        codes
    };
    // A step of so much of a turn, that stays.
    let stepped = |turns: f64| {
        let late = Bench::new(&text, Optics::GOOD, 14);
        late.codes(120.0, |t| x(t) + if t >= 60.0 { turns * 0.532e-6 } else { 0.0 })
    };
    for (codes, fault, raised) in [
        (shrunk(0.49), "contrast-weak", true),
        (shrunk(0.51), "contrast-weak", false),
        (shrunk(0.09), "fringe-lost", true),
        (shrunk(0.11), "fringe-lost", false),
        (ends(131_071), "saturated", true),
        (ends(-131_072), "saturated", true),
        (ends(131_070), "saturated", false),
        (stepped(0.38), "too-fast", true),
        (stepped(0.37), "too-fast", false),
    ] {
        let (rows, _) = bench.of_codes(&codes, Manner::Geometric, 60.0).unwrap();
        let flagged: Vec<&model::Told> =
            rows.iter().filter(|r| r.health.split('+').any(|name| name == fault)).collect();
        assert_eq!(!flagged.is_empty(), raised, "{fault}: {} readings", flagged.len());
        if raised {
            // All whose filters hold the frame (a fast one may lie anywhere in a piece of 16), and no others.
            let most = span.div_ceil(20) + 1;
            assert!((most - 2..=most + 1).contains(&flagged.len()), "{fault}: {}", flagged.len());
            let reach = span as f64 / 400.0 + 0.2;
            assert!(flagged.iter().all(|r| (r.time_s - 60.0).abs() < reach), "{fault}");
        }
    }
}

/// Light that does not move through a fringe is refused by name; a given ellipse serves instead.
#[test]
fn too_little_motion_is_refused() {
    let text = sensor(200.0, 10.0, 18);
    let bench = Bench::new(&text, Optics { noise: 1e-4, ..Optics::GOOD }, 15);
    let small = |t: f64| 3e-8 * (TAU * t / 41.0).sin();
    let refusal =
        bench.readings(200.0, small, Manner::Geometric, 60.0).expect_err("refused").to_string();
    assert!(refusal.contains("of 360 degrees") && refusal.contains("beam a"), "{refusal}");
    let refusal =
        bench.readings(200.0, small, Manner::Given, 60.0).expect_err("refused").to_string();
    assert!(refusal.contains("no ellipse is given"), "{refusal}");
    let given = text.replace(
        "[interferometer.light]",
        "[interferometer.beam.ellipse]\noffset_x = 0.0\noffset_y = 0.0\ncontrast = 0.9\nratio = 1.0\n\
         quadrature_error_rad = 0.0\n\n[interferometer.light]",
    );
    let bench = Bench::new(&given, Optics { noise: 1e-4, ..Optics::GOOD }, 15);
    for manner in [Manner::Geometric, Manner::Given] {
        let rows = bench.readings(200.0, small, manner, 60.0).unwrap();
        let worst = rows.iter().map(|r| (r.axes[0] - small(r.time_s)).abs()).fold(0.0, f64::max);
        assert!(worst < 20e-12, "{worst:e}");
    }
}

/// What acts from outside, in the simulated light: intensity scales what the light makes of every detector and leaves its offset;
/// temperature lengthens the path, twice the wavelength of it being two fringes.
#[test]
fn intensity_and_temperature_reach_the_detectors() {
    let (_, text) = quietgap_sim::instrument::BUILT_IN[0];
    let text = text.replace("dead_path_m = 0.12", "dead_path_m = 0.12\npath_m_per_k = 1.0e-7");
    let still = text.replace("drift_per_hour = ", "drift_per_hour = 0.0 # ");
    let sensor = quietgap_sim::instrument::Sensor::parse("t.toml".as_ref(), &still).unwrap();
    let file = sensor.file.interferometer.clone().unwrap();
    let codes = |scene: Scene| {
        let mut codes = Vec::new();
        Detectors::new(&file, Noise::None, 1).frame(&scene, &mut codes);
        codes.into_iter().map(f64::from).collect::<Vec<_>>()
    };
    let dark = |n: usize| {
        let beam = file.beams.iter().find(|b| b.channels.contains(&(n as u8))).unwrap();
        let k = beam.channels.iter().position(|c| usize::from(*c) == n).unwrap();
        beam.faults.offsets_v[k] / file.full_scale_v * 2f64.powi(file.bits as i32 - 1)
    };
    let pose = [3e-8, 0.0, 0.0, 0.0, 0.0, 2e-7];
    let plain = codes(Scene { pose, ..Scene::default() });
    let bright = codes(Scene { pose, intensity: 0.05, ..Scene::default() });
    for (n, (bright, plain)) in bright.iter().zip(&plain).enumerate() {
        let expected = dark(n) + 1.05 * (plain - dark(n));
        assert!((bright - expected).abs() <= 1.1, "channel {n}: {bright} for {expected}");
    }
    let kelvin = |fringes: f64| fringes * file.wavelength_m / 1e-7;
    let warm = |fringes| codes(Scene { pose, temperature_k: kelvin(fringes), ..Scene::default() });
    assert!(warm(2.0).iter().zip(&plain).all(|(a, b)| (a - b).abs() <= 1.0));
    let half = warm(0.5);
    let moved = half.iter().zip(&plain).filter(|(a, b)| (**a - **b).abs() > 1e4).count();
    assert!(moved >= 4, "{half:?} {plain:?}");
}
