//! **Interferometer** on the plant's moving mass: light with intensity and frequency noise, polarisations that
//! leak, a quarter wave that is not one, detectors of unequal gains with offsets and noise, and the converter.

use super::plant::noise::{Gaussian, OneOverF, Stream};
use crate::instrument::file::{BeamFile, InterferometerFile};
use crate::interferometer::geometry::Geometry;
use nalgebra::{Rotation3, Vector3};
use std::collections::VecDeque;
use std::f64::consts::TAU;

/// Speed of light in vacuum, m/s.
const LIGHT: f64 = 299_792_458.0;
/// Elementary charge, C.
const CHARGE: f64 = 1.602_176_634e-19;
/// First of the random streams.
const STREAMS: u64 = 100;

/// Which random parts are at work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noise {
    /// All.
    All,
    /// None.
    None,
}

/// A noise with a white part and one that rises as 1/f.
#[derive(Debug)]
struct Rising {
    white: Gaussian,
    step: f64,
    flicker: OneOverF,
}

impl Rising {
    fn new(seed: u64, stream: u64, density: f64, corner_hz: f64, rate_hz: f64) -> Self {
        let gaussian = |n| Gaussian::new(seed, Stream::Outside(STREAMS + n));
        let flicker = OneOverF::new(gaussian(stream), density, corner_hz, rate_hz);
        Self { white: gaussian(stream + 1), step: density * (rate_hz / 2.0).sqrt(), flicker }
    }

    fn next(&mut self) -> f64 {
        self.step * self.white.next_if(self.step) + self.flicker.chunk()[1]
    }
}

/// What the light meets at an instant: the mass, and what acts on laser and optics from outside.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Scene {
    /// Where the mass is.
    pub pose: [f64; 6],
    /// Relative change of the laser's intensity, beside the light's own noise.
    pub intensity: f64,
    /// Temperature, from its mean.
    pub temperature_k: f64,
}

impl Scene {
    /// Sum of scenes, weighed.
    fn mixed<'a>(parts: impl Iterator<Item = (f64, &'a Self)>) -> Self {
        parts.fold(Self::default(), |mut sum, (weight, scene)| {
            for (sum, axis) in sum.pose.iter_mut().zip(scene.pose) {
                *sum += weight * axis;
            }
            sum.intensity += weight * scene.intensity;
            sum.temperature_k += weight * scene.temperature_k;
            sum
        })
    }
}

/// Frames being simulated.
#[derive(Debug)]
pub struct Detectors {
    file: InterferometerFile,
    radians_per_metre: f64,
    intensity: Rising,
    frequency: Rising,
    own: Gaussian,
    own_step: f64,
    shot_step: f64,
    codes_per_volt: f64,
    half_range: f64,
    frame: u64,
}

impl Detectors {
    /// Of a checked section.
    ///
    /// # Panics
    /// On a section that was not checked.
    #[must_use]
    pub fn new(file: &InterferometerFile, noise: Noise, seed: u64) -> Self {
        let light = &file.light;
        let on = |x: f64| if noise == Noise::All { x } else { 0.0 };
        let rate = file.rate_hz;
        let rising = |stream, density, corner| Rising::new(seed, stream, on(density), corner, rate);
        let half_range = 2f64.powi(file.bits as i32 - 1);
        let band = (rate / 2.0).sqrt();
        let shot = (2.0 * CHARGE / light.photocurrent_a).sqrt();
        Self {
            radians_per_metre: 1.0
                / Geometry::new(file).expect("a checked section").metres_per_radian,
            intensity: rising(0, light.intensity_noise_per_rthz, light.intensity_corner_hz),
            frequency: rising(2, light.frequency_noise_hz_per_rthz, light.frequency_corner_hz),
            own: Gaussian::new(seed, Stream::Outside(STREAMS + 4)),
            own_step: on(light.detector_noise_v_per_rthz) * band,
            shot_step: on(shot) * band,
            codes_per_volt: half_range / file.full_scale_v,
            half_range,
            frame: 0,
            file: file.clone(),
        }
    }

    /// Frames a second.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.file.rate_hz
    }

    /// Codes of a frame.
    #[must_use]
    pub fn channels(&self) -> usize {
        4 * self.file.beams.len()
    }

    /// When the next frame is taken.
    #[must_use]
    pub fn time_s(&self) -> f64 {
        self.frame as f64 / self.file.rate_hz
    }

    /// Adds the next frame's codes.
    pub fn frame(&mut self, scene: &Scene, codes: &mut Vec<i32>) {
        let power = 1.0 + self.intensity.next() + scene.intensity;
        let warmed = self.file.light.path_m_per_k * scene.temperature_k;
        let hertz = self.frequency.next();
        let start = codes.len();
        codes.resize(start + 4 * self.file.beams.len(), 0);
        let hours = self.time_s() / 3600.0;
        for n in 0..self.file.beams.len() {
            let beam = &self.file.beams[n];
            let displacement = displacement(beam, scene.pose);
            let path = self.file.light.dead_path_m + f64::from(self.file.passes) * displacement;
            let phase = self.radians_per_metre * displacement
                + TAU * (hertz * path / LIGHT + warmed / self.file.wavelength_m);
            let f = beam.faults;
            let (s, c) = phase.sin_cos();
            let turned = (phase + f.quarter_wave_error_rad).sin();
            // Each state sees a share of the other.
            let fringes = [c + f.leakage * s, turned + f.leakage * c];
            let drift = f.drift_per_hour * hours;
            let channels = beam.channels;
            for k in 0..4 {
                let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
                let level = 1.0 + sign * self.file.light.contrast * fringes[k / 2];
                let shot =
                    self.shot_step * level.max(0.0).sqrt() * self.own.next_if(self.shot_step);
                let gain = f.gains[k] * if k < 2 { 1.0 } else { 1.0 + drift };
                let offset =
                    f.offsets_v[k] + if k == 0 { drift * self.file.light.detector_v } else { 0.0 };
                let volts = gain * self.file.light.detector_v * (power * level + shot)
                    + offset
                    + self.own_step * self.own.next_if(self.own_step);
                let code = (volts * self.codes_per_volt).round_ties_even();
                codes[start + usize::from(channels[k])] =
                    code.clamp(-self.half_range, self.half_range - 1.0) as i32;
            }
        }
        self.frame += 1;
    }
}

/// Displacement that a beam sees of the mass at a pose, exactly: of the point where it meets it.
fn displacement(beam: &BeamFile, pose: [f64; 6]) -> f64 {
    let at = Vector3::from(beam.position_m);
    let [x, y, z, theta, eta, phi] = pose;
    let turn = Rotation3::from_scaled_axis(Vector3::new(theta, eta, phi));
    Vector3::from(beam.direction).dot(&(Vector3::new(x, y, z) + turn * at - at))
}

/// Scenes between steps: cubics through four.
#[derive(Debug, Default)]
pub struct Between {
    scenes: VecDeque<(f64, Scene)>,
}

impl Between {
    /// Adds the next step; steps are even.
    pub fn push(&mut self, time_s: f64, scene: Scene) {
        self.scenes.push_back((time_s, scene));
    }

    /// Adds frames as far as the steps reach.
    pub fn follow(&mut self, detectors: &mut Detectors, codes: &mut Vec<i32>) {
        while self.scenes.len() >= 4 {
            let (from, step) = (self.scenes[1].0, self.scenes[2].0 - self.scenes[1].0);
            let into = (detectors.time_s() - from) / step;
            if into >= 1.0 {
                self.scenes.pop_front();
                continue;
            }
            // Before the second step there is none on both sides: the first cubic serves.
            let u = into;
            let weights = [
                -u * (u - 1.0) * (u - 2.0) / 6.0,
                (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0,
                -(u + 1.0) * u * (u - 2.0) / 2.0,
                (u + 1.0) * u * (u - 1.0) / 6.0,
            ];
            let parts = self.scenes.iter().map(|(_, scene)| scene);
            detectors.frame(&Scene::mixed(weights.into_iter().zip(parts)), codes);
        }
    }
}
