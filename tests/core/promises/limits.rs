//! Limits to their last step: what stands at one is within it. Words are chosen so that ratios are exact.

use super::*;

/// A bridge in a narrow housing: both gaps half of the reference, so that no ratio leads out of its range.
fn narrow() -> Bench {
    let mut bench = bench();
    bench.monitor = None;
    bench.bridges.truncate(1);
    bench.bridges[0].gaps = [Fraction::lit("0.5"); 2];
    bench.bridges[0].range = MAX_RANGE;
    bench
}

/// r = 5.5 is the last ratio that the inversion takes.
#[test]
fn the_largest_ratio() {
    let at = |word: f64| with(0, (word, 0.0));
    for sign in [1.0, -1.0] {
        boundary(&narrow(), at(sign * 2.75), at(sign * (2.75 + 2.0 * STEP)), Health::BRIDGE_RANGE);
        assert!(narrow().read(&at(sign * 3.5)).health.has(Health::BRIDGE_RANGE));
    }
    // A stray takes a ratio beyond what was measured.
    let mut strayed = narrow();
    strayed.bridges[0].strays = [Fraction::ZERO, Fraction::lit("0.5")];
    boundary(&strayed, at(2.5), at(2.5 + 2.0 * STEP), Health::BRIDGE_RANGE);
}

#[test]
fn the_range_itself() {
    let phasors = with(0, (0.2, 0.0));
    let mut bench = bench();
    let u = bench.read(&phasors).bridges[0].gap_fraction;
    bench.bridges[0].range = u;
    assert!(!bench.read(&phasors).health.has(Health::BRIDGE_RANGE));
    bench.bridges[0].range = u - Fraction::DELTA;
    assert!(bench.read(&phasors).health.has(Health::BRIDGE_RANGE));
}

/// 0.125 of 0.5 in quadrature, against full scale and against the signal's floor.
#[test]
fn quadrature_itself() {
    let mut full_scale = bench();
    full_scale.monitor = None;
    full_scale.bridges[0].quadrature = Fraction::lit("0.125");
    let mut floor = bench();
    floor.monitor = None;
    (floor.bridges[0].phase, floor.bridges[0].floor) = (Fraction::ZERO, Fraction::lit("0.125"));
    floor.bridges[0].quadrature = Fraction::ONE;
    for bench in [full_scale, floor] {
        for sign in [1.0, -1.0] {
            boundary(
                &bench,
                with(0, (0.01, sign * 0.0625)),
                with(0, (0.01, sign * (0.0625 + STEP))),
                Health::QUADRATURE,
            );
        }
    }
}

/// What has no room reads as much as there is.
#[test]
fn quadrature_saturates() {
    for sign in [1.0, -1.0] {
        let reading = bench().read(&with(0, (0.01, sign * 3.0)));
        assert!(reading.health.has(Health::QUADRATURE));
        let quadrature: f64 = reading.bridges[0].quadrature.to_num();
        assert!((quadrature - 2.0 * sign).abs() < 1e-15, "{quadrature}");
    }
}

/// Sides of 3, 4 and 5: a sine of 0.6 to the last step.
#[test]
fn the_monitors_phase_itself() {
    let mut bench = bench();
    let phasors = with(4, (0.5, 0.375));
    bench.monitor.as_mut().expect("a monitor").phase = Fraction::lit("0.6");
    assert!(!bench.read(&phasors).health.has(Health::CARRIER_PHASE));
    bench.monitor.as_mut().expect("a monitor").phase = Fraction::lit("0.6") - Fraction::DELTA;
    assert!(bench.read(&phasors).health.has(Health::CARRIER_PHASE));
}

/// A dead carrier is lost by its level and by its ratio at once.
#[test]
fn a_dead_carrier() {
    let health = bench().read(&with(4, (0.0, 0.0))).health;
    assert!(health.has(Health::CARRIER_LOST) && !health.has(Health::CARRIER_WEAK), "{health:?}");
}

/// Without axes there is nothing to disagree with.
#[test]
fn no_axes_no_residual() {
    let mut board = Bench { monitor: None, axes: 0, residual_am: 0, ..bench() }.board();
    let reading = push(&mut board, &GOOD, Interval::default()).expect("a reading");
    assert!(reading.axes.is_empty() && reading.bridges[0].displacement_am > 0);
    assert_eq!(reading.residual_am, 0);
    assert!(!reading.health.has(Health::AXES_RESIDUAL));
}

/// A wrong number of phasors, fewer or more.
#[test]
fn a_wrong_number_of_phasors() {
    for count in [CHANNELS - 1, CHANNELS, CHANNELS + 1] {
        let mut board = bench().board();
        let mut phasors = vec![Phasor { i: Word::lit("0.3"), q: Word::ZERO }; count];
        let mut flagged = None;
        board.push_phasors(&mut phasors, Interval::default(), |reading| {
            flagged = Some(reading.health.has(Health::MEMORY));
        });
        assert_eq!(flagged, Some(count != CHANNELS), "{count}");
    }
}
