//! The slate quarry's campaign: half a day of the vault's sensor while a heater and a voltage are modulated, and what is made of
//! it.

use crate::instrument::BUILT_IN;
use crate::simulation::scenario;

/// Name of its file.
pub const CAMPAIGN: &str = "campaign.toml";

const ANALYSES: &str = r#"# Half a day in the slate-quarry vault: a heater makes a gradient across the plate, a voltage goes to one
# electrode, and temperature, tilt and the laser's intensity wander as they do. Simulated; for recorded data, name the
# record where the first analysis' folder stands.
name = "Slate-quarry tilt vault: heater and charge"

[[analysis]]
name = "record"
title = "Twelve hours, simulated"
run = [
    "simulate", "vault.toml", "--level", "phasor", "--seconds", "43200", "--seed", "4", "--drives", "drives.toml",
    "--auxiliary", "{own}/auxiliary.parquet", "--out", "{own}/readings.parquet",
]

[[analysis]]
name = "health"
title = "Events and faults"
run = ["events", "{record}/readings.parquet", "--column", "x_m", "--longest", "2"]

[[analysis]]
name = "noise"
title = "Displacement noise against the requirement"
run = ["spectrum", "{record}/readings.parquet", "--column", "x_m", "--against", "requirement.csv"]

[[analysis]]
name = "stability"
title = "Stability of the displacement"
run = ["stability", "{record}/readings.parquet", "--column", "x_m"]

[[analysis]]
name = "budget"
title = "What the noise is made of"
run = ["budget", "vault.toml", "--readings", "{record}/readings.parquet", "--against", "requirement.csv"]

[[analysis]]
name = "torque"
title = "Torque and equivalent acceleration"
# The voltage drives the swing, which the record is too short to tell from it: period and damping of the file.
run = [
    "torque", "vault.toml", "{record}/readings.parquet", "--as-designed", "--out", "{own}/torque.parquet",
]

[[analysis]]
name = "charge"
title = "Charge of the mass, by the modulated voltage"
run = [
    "response", "{torque}/torque.parquet", "--column", "torque_n_m", "--sensor", "vault.toml",
    "--drive", "{record}/auxiliary.parquet", "--drive-column", "voltage_v",
]

[[analysis]]
name = "gradient"
title = "Torque per kelvin of gradient, by the heater"
run = [
    "response", "{torque}/torque.parquet", "--column", "torque_n_m", "--sensor", "vault.toml", "--harmonics", "1",
    "--drive", "{record}/auxiliary.parquet", "--drive-column", "gradient_k", "--from", "3000",
]

[[analysis]]
name = "attribution"
title = "What the torque follows"
run = [
    "attribute", "{torque}/torque.parquet", "{record}/auxiliary.parquet", "--column", "torque_n_m", "--sensor", "vault.toml",
    "--to-hz", "0.02", "--square", "voltage_v", "--channel", "temperature_k", "--channel", "gradient_k",
    "--channel", "tilt_rad", "--channel", "intensity", "--channel", "voltage_v",
    "--cleaned", "{own}/cleaned.parquet",
]
"#;

const DRIVES: &str = r#"# One volt to an electrode near the swing's own frequency, and a heater, on and off.
[[drive]]
quantity = "voltage_v"
amplitude = 0.1
frequency_hz = 2.9e-3

[[drive]]
quantity = "heater_w"
amplitude = 0.05
offset = 0.05
frequency_hz = 4.3e-4
shape = "square"
"#;

/// Couplings of the experiment, within `[environment]`.
const COUPLINGS: &str = "torque_n_m_per_k = 2.0e-12
gradient_k_per_w = 0.02
gradient_lag_s = 300.0
torque_n_m_per_gradient_k = 1.0e-11
intensity_per_rthz = 1.0e-4
intensity_corner_hz = 1.0e-2
torque_n_m_per_intensity = 2.0e-11
";

/// Files of the example: name, text.
#[must_use]
pub fn files() -> Vec<(&'static str, String)> {
    let header = "[environment]\n";
    let sensor = BUILT_IN[0].1.replace(header, &format!("{header}{COUPLINGS}"));
    vec![
        (CAMPAIGN, ANALYSES.to_owned()),
        ("vault.toml", sensor),
        ("drives.toml", DRIVES.to_owned()),
        ("requirement.csv", scenario::requirement()),
    ]
}
