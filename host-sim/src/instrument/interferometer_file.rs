//! The `[interferometer]` section of a sensor file: a homodyne laser interferometer that looks at the same mass.

use serde::Deserialize;

/// Homodyne quadrature interferometer.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InterferometerFile {
    /// Wavelength in vacuum.
    pub wavelength_m: f64,
    /// How often the light runs the path that moves: a fringe is the wavelength over this.
    pub passes: u8,
    /// Air in the path; vacuum when absent.
    pub air: Option<AirFile>,
    /// Rate of the detectors' record.
    pub rate_hz: f64,
    /// Bits of its codes, sign included.
    pub bits: u32,
    /// Voltage of the largest code and of minus the smallest.
    pub full_scale_v: f64,
    /// Rate of the readings: a whole number of frames each.
    pub output_rate_hz: f64,
    /// Axes that the beams are solved for.
    pub axes: Vec<String>,
    /// Beams.
    #[serde(rename = "beam")]
    pub beams: Vec<BeamFile>,
    /// Light and detectors, for prediction and simulation.
    #[serde(default)]
    pub light: LightFile,
    /// When a reading counts as faulty.
    #[serde(default)]
    pub limits: FringeLimitsFile,
}

/// State of the air.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AirFile {
    /// Pressure.
    pub pressure_pa: f64,
    /// Temperature.
    pub temperature_k: f64,
    /// Relative humidity, 0 to 1.
    pub relative_humidity: f64,
    /// Carbon dioxide, parts in a million.
    #[serde(default = "usual_carbon_dioxide")]
    pub carbon_dioxide_ppm: f64,
}

fn usual_carbon_dioxide() -> f64 {
    450.0
}

/// A beam and its four detectors.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BeamFile {
    /// Name for columns of the readings.
    pub name: String,
    /// Where it meets the mass, from its centre.
    pub position_m: [f64; 3],
    /// Direction of the motion that it reads as positive.
    pub direction: [f64; 3],
    /// Channels of the in-phase detector, its complement, the quadrature detector, its complement.
    pub channels: [u8; 4],
    /// Ellipse to use where the motion shows none.
    pub ellipse: Option<EllipseFile>,
    /// What is not as it should be, for simulation.
    #[serde(default)]
    pub faults: BeamFaultsFile,
}

/// In-phase x = `offset_x` + `contrast` cos phi, quadrature y = `offset_y` + (`contrast`/`ratio`) sin(phi -
/// `quadrature_error_rad`), both over the light's sum.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EllipseFile {
    /// Of x.
    pub offset_x: f64,
    /// Of y.
    pub offset_y: f64,
    /// Amplitude of x.
    pub contrast: f64,
    /// Amplitude of x over that of y.
    pub ratio: f64,
    /// What the two lack of a quarter turn.
    pub quadrature_error_rad: f64,
}

/// Light and detectors.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct LightFile {
    /// Mean voltage of a detector.
    pub detector_v: f64,
    /// Fringe contrast: amplitude over mean.
    pub contrast: f64,
    /// Mean current of a detector's diode, for shot noise.
    pub photocurrent_a: f64,
    /// White voltage noise of a detector.
    pub detector_noise_v_per_rthz: f64,
    /// Relative intensity noise, white part.
    pub intensity_noise_per_rthz: f64,
    /// Corner below which it rises as 1/f in power.
    pub intensity_corner_hz: f64,
    /// Frequency noise of the laser, white part.
    pub frequency_noise_hz_per_rthz: f64,
    /// Corner below which it rises as 1/f in power.
    pub frequency_corner_hz: f64,
    /// Path that one arm is longer than the other with the mass at its centre, as the light runs it.
    pub dead_path_m: f64,
    /// Change of that difference per kelvin of the environment.
    pub path_m_per_k: f64,
}

impl Default for LightFile {
    fn default() -> Self {
        Self {
            detector_v: 1.0,
            contrast: 0.9,
            photocurrent_a: 1e-4,
            detector_noise_v_per_rthz: 0.0,
            intensity_noise_per_rthz: 0.0,
            intensity_corner_hz: 0.0,
            frequency_noise_hz_per_rthz: 0.0,
            frequency_corner_hz: 0.0,
            dead_path_m: 0.0,
            path_m_per_k: 0.0,
        }
    }
}

/// What is not as it should be in a beam's optics and detectors.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct BeamFaultsFile {
    /// Gains of the four detectors.
    pub gains: [f64; 4],
    /// Their offsets.
    pub offsets_v: [f64; 4],
    /// What the two states lack of a quarter turn.
    pub quarter_wave_error_rad: f64,
    /// Share of the other polarisation in each state's fringes.
    pub leakage: f64,
    /// Relative change of the quadrature detectors' gains, and of the first offset over the mean voltage.
    pub drift_per_hour: f64,
}

impl Default for BeamFaultsFile {
    fn default() -> Self {
        Self {
            gains: [1.0; 4],
            offsets_v: [0.0; 4],
            quarter_wave_error_rad: 0.0,
            leakage: 0.0,
            drift_per_hour: 0.0,
        }
    }
}

/// Limits of the health flags.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FringeLimitsFile {
    /// Least contrast, over that of the ellipse, of a sound fringe.
    pub weak_fraction: f64,
    /// Below this fraction the fringe is lost, and with it the count.
    pub lost_fraction: f64,
    /// Largest step from frame to frame; half a turn cannot be told from its opposite.
    pub step_turns: f64,
}

impl Default for FringeLimitsFile {
    fn default() -> Self {
        Self { weak_fraction: 0.5, lost_fraction: 0.1, step_turns: 0.375 }
    }
}
