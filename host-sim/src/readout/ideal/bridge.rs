//! Alignment, monitor and bridge inversion of the twin, in amplitudes of converter codes.

use super::housing::{Housing, Place};
use crate::instrument::Sensor;
use crate::instrument::coupling::shares;
use crate::instrument::design::is_difference;
use crate::instrument::file::SensorFile;
use crate::readout::readings::Row;
use nalgebra::{DMatrix, DVector};
use quietgap_core::Health;

/// Most rounds of plain substitution; at nine tenths of the gap each leaves four fifths.
const ROUNDS: usize = 400;

/// What a bridge's channels say, over the amplitude of the whole bridge.
enum Amplitudes {
    /// C1 - C2, with the carrier as it is now.
    Difference(f64),
    /// C1 and C2, with any carrier.
    Separate([f64; 2]),
}

/// One reading from the phasors at the output rate; instant and health are the caller's.
#[must_use]
pub fn read(sensor: &Sensor, housing: &Housing, phasors: &[[f64; 2]]) -> Row {
    let (file, design) = (&sensor.file, &sensor.design);
    // m_cal/m, as a complex number.
    let monitor = file.monitor.as_ref().map_or([1.0, 0.0], |monitor| {
        let [i, q] = phasors[usize::from(monitor.channel)];
        // Of a phase that is not known, the amplitude alone serves.
        let [i, q] =
            design.monitor_alignment(file).map_or([i.hypot(q), 0.0], |phase| turned([i, q], phase));
        let calibration = monitor.calibration_code.or(design.monitor_code).unwrap_or(1.0);
        [i, -q].map(|part| calibration * part / (i * i + q * q))
    });
    let aligned = |channel: u8, b: usize| {
        let [i, q] = turned(phasors[usize::from(channel)], design.alignment(file, b));
        [i * monitor[0] - q * monitor[1], i * monitor[1] + q * monitor[0]]
    };
    let (amplitudes, quadrature): (Vec<Amplitudes>, Vec<f64>) = file
        .bridges
        .iter()
        .enumerate()
        .map(|(b, bridge)| {
            if is_difference(file, b) {
                let a0 = design.calibrated_a0(file, b);
                let [i, q] = aligned(bridge.channel.unwrap_or(0), b).map(|part| part / a0);
                (Amplitudes::Difference(i), q)
            } else {
                let [first, second] = bridge.channels.unwrap_or([0, 0]).map(|c| aligned(c, b));
                let q = (first[1] - second[1]) / (first[0] + second[0]);
                (Amplitudes::Separate([first[0], second[0]]), q)
            }
        })
        .unzip();
    let amplitudes = uncoupled(file, amplitudes);
    let count = file.bridges.len();
    let (mut polarisation, mut place) = (1.0, Place::REST);
    let mut x = DVector::zeros(count);
    let mut axes = DVector::zeros(design.axes.len());
    for _ in 0..ROUNDS {
        let back = &design.geometry * &axes;
        let found = DVector::from_fn(count, |b, _| {
            let pair = housing.pair(b, &place, back[b]);
            let strays = design.stray_shares(file, b);
            let raw = match amplitudes[b] {
                Amplitudes::Difference(r) => {
                    let r = r * polarisation - (strays[0] - strays[1]);
                    root(design.gap_m[b], |x| {
                        let [c1, c2] = pair.capacitances(x);
                        c1 - c2 - r
                    })
                }
                Amplitudes::Separate([a1, a2]) => root(design.gap_m[b], |x| {
                    let [c1, c2] = pair.capacitances(x);
                    // Cross products over the sum: no more than linear near an electrode.
                    let (c1, c2) = (c1 + strays[0], c2 + strays[1]);
                    (c1 * a2 - c2 * a1) / (c1 + c2)
                }),
            };
            raw - file.bridges[b].offset_m
        });
        let moved = (&found - &x).amax();
        x = found;
        axes = &design.solve * &x;
        place = Place::new(sensor.axes(), axes.as_slice());
        let now = housing.polarisation(&place);
        let settled = moved < 1e-20 && (now - polarisation).abs() < 1e-15;
        polarisation = now;
        if settled {
            break;
        }
    }
    let residual_m = (&x - &design.geometry * &axes).amax();
    let axes = axes.iter().copied().collect();
    Row { half_samples: 0, axes, quadrature, residual_m, health: Health::OK }
}

/// What the bridges have by themselves: (1 + C) r is what is measured.
fn uncoupled(file: &SensorFile, mut amplitudes: Vec<Amplitudes>) -> Vec<Amplitudes> {
    let Some(shares) = shares(file) else { return amplitudes };
    let measured = DVector::from_iterator(
        amplitudes.len(),
        amplitudes.iter().map(|a| if let Amplitudes::Difference(r) = a { *r } else { 0.0 }),
    );
    let mixing = shares + DMatrix::identity(measured.len(), measured.len());
    let own = mixing.lu().solve(&measured).expect("shares are checked to be small");
    for (amplitude, own) in amplitudes.iter_mut().zip(own.iter()) {
        if let Amplitudes::Difference(r) = amplitude {
            *r = *own;
        }
    }
    amplitudes
}

/// Turned back by an angle.
fn turned([i, q]: [f64; 2], angle_rad: f64) -> [f64; 2] {
    let (sine, cosine) = angle_rad.sin_cos();
    [i * cosine + q * sine, q * cosine - i * sine]
}

/// Where a rising function is zero within 0.97 of the gap: by the secant where it closes the bracket
/// fast, by halves where it does not.
fn root(gap_m: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (-0.97 * gap_m, 0.97 * gap_m);
    let (mut at_low, mut at_high) = (f(low), f(high));
    if at_low >= 0.0 || at_high <= 0.0 {
        return if at_low >= 0.0 { low } else { high };
    }
    // The side that stayed: its value is halved when it stays again (the "Illinois" rule).
    let mut stayed = 0;
    for _ in 0..200 {
        let x = (low * at_high - high * at_low) / (at_high - at_low);
        let value = f(x);
        if value == 0.0 || high - low < 1e-22 || x <= low || x >= high {
            return x;
        }
        if value < 0.0 {
            (low, at_low) = (x, value);
            if stayed == 1 {
                at_high /= 2.0;
            }
            stayed = 1;
        } else {
            (high, at_high) = (x, value);
            if stayed == -1 {
                at_low /= 2.0;
            }
            stayed = -1;
        }
    }
    (low + high) / 2.0
}
