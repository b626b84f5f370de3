//! **Noise** of the interferometer, predicted from the sensor file: one-sided amplitude densities of a beam's
//! displacement.
//!
//! With a detector's mean voltage U and contrast V the two differences over the light have noise v sqrt(2)/(2 U)
//! from independent noises v of their detectors; the phase has 1/V of that. Noise of the light itself, true or of the
//! detectors' sum, moves both differences alike and no phase. The laser's frequency counts by the path that one arm
//! is longer.

use crate::instrument::file::InterferometerFile;

/// Speed of light in vacuum, m/s.
const LIGHT: f64 = 299_792_458.0;
/// Elementary charge, C.
const CHARGE: f64 = 1.602_176_634e-19;

/// What adds to the noise.
#[derive(Debug, Clone, PartialEq)]
pub struct Contributor {
    /// Name.
    pub name: &'static str,
    /// Density at the frequency asked for, m/rtHz.
    pub density: f64,
}

/// All contributors to a beam's displacement at a frequency; `metres_per_radian` of the geometry.
#[must_use]
pub fn predicted(
    file: &InterferometerFile,
    metres_per_radian: f64,
    frequency_hz: f64,
) -> Vec<Contributor> {
    let light = &file.light;
    let of_voltage =
        |v: f64| metres_per_radian * v / (2f64.sqrt() * light.detector_v * light.contrast);
    let step_v = file.full_scale_v / 2f64.powi(file.bits as i32 - 1);
    let rounding = step_v * (2.0 / 12.0 / file.rate_hz).sqrt();
    let shot = light.detector_v * (2.0 * CHARGE / light.photocurrent_a).sqrt();
    let corner = (1.0 + light.frequency_corner_hz / frequency_hz).sqrt();
    let hertz = light.frequency_noise_hz_per_rthz * corner;
    let per_hertz = light.dead_path_m.abs() / f64::from(file.passes) * file.wavelength_m / LIGHT;
    [
        ("detectors", of_voltage(light.detector_noise_v_per_rthz)),
        ("shot noise", of_voltage(shot)),
        ("rounding of codes", of_voltage(rounding)),
        ("laser frequency", hertz * per_hertz),
    ]
    .map(|(name, density)| Contributor { name, density })
    .into_iter()
    .filter(|c| c.density > 0.0)
    .collect()
}

/// Root of the sum of squares.
#[must_use]
pub fn total(contributors: &[Contributor]) -> f64 {
    contributors.iter().map(|c| c.density.powi(2)).sum::<f64>().sqrt()
}
