//! The mass in its housing, by the core's stages alone, against the forward model that shares nothing with
//! them.

#[path = "../../outside_housing/forward.rs"]
#[allow(dead_code)]
mod forward;

use super::random;
use forward::Bench;
use quietgap_core::axes::Axes;
use quietgap_core::bridge::{Bridge, BridgeReading};
use quietgap_core::config::*;
use quietgap_core::housing::{Housing, tilt_factor};
use quietgap_core::phasor::Phasor;
use quietgap_core::position::{ROUNDS, SETTLED, Solved, solve};
use quietgap_core::word::{Coefficient, Fraction, Word};

const GAP_M: f64 = 2e-3;

fn fraction(x: f64) -> Fraction {
    Fraction::from_num(x)
}

fn am(x: f64) -> i64 {
    (x * 1e18).round() as i64
}

/// Rows of a pair and weights of its two electrodes in the balance: C0/d or 1/d.
fn row(bench: &Bench, pair: usize, separate: bool) -> [f64; 6] {
    let weigh = |plate: &forward::Plate| {
        let area = plate.sides[0] * plate.sides[1];
        if separate { 1.0 / plate.gap } else { area / plate.gap / plate.gap }
    };
    let plates = [&bench.plates[2 * pair], &bench.plates[2 * pair + 1]];
    let rows = plates.map(|p| {
        let turn = forward::cross(p.centre, p.normal);
        [p.normal[0], p.normal[1], p.normal[2], turn[0], turn[1], turn[2]]
    });
    let [k1, k2] = plates.map(weigh);
    std::array::from_fn(|j| (k1 * rows[0][j] - k2 * rows[1][j]) / (k1 + k2))
}

/// Inverse of a 6 x 6 matrix by elimination with pivots.
fn inverse(mut a: Vec<[f64; 6]>) -> Vec<[f64; 6]> {
    let mut b: Vec<[f64; 6]> =
        (0..6).map(|i| std::array::from_fn(|j| f64::from(u8::from(i == j)))).collect();
    for k in 0..6 {
        let pivot = (k..6).max_by(|i, j| a[*i][k].abs().total_cmp(&a[*j][k].abs())).unwrap();
        a.swap(k, pivot);
        b.swap(k, pivot);
        let scale = a[k][k];
        (0..6).for_each(|j| (a[k][j] /= scale, b[k][j] /= scale).0);
        for i in (0..6).filter(|i| *i != k) {
            let factor = a[i][k];
            for j in 0..6 {
                a[i][j] -= factor * a[k][j];
                b[i][j] -= factor * b[k][j];
            }
        }
    }
    b
}

fn read(bench: &Bench, separate: bool, q: [f64; 6]) -> ([f64; 6], Solved, bool) {
    let c0 = |p: &forward::Plate| forward::EPS0 * p.sides[0] * p.sides[1] / p.gap;
    let strays: f64 = bench.strays.iter().flatten().sum();
    let injected: f64 = bench.plates.iter().filter(|p| p.injects).map(c0).sum();
    let total = bench.plates.iter().map(c0).sum::<f64>() + strays + bench.mass_stray;
    let (mut bridges, mut phasors) = (Vec::new(), Vec::new());
    let (pairs, mass) = bench.look(q);
    let rest = injected / total;
    // Words: half of full scale is a pair's capacitance with the carrier at rest.
    let mut word = |amplitude: f64| {
        phasors.push(Phasor { i: Word::from_num(0.5 * amplitude), q: Word::ZERO });
        phasors.len() as u8 - 1
    };
    for (n, pair) in pairs.iter().enumerate() {
        let plates = [&bench.plates[2 * n], &bench.plates[2 * n + 1]];
        let c = plates.map(c0);
        let (sum, gap) = (c[0] + c[1], (plates[0].gap + plates[1].gap) / 2.0);
        let [a1, a2] = pair.map(|c| c / sum * mass / rest);
        let kind = if separate {
            BridgeKind::Separate { channels: [word(a1), word(a2)], least_sum: Word::lit("0.01") }
        } else {
            BridgeKind::Difference { channel: word(a1 - a2), full: Word::lit("0.5") }
        };
        bridges.push(Bridge::new(&BridgeConfig {
            strays: bench.strays[n].map(|s| fraction(s / sum)),
            weights: c.map(|c| fraction(c / sum)),
            gaps: plates.map(|p| fraction(p.gap / gap)),
            range: MAX_RANGE,
            ..BridgeConfig::plain(kind, am(gap))
        }));
    }
    let electrodes: Vec<ElectrodeConfig> = bench
        .plates
        .iter()
        .map(|p| {
            let across = forward::cross(p.normal, p.along);
            ElectrodeConfig {
                gap_am: am(p.gap),
                position_am: p.centre.map(am),
                normal: p.normal.map(fraction),
                half_sides: [(p.along, p.sides[0]), (across, p.sides[1])]
                    .map(|(along, side)| along.map(|x| HalfSide::from_num(x * side / 2.0 / p.gap))),
                total_share: fraction(c0(p) / total),
                drive_share: fraction(if p.injects { c0(p) / injected } else { 0.0 }),
            }
        })
        .collect();
    let rows: Vec<[f64; 6]> = (0..6).map(|b| row(bench, b, separate)).collect();
    let entries = |m: &[[f64; 6]]| -> Vec<Coefficient> {
        m.iter().flatten().map(|x| Coefficient::from_num(*x)).collect()
    };
    let (geometry, solving) = (entries(&rows), entries(&inverse(rows)));
    let config =
        AxesConfig { axes: 63, solve: &solving, geometry: &geometry, residual_am: 1_000_000 };
    let axes = Axes::<12>::new(&config, 6).expect("good axes");
    let housing = Housing::<12>::new(&electrodes);
    let measured: Vec<_> = bridges.iter().map(|b| b.measure(&phasors, 1 << 58)).collect();
    let mut pairs: Vec<_> = bridges.iter().map(Bridge::at_rest).collect();
    let mut readings = vec![BridgeReading::default(); 6];
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
    let healthy = readings.iter().all(|r| r.health.is_ok());
    (std::array::from_fn(|k| out[k] as f64 * 1e-18), solved, healthy)
}

/// Reach as a part of the gap, tilts, and what is allowed of the gap (of gap over arm for rotations): words
/// of 52 bits, matrices of 48 bits; series as `docs/accuracy.md` has them.
#[test]
fn six_axes_at_once() {
    for separate in [false, true] {
        for (unequal, reach, tilt, limit) in [
            (false, 0.3, 0.0, 1e-12),
            (true, 0.3, 1e-3, 1e-12),
            (true, 0.8, 1e-4, 1e-9),
            (true, 0.2, 0.02, 1e-9),
        ] {
            let bench = Bench::new(unequal);
            let mut state = 3;
            for pose in 0..60 {
                let q: [f64; 6] = std::array::from_fn(|k| {
                    let part = if pose == 0 { 1.0 } else { random(&mut state) };
                    part * if k < 3 { reach * GAP_M } else { tilt }
                });
                let (got, solved, healthy) = read(&bench, separate, q);
                assert!(solved.settled && healthy && !solved.disagree, "{q:?}: {solved:?}");
                assert!((2..ROUNDS).contains(&solved.rounds));
                for k in 0..6 {
                    let scale = if k < 3 { GAP_M } else { GAP_M / 0.022 };
                    let error = (got[k] - q[k]).abs() / scale;
                    assert!(error < limit, "{separate} {unequal} {q:?}: axis {k}: {error:e}");
                }
            }
        }
    }
}

/// At rest the second round finds that nothing moves.
#[test]
fn rest_takes_two_rounds() {
    let (got, solved, healthy) = read(&Bench::new(false), false, [0.0; 6]);
    assert!(solved.settled && healthy);
    assert_eq!(solved.rounds, 2);
    assert!(got.iter().all(|x| x.abs() < 1e-15), "{got:?}");
}

/// Gaps of 2 um, of which 2^-42 is no whole attometre: nothing moves, then, where a round gives the same.
#[test]
fn a_small_housing_settles() {
    let mut bench = Bench::new(true);
    const SCALE: f64 = 1e-3;
    for plate in &mut bench.plates {
        plate.gap *= SCALE;
        plate.sides = plate.sides.map(|side| side * SCALE);
        plate.centre = plate.centre.map(|x| x * SCALE);
    }
    bench.strays.iter_mut().flatten().for_each(|stray| *stray *= SCALE);
    bench.mass_stray *= SCALE;
    let gap = GAP_M * SCALE;
    assert!(am(gap) < 1 << SETTLED);
    for reach in [0.0, 0.1, -0.3, 0.3] {
        let mut q = [reach * gap; 6];
        q[3..].fill(reach * 1e-3);
        let (got, solved, healthy) = read(&bench, false, q);
        assert!(solved.settled && healthy, "{reach}: {solved:?}");
        // Bridges, and with them axes, are in whole attometres.
        assert!((got[0] - q[0]).abs() < 1e-16, "{reach}: {got:?}");
    }
}

/// Edges that change a gap by half of it, and an electrode nearly touched, are more than the formulas are
/// for: told, not guessed.
#[test]
fn beyond_the_formulas() {
    let bench = Bench::new(true);
    let tilted = |angle: f64| read(&bench, true, [0.0, 0.0, 0.0, 0.0, 0.0, angle]).1.settled;
    assert!(tilted(0.03) && !tilted(0.12));
    let near = |x: f64| read(&bench, true, [x * GAP_M, 0.0, 0.0, 0.0, 0.0, 0.0]);
    assert!(near(0.8).1.settled);
    let (_, solved, healthy) = near(0.99);
    assert!(!solved.settled || !healthy);
    // It ends, and says where.
    let rounds = |k: u32| read(&bench, true, [0.0, 0.0, 0.0, 0.0, 0.0, f64::from(k) * 0.01]).1;
    let all: Vec<Solved> = (1..40).map(rounds).collect();
    assert!(all.iter().all(|solved| solved.rounds <= ROUNDS));
    assert!(all.iter().any(|solved| !solved.settled && solved.rounds == ROUNDS));
}

/// One tilt: atanh(a)/a; two: the closed form in z ln z. The sum of even powers is the same to 3e-12.
#[test]
fn tilt_of_a_plate() {
    let fixed = |x: f64| (x * 2f64.powi(62)) as i64;
    let got = |a: f64, b: f64| tilt_factor([fixed(a), fixed(b)]) as f64 / 2f64.powi(58);
    assert_eq!(tilt_factor([0, 0]), 1 << 58);
    for a in [1e-6f64, 1e-3, 0.1, 0.3, 0.5, -0.5] {
        assert!((got(a, 0.0) - a.atanh() / a).abs() < 4e-12, "{a}");
        assert_eq!(got(a, 0.0), got(0.0, a));
    }
    let f = |z: f64| z * z.ln();
    for (a, b) in [(0.25, 0.25), (0.3, 0.2), (0.4, -0.1), (0.1, 0.05)] {
        let closed =
            (f(1.0 + a + b) - f(1.0 + a - b) - f(1.0 - a + b) + f(1.0 - a - b)) / (4.0 * a * b);
        assert!((got(a, b) - closed).abs() < 4e-12, "{a} {b}: {} {closed}", got(a, b));
    }
}
