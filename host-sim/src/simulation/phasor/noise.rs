//! Noises at the carrier, demodulated (one-sided densities of in-phase and quadrature amplitude):
//! - a channel's own white voltage v: 2 v^2 in both; the converter's rounding likewise;
//! - amplitude noise g of the carrier, white at every sample: 3/2 g^2 A^2 in phase with the signal A and 1/2
//!   in quadrature to it, as part of it lies at twice the carrier ([`about_twice_the_carrier`]); its 1/f part in
//!   phase alone;
//! - phase noise and clock jitter p: the same with the parts changed about.
//!
//! Carrier noises are the same in all channels, so that a monitor takes them off.

use crate::instrument::Sensor;
use crate::simulation::plant::noise::{Gaussian, OneOverF, Stream};
use crate::simulation::plant::{Parts, white_density};
use std::f64::consts::TAU;

/// Carrier noises common to all channels, relative.
#[derive(Debug)]
pub(super) struct CarrierNoise {
    amplitude: Gaussian,
    phase: Gaussian,
    jitter: Gaussian,
    amplitude_step: f64,
    phase_step: f64,
    /// See [`about_twice_the_carrier`].
    along: f64,
    across: f64,
    amplitude_flicker: OneOverF,
    phase_flicker: OneOverF,
}

impl CarrierNoise {
    /// Of a sensor's carrier and clock, so many steps a second.
    pub(super) fn new(sensor: &Sensor, parts: Parts, seed: u64, step_hz: f64) -> Self {
        let (carrier, converter) = (&sensor.file.carrier, &sensor.file.converter);
        let half = (step_hz / 2.0).sqrt();
        let on = |switch: bool, x: f64| if switch { x } else { 0.0 };
        let gaussian = |stream| Gaussian::new(seed, stream);
        let amplitude = on(parts.amplitude_noise, carrier.amplitude_noise_per_rthz);
        let phase = on(parts.phase_noise, carrier.phase_noise_rad_per_rthz);
        let jitter = on(parts.jitter, TAU * carrier.frequency_hz * converter.jitter_s)
            * (2.0 / sensor.rate_hz()).sqrt();
        let [along, across] = about_twice_the_carrier(sensor).map(f64::sqrt);
        let one_over_f = |stream, density| {
            OneOverF::new(gaussian(stream), density, carrier.noise_corner_hz, step_hz)
        };
        Self {
            amplitude: gaussian(Stream::Amplitude),
            phase: gaussian(Stream::Phase),
            jitter: gaussian(Stream::Jitter),
            amplitude_step: amplitude * half,
            phase_step: phase.hypot(jitter) * half,
            along,
            across,
            amplitude_flicker: one_over_f(Stream::AmplitudeFlicker, amplitude),
            phase_flicker: one_over_f(Stream::PhaseFlicker, phase),
        }
    }

    /// In phase and in quadrature, over the signal.
    pub(super) fn next(&mut self) -> [f64; 2] {
        let (long, across) = (self.along, self.across);
        let g = self.amplitude_step;
        let p = self.phase_step;
        let [a0, a1] = self.amplitude_flicker.chunk();
        let [p0, p1] = self.phase_flicker.chunk();
        [
            g * long * self.amplitude.next_if(g)
                + p * across * self.jitter.next_if(p)
                + (a0 + a1) / 2.0,
            g * across * self.amplitude.next_if(g)
                + p * long * self.phase.next_if(p)
                + (p0 + p1) / 2.0,
        ]
    }
}

/// Powers of a relative noise that is white at every sample, demodulated, in its own direction and across: the
/// part at twice the carrier turns with it, so that half a power more comes out along and half across. At four
/// samples a period it does not turn but changes sign, and the signal's phase decides.
#[must_use]
pub fn about_twice_the_carrier(sensor: &Sensor) -> [f64; 2] {
    if sensor.design.carrier.samples != 4 {
        return [1.5, 0.5];
    }
    let (sine, cosine) = (2.0 * sensor.design.signal_phase_rad).sin_cos();
    [1.0 + cosine * cosine, sine * sine]
}

/// One-sided voltage density at the carrier of a channel's own noise: amplifier with what its 1/f part has
/// there, and the converter's rounding.
#[must_use]
pub fn voltage_density(sensor: &Sensor, parts: Parts) -> f64 {
    let (amplifier, design) = (&sensor.file.amplifier, &sensor.design);
    let white = if parts.white_noise { white_density(sensor) } else { 0.0 };
    let flicker = if parts.flicker_noise { amplifier.noise_v_per_rthz } else { 0.0 };
    let flicker = flicker * (amplifier.noise_corner_hz / sensor.file.carrier.frequency_hz).sqrt();
    let rounding = (2.0 / 12.0 / sensor.rate_hz()).sqrt() / design.codes_per_volt;
    (white * white + flicker * flicker + rounding * rounding).sqrt()
}
