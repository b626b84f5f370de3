//! Alignment, monitor, bridge inversion and axes of the twin, in amplitudes of converter codes.

use crate::instrument::Sensor;
use crate::instrument::design::is_difference;
use crate::readout::readings::Row;
use nalgebra::DVector;
use quietgap_core::Health;

/// Rounds of the polarisation correction: it shrinks by at least five each.
const ROUNDS: usize = 40;

/// One reading from the phasors at the output rate; instant and health are the caller's.
#[must_use]
pub fn read(sensor: &Sensor, phasors: &[[f64; 2]]) -> Row {
    let (file, design) = (&sensor.file, &sensor.design);
    let scale = file.monitor.as_ref().map_or(1.0, |monitor| {
        let [i, q] = phasors[usize::from(monitor.channel)];
        monitor.calibration_code.or(design.monitor_code).unwrap_or(1.0) / i.hypot(q)
    });
    let aligned = |channel: u8, b: usize| {
        let [i, q] = phasors[usize::from(channel)];
        let (sine, cosine) = design.alignment(file, b).sin_cos();
        [scale * (i * cosine + q * sine), scale * (q * cosine - i * sine)]
    };
    let mut u = vec![0.0; file.bridges.len()];
    let mut quadrature = vec![0.0; file.bridges.len()];
    let mut polarisation = 1.0;
    for _ in 0..if file.mass.correct_polarisation { ROUNDS } else { 1 } {
        for (b, bridge) in file.bridges.iter().enumerate() {
            let strays = design.stray_codes(file, b);
            if is_difference(file, b) {
                let a0 = design.calibrated_a0(file, b);
                let [i, q] =
                    aligned(bridge.channel.unwrap_or(0), b).map(|part| part * polarisation / a0);
                let r = i - (strays[0] - strays[1]) / a0;
                u[b] = 2.0 * r / (1.0 + (1.0 + 4.0 * r * r).sqrt());
                quadrature[b] = q;
            } else {
                let [first, second] = bridge.channels.unwrap_or([0, 0]).map(|c| aligned(c, b));
                let sum = first[0] + second[0] - strays[0] - strays[1];
                u[b] = (first[0] - second[0] - strays[0] + strays[1]) / sum;
                quadrature[b] = (first[1] - second[1]) / sum;
            }
        }
        if file.mass.correct_polarisation {
            polarisation = 1.0
                + (0..u.len())
                    .filter(|b| is_difference(file, *b))
                    .map(|b| {
                        2.0 * design.c0_f[b] / design.total_f * u[b] * u[b] / (1.0 - u[b] * u[b])
                    })
                    .sum::<f64>();
        }
    }
    let x = DVector::from_iterator(
        u.len(),
        u.iter().enumerate().map(|(b, u)| u * design.gap_m[b] - file.bridges[b].offset_m),
    );
    let axes = &design.solve * &x;
    let residual_m = (&x - &design.geometry * &axes).amax();
    Row {
        half_samples: 0,
        axes: axes.iter().copied().collect(),
        quadrature,
        residual_m,
        health: Health::OK,
    }
}
