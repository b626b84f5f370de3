//! **Air**: its refractive index (P. E. Ciddor, Appl. Opt. 35 (1996) 1566; constants recalled, values checked in
//! `tests/interferometer.rs`), for 0.3 to 1.7 um.

use crate::instrument::file::AirFile;

/// Molar gas constant as in the paper, J/(mol K).
const R: f64 = 8.314_510;
/// Molar mass of water vapour, kg/mol.
const WATER: f64 = 0.018_015;

/// Phase refractive index of air.
#[must_use]
pub fn index(air: &AirFile, wavelength_m: f64) -> f64 {
    let s2 = (1e-6 / wavelength_m).powi(2);
    // Dry air at 15 °C, 101 325 Pa, and water vapour at 20 °C, 1333 Pa.
    let dry = 1e-8 * (5_792_105.0 / (238.0185 - s2) + 167_917.0 / (57.362 - s2));
    let dry = dry * (1.0 + 0.534e-6 * (air.carbon_dioxide_ppm - 450.0));
    let wet = 1.022e-8 * (295.235 + s2 * (2.6422 + s2 * (-0.032_380 + s2 * 0.004_028)));
    let molar = 1e-3 * (28.9635 + 12.011e-6 * (air.carbon_dioxide_ppm - 400.0));
    let (p, kelvin) = (air.pressure_pa, air.temperature_k);
    let vapour = if p > 0.0 { vapour_share(air) } else { 0.0 };
    let per_mole = |p: f64, kelvin: f64, x: f64| p / (compressibility(p, kelvin, x) * R * kelvin);
    let dry_density = per_mole(p, kelvin, vapour) * molar * (1.0 - vapour);
    let wet_density = per_mole(p, kelvin, vapour) * WATER * vapour;
    let dry_standard = per_mole(101_325.0, 288.15, 0.0) * molar;
    let wet_standard = per_mole(1333.0, 293.15, 1.0) * WATER;
    1.0 + dry * dry_density / dry_standard + wet * wet_density / wet_standard
}

/// Molar share of water vapour.
fn vapour_share(air: &AirFile) -> f64 {
    let (kelvin, celsius) = (air.temperature_k, air.temperature_k - 273.15);
    let saturated = (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47
        - 6.343_164_5e3 / kelvin)
        .exp();
    let enhancement = 1.000_62 + 3.14e-8 * air.pressure_pa + 5.6e-7 * celsius * celsius;
    (enhancement * air.relative_humidity * saturated / air.pressure_pa).min(1.0)
}

/// Compressibility of moist air.
fn compressibility(p: f64, kelvin: f64, x: f64) -> f64 {
    let t = kelvin - 273.15;
    let first = 1.581_23e-6 - 2.9331e-8 * t
        + 1.1043e-10 * t * t
        + (5.707e-6 - 2.051e-8 * t) * x
        + (1.9898e-4 - 2.376e-6 * t) * x * x;
    let over = p / kelvin;
    1.0 - over * first + over * over * (1.83e-11 - 0.765e-8 * x * x)
}
