//! The sensor file as it stands on disk: keys, units and defaults. TOML, SI units, the unit
//! in the key; unknown keys are errors.

pub use super::calibration_file::{CalibratedBridgeFile, CalibrationFile};
pub use super::interferometer_file::{
    AirFile, BeamFaultsFile, BeamFile, EllipseFile, FringeLimitsFile, InterferometerFile, LightFile,
};
pub use super::pendulum_file::{BodyFile, EnvironmentFile, FibreFile, LossFile, PendulumFile};
pub use super::plan_file::{FirFile, LineFile, MaskFile, PathFile, PlanFile};
use serde::Deserialize;

/// Everything about one instrument and its readout.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorFile {
    /// Version of this format: 1.
    pub schema: u32,
    /// Name for reports.
    pub name: String,
    /// Injection carrier.
    pub carrier: CarrierFile,
    /// Analogue-to-digital converter.
    pub converter: ConverterFile,
    /// Amplifier chain, the same for all bridges.
    pub amplifier: AmplifierFile,
    /// Proof mass.
    #[serde(default)]
    pub mass: MassFile,
    /// Electrodes.
    #[serde(rename = "electrode")]
    pub electrodes: Vec<ElectrodeFile>,
    /// Bridges in reading order.
    #[serde(rename = "bridge")]
    pub bridges: Vec<BridgeFile>,
    /// Channel that reads the injection amplitude.
    pub monitor: Option<MonitorFile>,
    /// Actuation voltages that leak into the bridges.
    #[serde(default, rename = "actuation")]
    pub actuations: Vec<ActuationFile>,
    /// Axes that the bridges are solved for.
    pub axes: AxesFile,
    /// When a reading counts as faulty.
    #[serde(default)]
    pub health: HealthFile,
    /// Decimation plan, in place.
    pub plan: Option<PlanFile>,
    /// Decimation plan in a file of its own, relative to this one.
    pub plan_file: Option<String>,
    /// What the mass hangs from.
    pub pendulum: Option<PendulumFile>,
    /// Constants that stand in place of the bridges' own.
    pub calibration: Option<CalibrationFile>,
    /// Laser interferometer that looks at the same mass.
    pub interferometer: Option<InterferometerFile>,
    /// What disturbs mass and readout from outside.
    #[serde(default)]
    pub environment: EnvironmentFile,
    /// Limits of `verify`: any of the names in the table of limits.
    #[serde(default)]
    pub limits: std::collections::BTreeMap<String, f64>,
}

/// Injection carrier.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CarrierFile {
    /// Frequency.
    pub frequency_hz: f64,
    /// Peak amplitude at the injection electrodes.
    pub injection_v: f64,
    /// Phase at the first sample.
    #[serde(default)]
    pub phase_rad: f64,
    /// Relative amplitude noise, white part.
    #[serde(default)]
    pub amplitude_noise_per_rthz: f64,
    /// Phase noise, white part.
    #[serde(default)]
    pub phase_noise_rad_per_rthz: f64,
    /// Corner below which both rise as 1/f in power.
    #[serde(default)]
    pub noise_corner_hz: f64,
}

/// Converter.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConverterFile {
    /// Sample rate.
    pub rate_hz: f64,
    /// Bits of a code, sign included.
    pub bits: u32,
    /// Voltage of the largest code and of minus the smallest.
    pub full_scale_v: f64,
    /// Offset.
    #[serde(default)]
    pub offset_v: f64,
    /// Peak of the integral nonlinearity (S-shaped), in codes.
    #[serde(default)]
    pub nonlinearity_lsb: f64,
    /// Rms white jitter of the sampling clock.
    #[serde(default)]
    pub jitter_s: f64,
}

/// Amplifier chain of a bridge: charge amplifier, gain, anti-alias filter.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AmplifierFile {
    /// Feedback capacitance: output is V_m C / feedback x gain.
    pub feedback_f: f64,
    /// Gain after the charge amplifier.
    pub gain: f64,
    /// Phase lag from losses.
    #[serde(default)]
    pub loss_rad: f64,
    /// Corner of the one-pole anti-alias filter; none when absent.
    pub filter_hz: Option<f64>,
    /// White noise at the converter, beside what the keys below make.
    #[serde(default)]
    pub noise_v_per_rthz: f64,
    /// Corner below which it rises as 1/f in power.
    #[serde(default)]
    pub noise_corner_hz: f64,
    /// Voltage noise at the charge amplifier's input.
    #[serde(default)]
    pub input_noise_v_per_rthz: f64,
    /// All capacitance at that input but the feedback: electrodes, cable, amplifier.
    #[serde(default)]
    pub input_f: f64,
    /// Current noise at that input.
    #[serde(default)]
    pub current_noise_a_per_rthz: f64,
    /// Resistance in parallel to the feedback capacitance; none when absent.
    pub feedback_ohm: Option<f64>,
    /// Loss tangent of the bridge's capacitances.
    #[serde(default)]
    pub bridge_loss_tangent: f64,
    /// Temperature of resistance and loss.
    #[serde(default = "room")]
    pub temperature_k: f64,
}

fn room() -> f64 {
    293.15
}

/// Proof mass.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct MassFile {
    /// Capacitance from the mass to the housing beside all electrodes.
    pub stray_f: f64,
    /// Correct the readings for the change of the mass's polarisation with its position. Off where
    /// the capacitances to the mass are not known.
    pub correct_polarisation: bool,
}

impl Default for MassFile {
    fn default() -> Self {
        Self { stray_f: 0.0, correct_polarisation: true }
    }
}

/// What an electrode is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Part of a bridge.
    Sense,
    /// Carries the injection tone.
    Inject,
}

/// One electrode, a rectangle parallel to a face of the mass.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ElectrodeFile {
    /// Name, unique.
    pub name: String,
    /// Sensing or injection.
    pub role: Role,
    /// Area.
    pub area_m2: f64,
    /// Side of the rectangle along `width_axis`; the other side is area over width.
    pub width_m: f64,
    /// Direction of that side, perpendicular to the normal.
    pub width_axis: [f64; 3],
    /// Nominal gap.
    pub gap_m: f64,
    /// Centre of the electrode from the centre of the mass.
    pub position_m: [f64; 3],
    /// Direction from the mass to the electrode.
    pub normal: [f64; 3],
}

/// Wiring of a bridge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum KindFile {
    /// One channel reads C1 - C2.
    Difference,
    /// Two channels read C1 and C2.
    Separate,
}

/// One pair of opposite electrodes.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BridgeFile {
    /// Name for columns of the readings.
    pub name: String,
    /// Wiring.
    pub kind: KindFile,
    /// Electrodes 1 and 2: the mass moves towards 1 for a positive reading.
    pub electrodes: [String; 2],
    /// Channel of a difference bridge.
    pub channel: Option<u8>,
    /// Channels of separate electrodes.
    pub channels: Option<[u8; 2]>,
    /// Capacitance in parallel to electrodes 1 and 2.
    #[serde(default)]
    pub stray_f: [f64; 2],
    /// Calibrated code amplitude a0 = g (C01 + C02) V_m; worked out from the design when absent.
    pub a0_code: Option<f64>,
    /// Calibrated alignment: phase of an in-phase signal.
    pub alignment_rad: Option<f64>,
    /// Shares that this bridge's ratio has of others', by their names.
    #[serde(default)]
    pub cross_coupling: std::collections::BTreeMap<String, f64>,
    /// Displacement read at the mechanical centre.
    #[serde(default)]
    pub offset_m: f64,
}

/// Injection monitor.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MonitorFile {
    /// Channel.
    pub channel: u8,
    /// Volts at the converter per volt of injection.
    pub gain: f64,
    /// Code amplitude at calibration; worked out from the design when absent.
    pub calibration_code: Option<f64>,
    /// Phase at calibration. When absent, worked out from the design, unless bridges' phases are
    /// calibrated: then not known, and not used.
    pub alignment_rad: Option<f64>,
    /// Below this fraction of the calibration the carrier is weak.
    #[serde(default = "half")]
    pub weak_fraction: f64,
    /// Below this fraction it is lost.
    #[serde(default = "tenth")]
    pub lost_fraction: f64,
}

fn half() -> f64 {
    0.5
}

fn tenth() -> f64 {
    0.1
}

/// An actuation voltage's feed-through at the amplifier outputs.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ActuationFile {
    /// Frequency.
    pub frequency_hz: f64,
    /// Peak amplitude at the converter.
    pub amplitude_v: f64,
}

/// Axes of a reading.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AxesFile {
    /// Any of x, y, z, theta, eta, phi (rotations about x, y, z), in that order.
    pub names: Vec<String>,
    /// Largest disagreement of a bridge with the solved axes.
    #[serde(default = "micrometre")]
    pub residual_m: f64,
}

fn micrometre() -> f64 {
    1e-6
}

/// Limits of the health flags.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct HealthFile {
    /// Largest trusted |u|, at most 0.9.
    pub range: f64,
    /// Largest quadrature, as a fraction of a0.
    pub quadrature: f64,
    /// Largest phase of a bridge's signal against its alignment, and of the monitor against its
    /// calibration.
    pub phase_rad: f64,
    /// Quadrature, as a fraction of a0, that no phase is judged by.
    pub quadrature_floor: f64,
}

impl Default for HealthFile {
    fn default() -> Self {
        Self { range: 0.5, quadrature: 0.05, phase_rad: 0.1, quadrature_floor: 1e-4 }
    }
}
