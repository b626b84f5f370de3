//! **Faults that must show**: a bench that is not as its sensor file says gives the right reading all the
//! same, or a flag. Each case is a simulated instrument with one thing changed, read with the file as it
//! was.

use quietgap_core::Health;
use quietgap_sim::instrument::{BUILT_IN, Sensor};
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::readout::readings::{Row, health_text};
use quietgap_sim::readout::run::settling;
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::plant::{Parts, Plant};
use std::f64::consts::PI;
use std::path::Path;

const TWO: usize = 0;
const SIX: usize = 1;
const GAP_M: f64 = 2e-3;

/// A built-in sensor whose plan is the first decimation alone: a reading each 160 samples.
fn file(which: usize, changes: &[(&str, &str)]) -> Sensor {
    let vault = BUILT_IN[which].1;
    let mut text = vault[..vault.find("[plan]").expect("a plan in place")].to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    text += "[plan]\norder = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0\n";
    Sensor::parse(Path::new("sensor.toml"), &text).unwrap_or_else(|e| panic!("{e}"))
}

/// The last of some readings of `bench`, a mass that stands at `q`, by the chain of `reader`.
fn read(bench: &Sensor, reader: &Sensor, q: [f64; 6], parts: Parts) -> Row {
    let still = q.map(|x| Some(vec![x; 4]));
    let motion = Motion::new((0..4).map(f64::from).collect(), still).expect("a motion");
    let mut plant = Plant::new(bench, motion, parts, 1);
    let mut chain = Chain::new(&reader.settings).expect("a plan");
    let mut last = None;
    let mut codes = Vec::new();
    for _ in 0..20 {
        plant.chunk(&mut codes);
    }
    chain.push(&codes, |reading| last = Some(Row::of(reading)));
    let row = last.expect("1280 samples make eight readings");
    assert!(!settling(&row));
    row
}

/// Without noise, offset and nonlinearity: what is left is the converter's rounding, and feed-through at
/// audio frequencies, far below, so that no code stands still.
fn clean() -> Parts {
    Parts { offset: false, nonlinearity: false, ..Parts::ALL.quiet() }
}

fn at(axis: usize, value: f64) -> [f64; 6] {
    let mut q = [0.0; 6];
    q[axis] = value;
    q
}

#[track_caller]
fn flagged(row: &Row, fault: Health) {
    assert!(row.health.has(fault), "{} at {:?}", health_text(row.health), row.axes);
}

/// Reads `q` within the rounding of 160 codes of 24 bits, some 1e-7 of the gap at the bridges.
#[track_caller]
fn right(row: &Row, sensor: &Sensor, q: [f64; 6]) {
    right_within(row, sensor, q, 2e-7);
}

#[track_caller]
fn right_within(row: &Row, sensor: &Sensor, q: [f64; 6], of_gap: f64) {
    for (value, axis) in row.axes.iter().zip(sensor.axes()) {
        let limit = of_gap * if *axis < 3 { GAP_M } else { GAP_M / 0.022 };
        assert!((value - q[*axis]).abs() < limit, "{axis}: {value:e}, not {:e}", q[*axis]);
    }
}

/// Injection electrodes move as well: x of the six-axis sensor at 0.4 of the gap and at 0.8 mm was read
/// 1e-2 of the gap off.
#[test]
fn polarisation_follows_every_electrode() {
    for x in [0.4 * GAP_M, 0.45 * GAP_M, -0.4 * GAP_M] {
        for (which, axis) in [(TWO, 0), (SIX, 0), (SIX, 1), (SIX, 2)] {
            let sensor = file(which, &[]);
            let row = read(&sensor, &sensor, at(axis, x), clean());
            assert!(row.health.is_ok(), "{}", health_text(row.health));
            right(&row, &sensor, at(axis, x));
        }
    }
}

/// Beyond 0.6 of the gap twelve rounds had not converged.
#[test]
fn far_out() {
    for which in [TWO, SIX] {
        let changes =
            [("range = 0.5", "range = 0.9"), ("feedback_f = 1.0e-12", "feedback_f = 4.0e-12")];
        let sensor = file(which, &changes);
        let row = read(&sensor, &sensor, at(0, 0.8 * GAP_M), clean());
        assert!(row.health.is_ok(), "{}", health_text(row.health));
        // A quarter of the gain: four times the rounding.
        right_within(&row, &sensor, at(0, 0.8 * GAP_M), 8e-7);
    }
}

/// 20 um with 100 urad read 2 nm in the other axis; 0.3 of the gap with 1 mrad 1.5e-8 m by the tilt.
#[test]
fn rigid_body() {
    let sensor = file(SIX, &[]);
    for q in [
        [0.0, 2e-5, 0.0, 0.0, 0.0, 1e-4],
        [6e-4, 0.0, 0.0, 0.0, 1e-3, 1e-3],
        [6e-4, -6e-4, 6e-4, 1e-3, -1e-3, 1e-3],
    ] {
        let row = read(&sensor, &sensor, q, clean());
        assert!(row.health.is_ok(), "{}", health_text(row.health));
        right(&row, &sensor, q);
    }
}

/// An electrode at 18 mm opposite one at 22 mm: phi read 0.909 of the truth.
#[test]
fn unequal_arms() {
    let arm = [("position_m = [-0.01, 0.022, 0.0]", "position_m = [-0.01, 0.018, 0.0]")];
    let sensor = file(TWO, &arm);
    for q in [at(5, 1e-3), [2e-4, 0.0, 0.0, 0.0, 0.0, -2e-3]] {
        let row = read(&sensor, &sensor, q, clean());
        assert!(row.health.is_ok(), "{}", health_text(row.health));
        right(&row, &sensor, q);
    }
    // Read as if both were at 22 mm: the bridges agree, the number is wrong. Only a calibration tells.
    let row = read(&sensor, &file(TWO, &[]), at(5, 1e-3), clean());
    assert!((row.axes[1] / 1e-3 - 1.0).abs() > 0.02);
}

/// The carrier's phase off: with a monitor the reading stays right, and is flagged; without, its quadrature
/// shows it but for half a turn, which no single bridge can tell from a motion the other way.
#[test]
fn phase_of_the_carrier() {
    for off in [0.5, 1.0, PI / 2.0, 2.0, PI, -1.0] {
        let phase = format!("injection_v = 5.0\nphase_rad = {off:?}");
        let changes = [("injection_v = 5.0", phase.as_str())];
        for x in [2e-6, 2e-5, 3e-4] {
            let row = read(&file(SIX, &changes), &file(SIX, &[]), at(0, x), clean());
            flagged(&row, Health::CARRIER_PHASE);
            right(&row, &file(SIX, &[]), at(0, x));
            if off != PI {
                let row = read(&file(TWO, &changes), &file(TWO, &[]), at(0, x), clean());
                flagged(&row, Health::QUADRATURE);
            }
        }
    }
    // Last good, first bad: 0.1 rad.
    for (off, bad) in [(0.099, false), (0.101, true)] {
        let phase = format!("injection_v = 5.0\nphase_rad = {off:?}");
        let bench = [("injection_v = 5.0", phase.as_str())];
        let row = read(&file(SIX, &bench), &file(SIX, &[]), at(0, 1e-4), clean());
        assert_eq!(row.health.has(Health::CARRIER_PHASE), bad);
        let row = read(&file(TWO, &bench), &file(TWO, &[]), at(0, 3e-4), clean());
        assert_eq!(row.health.has(Health::QUADRATURE), bad, "{:?}", row.quadrature);
    }
}

/// A carrier at a tenth of its amplitude is divided out; the ratio used to end at eight. One that is gone
/// is lost whatever the limits say.
#[test]
fn weak_and_dead_carriers() {
    for (volts, fault) in [("0.55", Health::CARRIER_WEAK), ("0.45", Health::CARRIER_LOST)] {
        let weak = [("injection_v = 5.0", format!("injection_v = {volts}"))];
        let weak: Vec<(&str, &str)> = weak.iter().map(|(a, b)| (*a, b.as_str())).collect();
        let sensor = file(SIX, &[]);
        let row = read(&file(SIX, &weak), &sensor, at(0, 3e-4), clean());
        flagged(&row, fault);
        assert!((row.axes[0] / 3e-4 - 1.0).abs() < 1e-5, "{:e}", row.axes[0]);
    }
    let careless = [("gain = 0.6", "gain = 0.6\nweak_fraction = 0.0\nlost_fraction = 0.0")];
    let dead = [("injection_v = 5.0", "injection_v = 0.01")];
    let row = read(&file(SIX, &dead), &file(SIX, &careless), at(0, 3e-4), clean());
    flagged(&row, Health::CARRIER_LOST);
}

/// Separate electrodes without a monitor: 1 % of the carrier read 2.4e-3 of the gap.
#[test]
fn separate_electrodes_know_their_carrier() {
    let separate = |volts: &str| {
        let volts = format!("injection_v = {volts}");
        let changes = [
            ("kind = \"difference\"", "stray_f = [1e-12, 1e-12]\nkind = \"separate\""),
            ("channel = 0", "channels = [0, 1]"),
            ("kind = \"difference\"", "stray_f = [1e-12, 2e-12]\nkind = \"separate\""),
            ("channel = 1", "channels = [2, 3]"),
            ("feedback_f = 1.0e-12", "feedback_f = 4.0e-12"),
            ("injection_v = 5.0", volts.as_str()),
        ];
        file(TWO, &changes)
    };
    let reader = separate("5.0");
    for x in [0.0, 1e-4, 0.4 * GAP_M] {
        for volts in ["5.0", "4.95", "2.5"] {
            let row = read(&separate(volts), &reader, at(0, x), clean());
            assert!(row.health.is_ok(), "{}", health_text(row.health));
            for (value, want) in row.axes.iter().zip([x, 0.0]) {
                assert!((value - want).abs() < 1e-6 * GAP_M / 0.022, "{value:e}");
            }
            assert!((row.axes[0] - x).abs() < 1e-6 * GAP_M, "{:e}", row.axes[0]);
        }
    }
    flagged(&read(&separate("0.3"), &reader, at(0, 1e-4), clean()), Health::CARRIER_LOST);
    // Half a turn: both amplitudes are negative.
    let bench = separate("5.0\nphase_rad = 3.14159");
    flagged(&read(&bench, &reader, at(0, 1e-4), clean()), Health::CARRIER_LOST);
}

/// A converter that gives zeros alone read the centre, healthy; one that stands at another code as well.
#[test]
fn codes_that_never_change() {
    for which in [TWO, SIX] {
        let sensor = file(which, &[]);
        for code in [0, 1, -77] {
            let mut chain = Chain::new(&sensor.settings).expect("a plan");
            let codes = vec![code; 1600 * sensor.channels()];
            let mut count = 0;
            chain.push(&codes, |reading| {
                // A step from nothing to a code is a change.
                if code == 0 || !reading.health.has(Health::SETTLING) {
                    assert!(reading.health.has(Health::SILENT), "code {code}");
                    count += 1;
                }
            });
            assert!(count >= 8);
        }
    }
}
