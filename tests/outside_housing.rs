//! **Housing**: readings against a forward model that shares nothing with the project, six axes moving at
//! once, no two electrodes alike, strays, the carrier on the mass following them.

use crate::forward::Bench;
use quietgap_core::bridge::{BridgeReading, Measured, Pair};
use quietgap_core::config::BridgeKind;
use quietgap_core::coupling::Coupling;
use quietgap_core::housing::Housing;
use quietgap_core::phasor::Phasor;
use quietgap_core::position::{ROUNDS, Solved, solve};
use quietgap_core::word::Word;
use quietgap_sim::cycles::USUAL_ROUNDS;
use quietgap_sim::instrument::{BUILT_IN, Sensor};
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::readout::readings::{Row, health_text};
use quietgap_sim::readout::run::settling;
use std::f64::consts::TAU;
use std::path::Path;

const INJECTION_V: f64 = 1.0;
const BITS: i32 = 24;
const GAP_M: f64 = 2e-3;

/// The bench's sensor file: difference bridges or separate electrodes, with a monitor.
fn sensor(bench: &Bench, separate: bool) -> Sensor {
    let vault = BUILT_IN[1].1;
    let plan = &vault[vault.find("[plan]").expect("a plan in place")..];
    let mut text = format!(
        "schema = 1\nname = \"bench\"\n[carrier]\nfrequency_hz = 80000.0\ninjection_v = {INJECTION_V:?}\n\
         [converter]\nrate_hz = 800000.0\nbits = {BITS}\nfull_scale_v = 1.0\n\
         [amplifier]\nfeedback_f = 2e-12\ngain = 1.0\n[mass]\nstray_f = {:e}\n",
        bench.mass_stray
    );
    bench.plates.iter().for_each(|plate| text += &plate.toml());
    for (b, stray) in bench.strays.iter().enumerate() {
        let wiring = if separate {
            format!("kind = \"separate\"\nchannels = [{}, {}]", 2 * b, 2 * b + 1)
        } else {
            let others = (0..bench.strays.len()).filter(|j| *j != b);
            let shares: Vec<String> =
                others.map(|j| format!("b{j} = {:e}", Bench::share(b, j))).collect();
            let shares = shares.join(", ");
            format!("kind = \"difference\"\nchannel = {b}\ncross_coupling = {{ {shares} }}")
        };
        text += &format!(
            "[[bridge]]\nname = \"b{b}\"\nelectrodes = [\"{}\", \"{}\"]\n{wiring}\nstray_f = [{:e}, {:e}]\n",
            bench.plates[2 * b].name,
            bench.plates[2 * b + 1].name,
            stray[0],
            stray[1],
        );
    }
    let monitor = if separate { 12 } else { 6 };
    text += &format!("[monitor]\nchannel = {monitor}\ngain = 0.5\n");
    text += "[axes]\nnames = [\"x\", \"y\", \"z\", \"theta\", \"eta\", \"phi\"]\n[health]\nrange = 0.9\n";
    text += plan;
    Sensor::parse(Path::new("bench.toml"), &text).unwrap_or_else(|e| panic!("{e}"))
}

/// Code amplitudes of all channels but the monitor: g V_m C/C_feedback.
fn amplitudes(bench: &Bench, separate: bool, q: [f64; 6]) -> Vec<f64> {
    let (pairs, mass) = bench.look(q);
    let code = |farad: f64| farad / 2e-12 * mass * INJECTION_V * 2f64.powi(BITS - 1);
    let farads = if separate { pairs.as_flattened().to_vec() } else { bench.coupled(&pairs) };
    farads.into_iter().map(code).collect()
}

/// Position and health by the core's own stages, from exact phasors.
fn read(sensor: &Sensor, amplitudes: &[f64]) -> (Vec<f64>, Solved, Vec<BridgeReading>) {
    let settings = &sensor.settings;
    // Words of a code: the calibration's, with the gain of the rounded carrier that is in it.
    let words = match settings.bridges[0].kind {
        BridgeKind::Difference { full, .. } => full.to_bits() as f64 / sensor.design.a0_code[0],
        BridgeKind::Separate { .. } => settings.words_per_code,
    };
    let phasors: Vec<Phasor> = amplitudes
        .iter()
        .map(|a| Phasor { i: Word::from_bits((a * words).round() as i64), q: Word::ZERO })
        .collect();
    let bridges: Vec<_> = settings.bridges.iter().map(quietgap_core::bridge::Bridge::new).collect();
    let housing = Housing::<32>::new(&settings.electrodes);
    let axes = settings
        .with_config(|config| quietgap_core::axes::Axes::<12>::new(&config.axes, bridges.len()))
        .expect("good axes");
    let mut measured: Vec<Measured> =
        bridges.iter().map(|b| b.measure(&phasors, 1 << 58)).collect();
    let coupling = Coupling::<12>::new(&settings.cross_coupling, &settings.bridges);
    coupling.expect("good shares").take_off(&mut measured);
    let mut pairs: Vec<Pair> = bridges.iter().map(|b| b.at_rest()).collect();
    let mut readings = vec![BridgeReading::default(); bridges.len()];
    let mut out = Default::default();
    let solved = solve(
        &bridges,
        housing.electrodes(),
        &axes,
        &measured,
        &mut pairs,
        &mut readings,
        &mut out,
    );
    (out.iter().map(|x| *x as f64 * 1e-18).collect(), solved, readings)
}

/// Uniform within -1 to 1, repeatable.
fn random(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Largest errors of translations (of the gap) and of rotations (of gap over arm), and most rounds.
fn worst(separate: bool, unequal: bool, reach: f64, tilt: f64, poses: usize) -> (f64, f64, usize) {
    let bench = Bench::new(unequal);
    let sensor = sensor(&bench, separate);
    let mut state = 7;
    let (mut length, mut angle, mut rounds) = (0.0f64, 0.0f64, 0);
    for pose in 0..poses {
        let q: [f64; 6] = std::array::from_fn(|k| {
            // The first pose holds every axis at its limit.
            let part = if pose == 0 { 1.0 } else { random(&mut state) };
            part * if k < 3 { reach * GAP_M } else { tilt }
        });
        let (got, solved, readings) = read(&sensor, &amplitudes(&bench, separate, q));
        assert!(solved.settled, "pose {pose}: {q:?}: {solved:?}");
        assert!(readings.iter().all(|r| r.health.is_ok()), "{readings:?}");
        rounds = rounds.max(solved.rounds);
        for k in 0..6 {
            let error = (got[k] - q[k]).abs();
            if k < 3 {
                length = length.max(error / GAP_M);
            } else {
                angle = angle.max(error / (GAP_M / 0.022));
            }
        }
    }
    println!(
        "separate {separate} unequal {unequal} reach {reach} tilt {tilt}: {length:.1e} {angle:.1e} {rounds}"
    );
    assert!(rounds < ROUNDS);
    (length, angle, rounds)
}

#[test]
fn six_axes_at_once() {
    for separate in [false, true] {
        for unequal in [false, true] {
            for (reach, tilt) in [(0.0, 1e-3), (0.3, 0.0), (0.3, 1e-3), (0.5, 5e-3), (0.2, 0.02)] {
                let (length, angle, rounds) = worst(separate, unequal, reach, tilt, 200);
                let near = reach <= 0.3 && tilt <= 1e-3;
                assert!(!near || rounds as f64 <= USUAL_ROUNDS, "{rounds}");
                assert!(length < 1e-9, "{length:e}");
                assert!(angle < 1e-9, "{angle:e}");
            }
        }
    }
}

#[test]
fn up_to_the_range() {
    for separate in [false, true] {
        let (length, angle, _) = worst(separate, true, 0.8, 1e-4, 300);
        assert!(length < 1e-9 && angle < 1e-9, "{length:e} {angle:e}");
    }
}

/// Six axes on their way at once: up to 0.3 of the gap and 1 mrad, each at its own slow period.
fn motion(t: f64) -> [f64; 6] {
    std::array::from_fn(|k| {
        let swing = (TAU * (0.11 + 0.017 * k as f64) * t + k as f64).sin();
        swing * if k < 3 { 0.3 * GAP_M } else { 1e-3 }
    })
}

/// A capture of codes from the forward model through the whole core: the carrier drifts by 20 %, its
/// monitor with it. Within 1e-7 of the gap and of the angle that a gap over the arm makes.
#[test]
fn a_capture_of_six_axes_comes_back() {
    const STEP: usize = 800;
    const SECONDS: usize = 5;
    for separate in [false, true] {
        let bench = Bench::new(true);
        let sensor = sensor(&bench, separate);
        let rate = sensor.rate_hz();
        // Amplitudes every millisecond, straight lines between: 1.1 rad/s and 2^-3 of (1e-3)^2 leave
        // 2e-7 of an amplitude's change, so parabolas.
        let points: Vec<Vec<f64>> = (0..=SECONDS * 2000 + 2)
            .map(|n| {
                let t = n as f64 * (STEP / 2) as f64 / rate;
                let mut all = amplitudes(&bench, separate, motion(t));
                all.push(0.5 * INJECTION_V * 2f64.powi(BITS - 1));
                let drift = 1.0 - 0.2 * t / SECONDS as f64;
                all.iter_mut().for_each(|a| *a *= drift);
                all
            })
            .collect();
        let carrier: Vec<f64> = (0..10).map(|k| (TAU * f64::from(k) / 10.0).cos()).collect();
        let mut chain = Chain::new(&sensor.settings).expect("a good plan");
        let mut rows = Vec::new();
        let mut block = Vec::new();
        for n in 0..SECONDS * 1000 {
            block.clear();
            for k in 0..STEP {
                let b = k as f64 / STEP as f64;
                let [first, middle, last] = [0, 1, 2].map(|p| &points[2 * n + p]);
                for ((a, m), z) in first.iter().zip(middle).zip(last) {
                    let amplitude =
                        a + b * (4.0 * m - 3.0 * a - z + b * (2.0 * a - 4.0 * m + 2.0 * z));
                    block.push((amplitude * carrier[k % 10]).round() as i32);
                }
            }
            chain.push(&block, |reading| rows.push(Row::of(reading)));
        }
        let (mut length, mut angle, mut count) = (0.0f64, 0.0f64, 0);
        for row in rows.iter().filter(|row| !settling(row)) {
            assert!(row.health.is_ok(), "{}", health_text(row.health));
            let want = motion(row.time_s(rate));
            for (k, (got, want)) in row.axes.iter().zip(want).enumerate() {
                let error = (got - want).abs();
                if k < 3 {
                    length = length.max(error / GAP_M);
                } else {
                    angle = angle.max(error / (GAP_M / 0.022));
                }
            }
            count += 1;
        }
        println!(
            "separate {separate}: {count} readings, {length:.1e} of the gap, {angle:.1e} of the angle"
        );
        assert!(count > 15, "{count} readings");
        assert!(length < 1e-7, "{length:e}");
        assert!(angle < 1e-7, "{angle:e}");
    }
}
