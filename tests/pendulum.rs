//! The pendulum against published formulas, and free swing and torque noise against simulated records whose
//! parameters are known. Sources: CHECKS TOR-1 to TOR-6.

use quietgap_sim::analysis::density::Detrend;
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::welch::welch;
use quietgap_sim::analysis::window::Window;
use quietgap_sim::pendulum::swing::fit;
use quietgap_sim::pendulum::torque::{Coefficients, torques};
use quietgap_sim::pendulum::{BOLTZMANN, Pendulum, fibre_stiffness};
use quietgap_sim::simulation::plant::noise::{Gaussian, Stream};
use std::f64::consts::TAU;

/// A fibre of 50 um and 1 m, 3000 s (common practice, no source), Q = 3000 at 293.15 K.
fn slow(quality: f64, structural: bool) -> Pendulum {
    let fibre = fibre_stiffness(161e9, 50e-6, 1.0);
    Pendulum {
        inertia: fibre / (TAU / 3000.0f64).powi(2),
        fibre,
        tension: 0.0,
        electrostatic: 0.0,
        quality,
        structural,
        damping: 0.0,
        gas_damping: 0.0,
        temperature_k: 293.15,
        mass_kg: 1.0,
        arm_m: 0.1,
        axis: 5,
    }
}

fn near(is: f64, want: f64, relative: f64, what: &str) {
    assert!((is / want - 1.0).abs() < relative, "{what}: {is:e} against {want:e}");
}

/// TOR-1 to TOR-5: stiffness, inertia, thermal torque, response.
#[test]
fn figures_of_a_slow_pendulum() {
    near(fibre_stiffness(161e9, 50e-6, 1.0), 9.878_836_27e-8, 1e-8, "TOR-1");
    near(fibre_stiffness(160.6e9, 50e-6, 1.0), 9.854_29e-8, 1e-6, "TOR-1");
    let p = slow(3000.0, true);
    near(p.inertia, 0.022_521_046_1, 3e-9, "TOR-2, printed to nine digits");
    near(p.period_s(), 3000.0, 1e-12, "TOR-2");
    for (f, want) in [(1e-4, 2.912_855e-14), (1e-3, 9.211_257e-15), (1e-2, 2.912_855e-15)] {
        near(p.fibre_noise(f), want, 1e-6, "TOR-3");
    }
    near(slow(1000.0, true).fibre_noise(1e-3), 1.595_437e-14, 1e-6, "TOR-3");
    for (f, want) in [(1e-4, 1.112_379e7), (1e-3, 1_265_331.2), (1e-2, 11_259.90)] {
        near(p.response(f).norm(), want, 1e-6, "TOR-4");
    }
    near(1e-7 / p.response(1e-3).norm(), 7.903_069e-14, 1e-6, "TOR-4");
    near(p.acceleration(p.fibre_noise(1e-3)), 9.2113e-14, 1e-5, "TOR-4");
    near((BOLTZMANN * 293.15 / p.fibre).sqrt(), 2.024_108e-7, 1e-6, "TOR-5");
    near(2.0 * p.whole_quality() / p.resonance(), 2.864_789e6, 1e-6, "TOR-5");
}

/// TOR-6: the angle's density of a viscous pendulum integrates to kT/kappa. Integrated over the phase of the
/// resonance, f = f0 tan, so that no step misses it.
#[test]
fn equipartition() {
    let p = slow(30.0, false);
    let f0 = 1.0 / p.period_s();
    let steps = 200_000;
    let sum: f64 = (0..steps)
        .map(|k| {
            let angle = (k as f64 + 0.5) / steps as f64 * TAU / 4.0;
            let f = f0 * angle.tan();
            let density = (p.fibre_noise(f) * p.response(f).norm()).powi(2);
            density * f0 / angle.cos().powi(2) * (TAU / 4.0 / steps as f64)
        })
        .sum();
    near(sum, BOLTZMANN * 293.15 / p.fibre, 1e-4, "kT/kappa");
}

/// Bodies at their distances make up the inertia (parallel axes), and the carrier's field softens: a pair of
/// facing plates takes V^2 C0 (arm/d)^2 (PHY-6, each electrode V^2 C0/d^2).
#[test]
fn inertia_and_softening() {
    let text = include_str!("../host-sim/sensors/vault-two-bridge.toml");
    let with_bodies = text.replace(
        "inertia_kg_m2 = 3.3e-5\n",
        "body = [{ mass_kg = 0.1, position_m = [0.03, 0.04], inertia_kg_m2 = 1e-5 }, { mass_kg = 0.2, position_m = \
         [0.0, -0.1] }]\n",
    );
    let load = |text: &str| {
        quietgap_sim::instrument::Sensor::parse(std::path::Path::new("s.toml"), text)
            .expect("loads")
    };
    let p = Pendulum::new(&load(&with_bodies).file).unwrap();
    near(p.inertia, 1e-5 + 0.1 * 0.0025 + 0.2 * 0.01, 1e-12, "bodies");
    let sensor = load(text);
    let p = Pendulum::new(&sensor.file).unwrap();
    // The mass's own figures by hand: C0 = eps0 A/d, V_m = V C_inj/C_total; each of four sensing electrodes
    // 12 mm x 20 mm at arm 22 mm: mean of arm^2 over its width adds width^2/12.
    let eps0 = 8.854_187_818_8e-12;
    let c0 = eps0 * 4.8e-4 / 2e-3;
    let inject = 2.0 * eps0 * 5e-4 / 2e-3;
    let mass_v = 5.0 * inject / (inject + 4.0 * c0 + 3e-12);
    let square = mass_v * mass_v / 2.0 + 0.05 * 0.05;
    let arm = 0.022f64.powi(2) + 0.02f64.powi(2) / 12.0;
    // C = eps0 A <1/(d - arm phi - x0 phi^2/2 ...)>: second derivative 2 C0 arm^2/d^2 + C0 x_face/d, the face at
    // 8 mm coming nearer by phi^2/2 of that.
    let by_hand = -0.5 * square * 4.0 * (2.0 * c0 * arm / (2e-3f64).powi(2));
    near(p.electrostatic, by_hand, 0.03, "softening");
    assert!(p.electrostatic < 0.0 && p.stiffness() < p.fibre + p.tension);
}

/// A record of the pendulum, exact steps, white torque and white noise of the reading.
fn record(
    p: &Pendulum,
    start: [f64; 2],
    torque: f64,
    reading: f64,
    rate: f64,
    count: usize,
    seed: u64,
) -> Vec<f64> {
    let mut gaussian = Gaussian::new(seed, Stream::Motion);
    // Small steps of the leapfrog rule, a hundred a radian: shares nothing with the exact step in use.
    let (k, b) = (p.stiffness() / p.inertia, (p.fibre_damping() + p.damping) / p.inertia);
    let fine = ((100.0 * p.resonance() / rate).ceil() as usize).max(4);
    let h = 1.0 / (rate * fine as f64);
    let [mut x, mut v] = start;
    (0..count)
        .map(|_| {
            let out = x + reading * (rate / 2.0).sqrt() * gaussian.next();
            for _ in 0..fine {
                let drive = torque / p.inertia / (2.0 * h).sqrt() * gaussian.next();
                v += h / 2.0 * (drive - k * x - b * v);
                x += h * v;
                v += h / 2.0 * (drive - k * x - b * v);
            }
            out
        })
        .collect()
}

/// Period, Q and amplitude come back from 200 seeded records of 100 periods, their 95 % intervals as often as
/// that says; torque noise comes back within its own.
#[test]
fn free_swing_comes_back() {
    let mut p = slow(300.0, false);
    p.inertia = p.fibre / (TAU / 210.0f64).powi(2);
    let (rate, count) = (0.1, 2100);
    let thermal = p.fibre_noise(1e-3);
    let (mut period, mut quality, mut amplitude, mut phase, mut drives) = (0, 0, 0, 0, Vec::new());
    for seed in 0..200 {
        let x = record(&p, [2e-5, 0.0], thermal, 1e-9, rate, count, seed);
        let s = fit(&Series::whole(&x, rate), 215.0).expect("it swings");
        let holds = |m: quietgap_sim::pendulum::swing::Measured, truth: f64| {
            u32::from((m.value - truth).abs() < 1.96 * m.uncertainty)
        };
        // At rest at the start: v = -A (omega sin(phase) + b/2 cos(phase)) = 0.
        let phase_at_rest = -(1.0 / 600.0f64).atan();
        let damped = TAU / (p.resonance().powi(2) - (p.resonance() / 600.0).powi(2)).sqrt();
        period += holds(s.period_s, damped);
        quality += holds(s.quality, 300.0);
        amplitude += holds(s.amplitude, 2e-5);
        phase += holds(s.phase_rad, phase_at_rest);
        drives.push(s.drive_density * p.inertia);
    }
    let shares = [period, quality, amplitude, phase].map(|n| f64::from(n) / 200.0);
    println!("period, Q, amplitude, phase within 95 %: {shares:?}");
    let mean = (drives.iter().map(|d| d * d).sum::<f64>() / 200.0).sqrt();
    println!("drive {mean:e} of {thermal:e}");
    near(mean, thermal, 0.05, "drive");
    assert!(shares.iter().all(|share| (0.90..=0.995).contains(share)), "{shares:?}");
}

/// A line that drives the mass at 0.8 of its resonance, a thousand times the thermal torque in its bin, bends neither period
/// nor Q: each within four of its uncertainties in 20 runs, at rest or swinging.
#[test]
fn free_swing_beside_a_line() {
    let mut p = slow(300.0, false);
    p.inertia = p.fibre / (TAU / 210.0f64).powi(2);
    let (rate, count) = (0.1, 2100);
    let thermal = p.fibre_noise(1e-3);
    let f = 0.8 / 210.0;
    let seconds = count as f64 / rate;
    // An amplitude whose power in one bin is that of the noise is sqrt(2 S^2/T).
    let torque = 1000.0 * thermal * (2.0 / seconds).sqrt();
    let answer = p.response(f) * torque;
    for (seed, start) in (0..20).map(|seed| (seed, if seed % 2 == 0 { 2e-5 } else { 0.0 })) {
        let mut x = record(&p, [start, 0.0], thermal, 1e-9, rate, count, seed);
        for (n, x) in x.iter_mut().enumerate() {
            let turn = TAU * f * n as f64 / rate;
            *x += answer.re * turn.cos() - answer.im * turn.sin();
        }
        let s = fit(&Series::whole(&x, rate), 213.0).expect("it swings");
        let damped = TAU / (p.resonance().powi(2) - (p.resonance() / 600.0).powi(2)).sqrt();
        let off = (s.period_s.value - damped).abs() / s.period_s.uncertainty;
        assert!(off < 4.0, "{seed}: period {:?}, {damped}", s.period_s);
        println!("{seed}: {:?}", s.period_s);
        assert!(start == 0.0 || s.period_s.uncertainty < 0.5, "{seed}: {:?}", s.period_s);
        // 1/Q, as Q itself of an uncertain damping is no normal variate.
        let damping = p.resonance() / 300.0;
        let off = (s.damping.value - damping).abs() / s.damping.uncertainty;
        assert!(off < 4.0, "{seed}: damping {:?}, {damping}", s.damping);
    }
}

/// Torque in time: a sine of known torque, and none of the free swing, to the differences' stated error.
#[test]
fn torque_takes_the_swing_off() {
    let mut p = slow(300.0, false);
    p.inertia = p.fibre / (TAU / 210.0f64).powi(2);
    let rate = 10.0;
    let (k, b) = (p.stiffness(), p.fibre_damping());
    let omega = (k / p.inertia - (b / p.inertia / 2.0).powi(2)).sqrt();
    let drive_hz = 0.05;
    let response = p.response(drive_hz);
    let x: Vec<f64> = (0..40_000)
        .map(|n| {
            let t = n as f64 / rate;
            let swing = 1e-5 * (-b / p.inertia / 2.0 * t).exp() * (omega * t).cos();
            swing + 1e-12 * (response * num_complex::Complex64::cis(TAU * drive_hz * t)).re
        })
        .collect();
    let series = Series { values: &x, runs: vec![0..15_000, 15_500..40_000], rate_hz: rate };
    let c = Coefficients { inertia: p.inertia, damping: b, stiffness: k };
    let (t, runs) = torques(&series, c);
    assert_eq!(runs, [2..14_998, 15_502..39_998]);
    let mean: f64 = runs.iter().flat_map(|r| r.clone()).map(|n| t[n]).sum::<f64>() / 39_492.0;
    for n in runs.into_iter().flatten() {
        let want = 1e-12 * (TAU * drive_hz * n as f64 / rate).cos();
        // kappa x of the swing alone is 9.9e-13: a thousandth of the drive is left of it and of the offset.
        assert!((t[n] - mean - want).abs() < 2e-15, "{n}: {:e} against {want:e}", t[n] - mean);
    }
}

/// Torque density of a driven pendulum is the drive's over three decades, swing and all.
#[test]
fn torque_density_is_the_drive() {
    let mut p = slow(300.0, false);
    p.inertia = p.fibre / (TAU / 210.0f64).powi(2);
    let x = record(&p, [1e-5, 0.0], 1e-14, 0.0, 1.0, 60_000, 3);
    let c =
        Coefficients { inertia: p.inertia, damping: p.fibre_damping(), stiffness: p.stiffness() };
    let (t, runs) = torques(&Series::whole(&x, 1.0), c);
    let density =
        welch(&t[runs[0].clone()], 1.0, 4096, Window::BLACKMAN_HARRIS, Detrend::Mean).unwrap();
    for (low, high) in [(1.5e-3, 4e-3), (4e-3, 6e-3), (6e-3, 2e-2), (2e-2, 8e-2)] {
        let level = density.mean_amplitude(low, high).unwrap();
        println!("{low} to {high} Hz: {level:e}");
        near(level, 1e-14, 0.12, "torque density");
    }
}
