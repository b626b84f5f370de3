//! The simulated sensor against physics written out by hand: electric constant, plates parallel and
//! tilted, both kinds of bridge, polarisation of the mass, phases, the codes at the converter.
//!
//! Formulas are those of any textbook of electrostatics and need no source; numbers are computed by
//! programs that share nothing with this repository, or written out here.

use crate::forward;
use quietgap_core::bridge::gap_fraction;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::instrument::design::{EPS0, rest_capacitance};
use quietgap_sim::instrument::file::{ElectrodeFile, Role};
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::plant::drive::{Drive, Envelope};
use quietgap_sim::simulation::plant::electrodes::{Electrode, Pose};
use quietgap_sim::simulation::plant::{CHUNK, Parts, Plant};
use std::f64::consts::TAU;
use std::path::Path;

/// Electric constant, F/m. Source: CODATA 2022, 8.854 187 8188(14)e-12.
const CODATA_2022: f64 = 8.854_187_818_8e-12;

fn relative(is: f64, want: f64) -> f64 {
    ((is - want) / want).abs()
}

/// An electrode of a square or other rectangle that looks along x.
fn plate(area_m2: f64, width_m: f64, gap_m: f64, normal: f64, position_m: [f64; 3]) -> Electrode {
    Electrode::new(&plate_file(area_m2, width_m, gap_m, normal, position_m))
}

fn plate_file(
    area_m2: f64,
    width_m: f64,
    gap_m: f64,
    normal: f64,
    position_m: [f64; 3],
) -> ElectrodeFile {
    ElectrodeFile {
        name: "plate".to_owned(),
        role: Role::Sense,
        area_m2,
        width_m,
        width_axis: [0.0, 1.0, 0.0],
        gap_m,
        position_m,
        normal: [normal, 0.0, 0.0],
    }
}

fn along_x(x: f64) -> Pose {
    Pose::new([x, 0.0, 0.0, 0.0, 0.0, 0.0])
}

/// Turned about an axis so that the face behind a plate at the origin slopes by `slope` along the plate,
/// and moved so that the gap at the plate's centre stays: turned by an angle alpha, it is d/cos alpha.
fn sloping(gap_m: f64, axis: usize, slope: f64) -> Pose {
    let mut q = [gap_m / slope.atan().cos() - gap_m, 0.0, 0.0, 0.0, 0.0, 0.0];
    q[axis] = slope.atan();
    Pose::new(q)
}

#[test]
fn electric_constant_is_codata_2022() {
    assert_eq!(EPS0, CODATA_2022);
    // Not the value of 2018, 8.854 187 8128(13)e-12.
    assert_ne!(EPS0, 8.854_187_812_8e-12);
}

/// 1 cm^2 at 1 mm is 0.885 pF; 1 pF at 4 mm needs 4.52 cm^2, and a nanometre changes it by 0.25 aF,
/// the pair by 0.5 aF. Limit: the nine digits given.
#[test]
fn parallel_plates() {
    let small = plate_file(1e-4, 0.01, 1e-3, 1.0, [0.0; 3]);
    assert!(relative(rest_capacitance(&small), 0.885_418_781_88e-12) < 1e-10);
    let area = 4.517_636_27e-4;
    let pair = [1.0, -1.0].map(|n| plate(area, 0.02, 4e-3, n, [0.0; 3]));
    let at = |k: usize, x: f64| pair[k].capacitance(&along_x(x), true);
    assert!(relative(at(0, 0.0), 1e-12) < 1e-9);
    // The difference of two capacitances keeps 1e-16/2.5e-7 of itself.
    let single = (at(0, 1e-9) - at(0, -1e-9)) / 2.0;
    assert!(relative(single, 2.5e-19) < 2e-9, "{single:e}");
    let double = at(0, 1e-9) - at(1, 1e-9);
    assert!(relative(double, 5.0e-19) < 2e-9, "{double:e}");
}

/// (C1 - C2)/(C1 + C2) = x/d without approximation, (C1 - C2)/(2 C0) = u/(1 - u^2). At 100 um of 4
/// mm C1 - C2 is 5.003126954e-14 F, 6.25e-4 above the linear value. The core's inversion returns u.
#[test]
fn bridge_ratios() {
    let area = 1e-12 * 4e-3 / CODATA_2022;
    let pair = [1.0, -1.0].map(|n| plate(area, 0.02, 4e-3, n, [0.0; 3]));
    for x in [-2e-3, -1e-4, -1e-9, 0.0, 1e-9, 3e-6, 1e-4, 1e-3, 2e-3] {
        let [c1, c2] = [0, 1].map(|k: usize| pair[k].capacitance(&along_x(x), true));
        let u = x / 4e-3;
        // 2e-16 of C1 and C2 each, and as much again.
        assert!(((c1 - c2) / (c1 + c2) - u).abs() < 5e-16, "{x}");
        let r = (c1 - c2) / 2e-12;
        assert!((r - u / (1.0 - u * u)).abs() < 2e-15, "{x}: {r}");
        // Q6.58 in, Q2.62 out; f64 rounds r at 2^-53 of it, an f64 word has no more.
        let one = 2f64.powi(58);
        let half = (one / 2.0) as i64;
        let back = gap_fraction([half; 2], (r * one) as i64, [2 * half; 2]).expect("a root");
        let back = back as f64 / 2f64.powi(62);
        assert!((back - u).abs() < 2e-15, "{x}: {back}");
    }
    let at = |k: usize| pair[k].capacitance(&along_x(1e-4), true);
    let difference = at(0) - at(1);
    // Ten digits are given: 1e-10 of it. The reason for 1e-14 elsewhere is C, 100 times larger.
    assert!(relative(difference, 5.003_126_954e-14) < 2e-10, "{difference:e}");
    assert!((difference / 5e-14 - 1.0 - 6.253_908_7e-4).abs() < 1e-9);
}

/// A plate of side a before a face that slopes by theta: C/C0 = (d/(theta a)) ln((d + theta a/2)/(d - theta a/2)),
/// from d = 4 mm, a = 20 mm: +2.083341146e-6 at 1 mrad, +2.084114932e-4 at 10 mrad (ten digits;
/// quadrature and closed form agree). Limit 1e-12, which is 1e-4 of the fourth-order term at 1
/// mrad.
#[test]
fn tilted_plate() {
    let area = 4e-4;
    let tilted = |pose: Pose| {
        let plate = plate(area, 0.02, 4e-3, 1.0, [0.0; 3]);
        plate.capacitance(&pose, true) / plate.capacitance(&along_x(0.0), true)
    };
    for (theta, given) in [(1e-3f64, 2.083_341_146e-6), (1e-2, 2.084_114_932e-4)] {
        let half = theta * 0.02 / 2.0;
        let closed = 4e-3 / (2.0 * half) * ((4e-3 + half) / (4e-3 - half)).ln();
        assert!((closed - 1.0 - given).abs() < 1e-12, "the closed form errs");
        // A square: about y or about z, either way; about x it turns in its own plane.
        for axis in [4, 5] {
            for sign in [1.0, -1.0] {
                let pose = sloping(4e-3, axis, sign * theta);
                assert!((tilted(pose) - 1.0 - given).abs() < 1e-12, "{theta} about {axis}");
            }
        }
        let in_its_plane = Pose::new([0.0, 0.0, 0.0, theta, 0.0, 0.0]);
        assert!((tilted(in_its_plane) - 1.0).abs() < 1e-15);
    }
    // The parallel model knows nothing of it.
    let flat = plate(area, 0.02, 4e-3, 1.0, [0.0; 3]);
    let turned = sloping(4e-3, 5, 1e-2);
    let ratio = flat.capacitance(&turned, false) / flat.capacitance(&along_x(0.0), false);
    assert!((ratio - 1.0).abs() < 1e-15);
}

/// The two halves of that plate under 0.1 mrad: (C+ - C-)/(C+ + C-) = 1.25000001302e-4, where the
/// first order, theta a/(4 d), is 1.25e-4. Limit 1e-14: the twelve digits given.
#[test]
fn tilted_halves() {
    let half = |side: f64| {
        let plate = plate(2e-4, 0.01, 4e-3, 1.0, [0.0, 0.005 * side, 0.0]);
        // The mass turns by -0.1 mrad about z: at y > 0 its surface moves towards +x.
        plate.capacitance(&sloping(4e-3, 5, -1e-4), true)
    };
    let ratio = (half(1.0) - half(-1.0)) / (half(1.0) + half(-1.0));
    assert!((ratio - 1.250_000_013_02e-4).abs() < 1e-14, "{ratio:.15e}");
}

/// Any pose: the gap at every point of the electrode, along its normal to the turned and moved face, sums
/// up as eps0 dA/gap: by the forward model of `outside_housing`, which shares nothing with the plant. Its
/// quadrature errs by less than 1e-13 of C for gaps that vary by a third over the plate.
#[test]
fn any_pose_by_integration() {
    let c = 0.5f64.sqrt();
    // Normal, width axis, side, other side, position: four faces, one at 45 degrees.
    let plates = [
        ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], 0.02, 0.024, [0.01, 0.022, -0.003]),
        ([0.0, -1.0, 0.0], [0.0, 0.0, 1.0], 0.03, 0.01, [0.004, -0.018, 0.022]),
        ([0.0, 0.0, 1.0], [c, c, 0.0], 0.012, 0.04, [-0.02, 0.0, 0.03]),
        ([c, 0.0, -c], [c, 0.0, c], 0.02, 0.02, [0.01, -0.01, -0.01]),
    ];
    let poses = [
        [3e-6, -2e-6, 5e-6, 4e-5, -7e-5, 2e-5],
        [1e-4, 2e-4, -1e-4, 4e-3, 1e-3, -6e-3],
        [-4e-4, -1e-4, 2e-4, -1.5e-2, 1.2e-2, 1e-2],
    ];
    for (normal, width_axis, width, height, position) in plates {
        let file = ElectrodeFile {
            name: String::new(),
            role: Role::Sense,
            area_m2: width * height,
            width_m: width,
            width_axis,
            gap_m: 2e-3,
            position_m: position,
            normal,
        };
        let other = forward::Plate {
            name: String::new(),
            injects: false,
            centre: position,
            normal,
            along: width_axis,
            sides: [width, height],
            gap: 2e-3,
        };
        for q in poses {
            let (is, want) =
                (Electrode::new(&file).capacitance(&Pose::new(q), true), other.capacitance(q));
            // The closed form in z ln z cancels to some 1e-16/(4 a b), a b > 1e-5 where it serves.
            assert!(relative(is, want) < 1e-11, "{normal:?} {q:?}: {is:e}, not {want:e}");
        }
    }
}

const CARRIER_HZ: f64 = 10_000.0;
const RATE_HZ: f64 = 80_000.0;
const INJECTION_V: f64 = 4.0;
const FEEDBACK_F: f64 = 3e-12;
const GAIN: f64 = 1.7;
const FILTER_HZ: f64 = 25_000.0;
const LOSS_RAD: f64 = 0.03;
const PHASE_RAD: f64 = 0.7;
const MASS_STRAY_F: f64 = 2e-12;
const STRAYS_F: [[f64; 2]; 2] = [[0.10e-12, 0.04e-12], [0.2e-12, 0.3e-12]];
const MONITOR_GAIN: f64 = 0.25;

/// A difference bridge along x, separate electrodes along y, one injection electrode along z, a
/// sensing electrode in no bridge, a monitor. Every plate has its own area, all gaps are 1 mm.
fn sensor() -> Sensor {
    let electrode = |name: &str, role: &str, area: f64, axis: usize, sign: f64| {
        let unit = |axis: usize, size: f64| {
            let mut v = [0.0; 3];
            v[axis] = size;
            v
        };
        format!(
            "[[electrode]]\nname = \"{name}\"\nrole = \"{role}\"\narea_m2 = {area:?}\nwidth_m = 0.01\n\
             width_axis = {:?}\ngap_m = 1e-3\nposition_m = {:?}\nnormal = {:?}\n",
            unit((axis + 1) % 3, 1.0),
            unit(axis, 0.02 * sign),
            unit(axis, sign)
        )
    };
    let text = [
        format!(
            "schema = 1\nname = \"hand-made\"\n[carrier]\nfrequency_hz = {CARRIER_HZ:?}\n\
             injection_v = {INJECTION_V:?}\nphase_rad = {PHASE_RAD}\n"
        ),
        format!("[converter]\nrate_hz = {RATE_HZ:?}\nbits = 20\nfull_scale_v = 2.5\n"),
        format!(
            "[amplifier]\nfeedback_f = {FEEDBACK_F:?}\ngain = {GAIN}\nloss_rad = {LOSS_RAD}\n\
             filter_hz = {FILTER_HZ:?}\n[mass]\nstray_f = {MASS_STRAY_F:?}\n"
        ),
        electrode("x+", "sense", AREAS[0], 0, 1.0),
        electrode("x-", "sense", AREAS[0], 0, -1.0),
        electrode("y+", "sense", AREAS[1], 1, 1.0),
        electrode("y-", "sense", AREAS[1], 1, -1.0),
        electrode("z+", "inject", AREAS[2], 2, 1.0),
        electrode("z-", "sense", AREAS[3], 2, -1.0),
        format!(
            "[[bridge]]\nname = \"x\"\nkind = \"difference\"\nelectrodes = [\"x+\", \"x-\"]\nchannel = 2\n\
             stray_f = {:?}\n",
            STRAYS_F[0]
        ),
        format!(
            "[[bridge]]\nname = \"y\"\nkind = \"separate\"\nelectrodes = [\"y+\", \"y-\"]\nchannels = [3, 0]\n\
             stray_f = {:?}\n",
            STRAYS_F[1]
        ),
        format!("[monitor]\nchannel = 1\ngain = {MONITOR_GAIN}\n[axes]\nnames = [\"x\", \"y\"]\n"),
        "[plan]\norder = 2\nratio = 80\n".to_owned(),
    ];
    Sensor::parse(Path::new("hand-made.toml"), &text.join("")).expect("a good sensor")
}

const AREAS: [f64; 4] = [3e-4, 2e-4, 5e-4, 1e-4];

/// Amplitudes at the converter, volts, of channels 0 (y-), 1 (monitor), 2 (x), 3 (y+), for a pure
/// translation; `polarised` at that of the mass, else at rest; `strays` as they are or nil.
fn amplitudes([x, y, z]: [f64; 3], polarised: bool, strays: [[f64; 2]; 2]) -> [f64; 4] {
    let c = |area: f64, moved: f64| CODATA_2022 * area / (1e-3 - moved);
    let all = |x: f64, y: f64, z: f64| {
        [
            c(AREAS[0], x),
            c(AREAS[0], -x),
            c(AREAS[1], y),
            c(AREAS[1], -y),
            c(AREAS[2], z),
            c(AREAS[3], -z),
        ]
    };
    let [x1, x2, y1, y2, ..] = all(x, y, z);
    let mass = if polarised { all(x, y, z) } else { all(0.0, 0.0, 0.0) };
    // Strays across electrodes load the mass as the electrodes do.
    let load = mass.iter().sum::<f64>() + MASS_STRAY_F + STRAYS_F.iter().flatten().sum::<f64>();
    let mass_v = INJECTION_V * mass[4] / load;
    let filter = 1.0 / (1.0 + (CARRIER_HZ / FILTER_HZ).powi(2)).sqrt();
    let volts = |farad: f64| filter * GAIN / FEEDBACK_F * mass_v * farad;
    [
        volts(y2 + strays[1][1]),
        filter * MONITOR_GAIN * INJECTION_V,
        volts(x1 + strays[0][0] - x2 - strays[0][1]),
        volts(y1 + strays[1][0]),
    ]
}

/// Phase of a bridge's and of the monitor's signal: carrier, loss lag, one pole at 25 kHz.
fn phases(loss: f64) -> [f64; 4] {
    let bridge = PHASE_RAD - loss - (CARRIER_HZ / FILTER_HZ).atan();
    let monitor = PHASE_RAD - (CARRIER_HZ / FILTER_HZ).atan();
    [bridge, monitor, bridge, bridge]
}

const POSES: [[f64; 3]; 4] =
    [[0.0; 3], [1e-7, -3e-8, 2e-8], [3e-4, 1e-4, -2e-4], [-4e-4, 3.5e-4, 4e-4]];

fn agrees(is: &[Envelope], amplitude: [f64; 4], phase: [f64; 4]) {
    assert_eq!(is.len(), 4);
    for c in 0..4 {
        // A volt in f64, some fifteen operations.
        let (i, q) = (amplitude[c] * phase[c].cos(), amplitude[c] * phase[c].sin());
        assert!((is[c].i - i).abs() < 1e-14, "channel {c}: {} not {i}", is[c].i);
        assert!((is[c].q - q).abs() < 1e-14, "channel {c}: {} not {q}", is[c].q);
    }
}

/// V_m = V_injection C_injection/C_total; a difference bridge gives (C1 - C2) V_m, separate
/// electrodes C V_m each, over the feedback, through gain and filter, with the phases added up.
#[test]
fn envelopes_of_both_kinds_of_bridge() {
    let sensor = sensor();
    let drive = Drive::new(&sensor, Parts::ALL);
    for pose in POSES {
        let [x, y, z] = pose;
        let is = drive.envelopes([x, y, z, 0.0, 0.0, 0.0]);
        agrees(&is, amplitudes(pose, true, STRAYS_F), phases(LOSS_RAD));
    }
}

/// Each switched off, and what it changes: polarisation stays that of rest, strays no longer read
/// (they still load the mass, as the calibrated gain keeps them), the loss no longer lags.
#[test]
fn envelopes_with_parts_off() {
    let sensor = sensor();
    let off = |name: &str| {
        let mut parts = Parts::ALL;
        *parts.switch(name).expect("a part") = false;
        Drive::new(&sensor, parts)
    };
    let (flat, clean, lossless) = (off("polarisation"), off("strays"), off("loss"));
    for pose in POSES {
        let [x, y, z] = pose;
        let q = [x, y, z, 0.0, 0.0, 0.0];
        agrees(&flat.envelopes(q), amplitudes(pose, false, STRAYS_F), phases(LOSS_RAD));
        agrees(&clean.envelopes(q), amplitudes(pose, true, [[0.0; 2]; 2]), phases(LOSS_RAD));
        agrees(&lossless.envelopes(q), amplitudes(pose, true, STRAYS_F), phases(0.0));
    }
    // The effects are there to be seen: 1 mV and 1 mrad of some volts.
    let whole = Drive::new(&sensor, Parts::ALL);
    let q = [3e-4, 1e-4, -2e-4, 0.0, 0.0, 0.0];
    for other in [&flat, &clean, &lossless] {
        let (a, b) = (whole.envelopes(q)[3], other.envelopes(q)[3]);
        assert!((a.i - b.i).abs() + (a.q - b.q).abs() > 1e-3);
    }
}

/// What the design says at rest, C0, C_total, V_m, a0 and phase, from the same formulas.
#[test]
fn design_at_rest() {
    let sensor = sensor();
    let design = &sensor.design;
    let c = |area: f64| CODATA_2022 * area / 1e-3;
    let total =
        2.0 * (c(AREAS[0]) + c(AREAS[1])) + c(AREAS[2]) + c(AREAS[3]) + MASS_STRAY_F + 0.64e-12;
    assert!(relative(design.total_f, total) < 1e-15 * 10.0);
    assert!(relative(design.mass_v, INJECTION_V * c(AREAS[2]) / total) < 1e-14);
    assert!(design.c0_f[0].iter().all(|c0| relative(*c0, c(AREAS[0])) < 1e-15));
    assert_eq!(design.a0_code.len(), 2);
    let codes = 2f64.powi(19) / 2.5;
    let volts = |farad: f64| {
        let filter = 1.0 / (1.0 + (CARRIER_HZ / FILTER_HZ).powi(2)).sqrt();
        filter * GAIN / FEEDBACK_F * INJECTION_V * c(AREAS[2]) / total * farad
    };
    for (a0, area) in design.a0_code.iter().zip(AREAS) {
        assert!(relative(*a0, 2.0 * volts(c(area)) * codes) < 1e-14);
    }
    assert!((design.signal_phase_rad - phases(LOSS_RAD)[0]).abs() < 1e-15);
}

/// Codes: volts = i cos - q sin of the carrier from sample 0 on, offset added, the nearest code
/// taken. A steady mass, every sample of 100 chunks, within half a code and what `f64` errs at 2^19
/// codes.
#[test]
fn codes_at_the_converter() {
    let sensor = sensor();
    let pose = [3e-4, 1e-4, -2e-4];
    let still = |x: f64| Some(vec![x; 2]);
    let columns = [still(pose[0]), still(pose[1]), still(pose[2]), None, None, None];
    let motion = Motion::new(vec![0.0, 1.0], columns).expect("a motion");
    let mut plant = Plant::new(&sensor, motion, Parts::ALL.quiet(), 1);
    let mut codes = Vec::new();
    for _ in 0..100 {
        plant.chunk(&mut codes);
    }
    assert_eq!(codes.len(), 4 * 100 * CHUNK);
    let (amplitude, phase) = (amplitudes(pose, true, STRAYS_F), phases(LOSS_RAD));
    let mut largest = 0i32;
    for (k, frame) in codes.as_chunks::<4>().0.iter().enumerate() {
        // 10 kHz of 80 kHz: eight samples a cycle.
        let carrier = TAU * (k % 8) as f64 / 8.0;
        for c in 0..4 {
            let want = amplitude[c] * (carrier + phase[c]).cos() * 2f64.powi(19) / 2.5;
            let error = f64::from(frame[c]) - want;
            assert!(error.abs() <= 0.5 + 1e-7, "sample {k} channel {c}: {} not {want}", frame[c]);
            largest = largest.max(frame[c].abs());
        }
    }
    // Well used and not clipped.
    assert!((1 << 17..1 << 19).contains(&largest), "{largest}");
}
