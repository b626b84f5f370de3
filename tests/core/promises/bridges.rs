//! What bridges and axes promise: quadrature and its sign, range, residual, offset.

use super::*;

/// Of full scale: a tenth of a0, 0.5; of the signal: sine 0.1 and a floor of 0.001.
#[test]
fn quadrature() {
    boundary(
        &bench(),
        with(0, (0.01, 0.05 - 1e-12)),
        with(0, (0.01, 0.05 + 1e-12)),
        Health::QUADRATURE,
    );
    boundary(
        &bench(),
        with(1, (0.01, 1e-12 - 0.05)),
        with(1, (0.01, -0.05 - 1e-12)),
        Health::QUADRATURE,
    );
    let mut judged = bench();
    for bridge in &mut judged.bridges {
        (bridge.phase, bridge.floor) = (Fraction::lit("0.1"), Fraction::lit("0.001"));
        bridge.quadrature = Fraction::lit("1.9");
    }
    // In the unit of r: half as much again in words.
    let (good, bad) = (0.1 * 0.2 + 0.0005 - 1e-12, 0.1 * 0.2 + 0.0005 + 1e-12);
    for sign in [1.0, -1.0] {
        boundary(
            &judged,
            with(0, (0.2, sign * good)),
            with(0, (0.2, sign * bad)),
            Health::QUADRATURE,
        );
        boundary(
            &judged,
            with(0, (-0.2, sign * good)),
            with(0, (-0.2, sign * bad)),
            Health::QUADRATURE,
        );
    }
    // Near the centre the floor is all.
    boundary(
        &judged,
        with(0, (0.0, 0.000_5 - 1e-12)),
        with(0, (0.0, 0.000_5 + 1e-12)),
        Health::QUADRATURE,
    );
    // Separate electrodes: both parts over the sum, whatever their signs; alike parts cancel in the figure,
    // not in the judgement.
    let both = |q: f64| {
        let mut all = GOOD;
        (all[2].1, all[3].1) = (q, q);
        all
    };
    let limit = 0.101 * 0.6 / 2.0;
    boundary(&judged, both(limit - 1e-12), both(limit + 1e-12), Health::QUADRATURE);
    assert_eq!(judged.read(&both(0.1)).bridges[2].quadrature, Fraction::ZERO);
}

/// Two bridges that pick up 0.02 and -0.03 of each other's: taken off, what is left is each one's own, and flags
/// follow that. S of a pair, with d = 1 - c12 c21: [-c12 c21, c12; c21, -c12 c21]/d.
#[test]
fn coupling() {
    let (c, d) = ([0.02, -0.03], 1.0 + 0.02 * 0.03);
    let shares = [-c[0] * c[1], c[0], 0.0, c[1], -c[0] * c[1], 0.0, 0.0, 0.0, 0.0];
    let mut coupled = bench();
    coupled.cross_coupling = shares.map(|s| Fraction::from_num(s / d)).to_vec();
    let both = |a: f64, b: f64, c: [f64; 2]| {
        let mut all = GOOD;
        (all[0].0, all[1].0) = (a + c[0] * b, b + c[1] * a);
        all
    };
    for (a, b) in [(0.1, -0.2), (-0.32, 0.01), (1e-6, 0.3)] {
        let [is, want] = [coupled.read(&both(a, b, c)), bench().read(&both(a, b, [0.0; 2]))];
        for (is, want) in is.bridges.iter().zip(&want.bridges) {
            let apart = (is.gap_fraction - want.gap_fraction).to_num::<f64>();
            assert!(apart.abs() < 1e-14, "{a} {b}: {apart:e}");
        }
        assert_eq!(is.bridges[2], want.bridges[2], "separate electrodes");
        assert_eq!(is.health, want.health);
        let without = bench().read(&both(a, b, c));
        assert!(
            without.bridges[0].displacement_am.abs_diff(want.bridges[0].displacement_am) > 1 << 38
        );
    }
    // Half a gap by the other's share, which is no half gap of its own.
    let limit = |more: f64| both(1.0 / 3.0 + more, 0.3, c);
    boundary(&coupled, limit(-1e-12), limit(1e-12), Health::BRIDGE_RANGE);
}

/// Signs: the signal's phase ahead of its alignment is positive, for electrode 1 of a pair, too.
#[test]
fn signs_of_quadrature() {
    let quadrature = |bench: &Bench, phasors, bridge: usize| -> f64 {
        bench.read(&phasors).bridges[bridge].quadrature.to_num()
    };
    assert!((quadrature(&bench(), with(0, (0.01, 0.02)), 0) - 0.04).abs() < 1e-12);
    assert!((quadrature(&bench(), with(2, (0.3, 0.03)), 2) - 0.05).abs() < 1e-12);
    assert!((quadrature(&bench(), with(3, (0.3, 0.03)), 2) + 0.05).abs() < 1e-12);
    // Turned back by the alignment: I' = I cos + Q sin, Q' = Q cos - I sin.
    let mut turned = bench();
    turned.alignments[0] = Alignment { cosine: Fraction::lit("0.8"), sine: Fraction::lit("0.6") };
    let reading = turned.read(&with(0, (0.1, 0.0)));
    assert!((reading.bridges[0].quadrature.to_num::<f64>() + 0.12).abs() < 1e-12);
    let r = 0.16;
    let u = 2.0 * r / (1.0 + f64::sqrt(1.0 + 4.0 * r * r));
    assert!((reading.bridges[0].gap_fraction.to_num::<f64>() - u).abs() < 1e-12);
}

/// |u| at half the gap: r = 0.5/0.75 of 0.5 words.
#[test]
fn range_of_a_bridge() {
    for sign in [1.0, -1.0] {
        let at = |more: f64| with(0, (sign * (1.0 / 3.0 + more), 0.0));
        boundary(&bench(), at(-1e-12), at(1e-12), Health::BRIDGE_RANGE);
    }
    // Beyond what the inversion takes, and on either wiring.
    assert!(bench().read(&with(0, (3.0, 0.0))).health.has(Health::BRIDGE_RANGE));
    boundary(
        &bench(),
        with(2, (0.9 - 1e-12, 0.0)),
        with(2, (0.9 + 1e-12, 0.0)),
        Health::BRIDGE_RANGE,
    );
    let only = bench().read(&with(0, (0.4, 0.0)));
    let flags: Vec<bool> =
        only.bridges.iter().map(|b| b.health.has(Health::BRIDGE_RANGE)).collect();
    assert_eq!(flags, [true, false, false]);
}

/// Three bridges and their mean: the residual is the largest, whichever bridge it is of.
#[test]
fn residual_is_the_largest() {
    let mut three = bench();
    three.monitor = None;
    let reading = three.read(&GOOD);
    let x: Vec<i64> = reading.bridges.iter().map(|b| b.displacement_am).collect();
    assert_eq!(x[2], 0, "separate electrodes stand at the centre");
    for far in 0..3 {
        let mut bench = bench();
        bench.monitor = None;
        bench.bridges[far].offset_am = -MM / 2;
        // The others 0.25 mm below the mean of 0.17 mm, this one 0.33 mm above.
        let mut phasors = GOOD;
        (phasors[0], phasors[1]) = ((1e-9, 0.0), (1e-9, 0.0));
        let reading = bench.read(&phasors);
        assert!((reading.residual_am - MM / 3).abs() < MM / 1000, "{far}: {}", reading.residual_am);
        bench.residual_am = reading.residual_am;
        assert!(!bench.read(&phasors).health.has(Health::AXES_RESIDUAL));
        bench.residual_am -= 1;
        assert!(bench.read(&phasors).health.has(Health::AXES_RESIDUAL));
    }
}

#[test]
fn offset_is_taken_off() {
    let mut bench = bench();
    let before = bench.read(&GOOD).bridges[0].displacement_am;
    bench.bridges[0].offset_am = 12_345;
    let reading = bench.read(&GOOD);
    assert_eq!(reading.bridges[0].displacement_am, before - 12_345);
    let u = reading.bridges[0].gap_fraction.to_num::<f64>();
    assert!((before as f64 - u * GAP_AM as f64).abs() < 2.0);
}
