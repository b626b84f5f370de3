//! The `[pendulum]` and `[environment]` sections of a sensor file: what the mass hangs from, and what
//! disturbs it.

use serde::Deserialize;

/// Torsion pendulum that the mass is part of.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PendulumFile {
    /// Rotation that swings: theta, eta or phi.
    pub axis: String,
    /// Moment of inertia about that axis; of the bodies when absent.
    pub inertia_kg_m2: Option<f64>,
    /// Bodies that make up the inertia.
    #[serde(default, rename = "body")]
    pub bodies: Vec<BodyFile>,
    /// Mass that an acceleration is told of ...
    pub mass_kg: f64,
    /// ... at this distance from the axis.
    pub arm_m: f64,
    /// Temperature of the fibre and the gas.
    pub temperature_k: f64,
    /// Fibre.
    pub fibre: FibreFile,
    /// Form of the fibre's loss.
    #[serde(default)]
    pub loss: LossFile,
    /// Quality factor from the fibre's loss alone, at resonance.
    pub quality: f64,
    /// Viscous damping by residual gas.
    #[serde(default)]
    pub gas_damping_n_m_s: f64,
    /// Viscous damping by eddy currents.
    #[serde(default)]
    pub eddy_damping_n_m_s: f64,
    /// Rms voltage of the actuation between the mass and all sensing electrodes.
    #[serde(default)]
    pub actuation_v: f64,
    /// Relative amplitude noise of the actuation.
    #[serde(default)]
    pub actuation_noise_per_rthz: f64,
    /// Share of the actuation's torque that one electrode's pull leaves unbalanced.
    #[serde(default)]
    pub actuation_imbalance: f64,
}

/// Form of loss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LossFile {
    /// kappa (1 + i/Q) at all frequencies.
    #[default]
    Structural,
    /// Torque in proportion to the rate of turning.
    Viscous,
}

/// Round fibre.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FibreFile {
    /// Shear modulus.
    pub shear_modulus_pa: f64,
    /// Diameter.
    pub diameter_m: f64,
    /// Length.
    pub length_m: f64,
    /// Load; its torsion under tension adds a little stiffness.
    #[serde(default)]
    pub tension_n: f64,
}

/// A body of the assembly.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BodyFile {
    /// Mass.
    pub mass_kg: f64,
    /// Its centre from the axis, at right angles to it.
    pub position_m: [f64; 2],
    /// Moment of inertia about its own centre, along the axis.
    #[serde(default)]
    pub inertia_kg_m2: f64,
}

/// What disturbs mass and readout from outside. A density is white above its corner and rises as 1/f in
/// amplitude below.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct EnvironmentFile {
    /// Temperature, white part.
    pub temperature_k_per_rthz: f64,
    /// Its corner.
    pub temperature_corner_hz: f64,
    /// Apparent displacement of every bridge per kelvin: expansion that is not balanced.
    pub expansion_m_per_k: f64,
    /// Relative change of the readout's gain per kelvin.
    pub gain_per_k: f64,
    /// Relative change of the fibre's stiffness per kelvin.
    pub stiffness_per_k: f64,
    /// Tilt of the ground, white part.
    pub tilt_rad_per_rthz: f64,
    /// Its corner.
    pub tilt_corner_hz: f64,
    /// Turning of the fibre's upper end per tilt.
    pub tilt_coupling: f64,
    /// Charge of the mass.
    pub charge_c: f64,
    /// Noise of the stray voltage of one electrode.
    pub stray_voltage_v_per_rthz: f64,
    /// Its growth.
    pub charge_c_per_s: f64,
    /// Constant stray voltage of the electrode that an experiment drives.
    pub stray_voltage_v: f64,
    /// Torque per kelvin of the whole.
    pub torque_n_m_per_k: f64,
    /// Difference of temperature across the mass per watt of an experiment's heater, settled.
    pub gradient_k_per_w: f64,
    /// Time constant of that.
    pub gradient_lag_s: f64,
    /// Torque per kelvin of that difference.
    pub torque_n_m_per_gradient_k: f64,
    /// Relative intensity noise of the laser, white part.
    pub intensity_per_rthz: f64,
    /// Its corner.
    pub intensity_corner_hz: f64,
    /// Torque per relative change of the intensity.
    pub torque_n_m_per_intensity: f64,
    /// Turning of the fibre's rest position, lasting: creep.
    pub creep_rad_per_s: f64,
}
