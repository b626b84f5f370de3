//! The slate quarry's campaign: hours of the vault's sensor while a heater and a voltage are modulated, and what is made of
//! it.

use crate::instrument::BUILT_IN;
use crate::simulation::scenario;

/// Name of its file.
pub const CAMPAIGN: &str = "campaign.toml";

const ANALYSES: &str = r#"# Hours in the slate-quarry vault: a heater makes a gradient across the plate, a voltage goes to one
# electrode, and temperature, tilt and the laser's intensity wander as they do. Simulated; for recorded data, name the
# record where the first analysis' folder stands.
name = "Slate-quarry tilt vault: heater and charge"

[[analysis]]
name = "stage"
title = "A stage before the run, simulated"
run = [
    "simulate", "vault.toml", "--level", "phasor", "--motion", "stage.csv", "--seconds", "64", "--seed", "2",
    "--out", "{own}/readings.csv",
]

[[analysis]]
name = "calibration"
title = "The bridges against the stage"
run = [
    "calibrate", "{stage}/readings.csv", "places.csv", "--sensor", "vault.toml", "--out", "{own}/calibrated.toml",
    "--settle", "3.5", "--date", "2026-11-02",
]

[[analysis]]
name = "record"
title = "{hours} hours, simulated"
run = [
    "simulate", "vault.toml", "--level", "phasor", "--seconds", "{seconds}", "--seed", "4", "--drives", "drives.toml",
    "--auxiliary", "{own}/auxiliary.parquet", "--out", "{own}/readings.parquet",
]

[[analysis]]
name = "spring"
title = "The spring campaign's three hours, without drives"
# Of a real last campaign, its results are named instead: last = "../spring/campaign-results" above, before the first
# analysis, and {last}/noise/density.csv below.
run = [
    "simulate", "vault.toml", "--level", "phasor", "--seconds", "10800", "--seed", "3", "--out", "{own}/readings.parquet",
]

[[analysis]]
name = "spring-noise"
title = "The spring campaign's displacement noise"
run = ["spectrum", "{spring}/readings.parquet", "--column", "x_m", "--out", "{own}/density.csv"]

[[analysis]]
name = "health"
title = "Events and faults"
run = [
    "events", "{record}/readings.parquet", "--column", "x_m", "--longest", "2", "--out", "{own}/events.csv",
]

[[analysis]]
name = "noise"
title = "Displacement noise against the requirement and the spring campaign's"
run = [
    "spectrum", "{record}/readings.parquet", "--column", "x_m", "--against", "requirement.csv",
    "--against", "{spring-noise}/density.csv", "--out", "{own}/density.csv",
]

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
    "--drive", "{record}/auxiliary.parquet", "--drive-column", "voltage_v", "--events", "{health}/events.csv",
]

[[analysis]]
name = "gradient"
title = "Torque per kelvin of gradient, by the heater"
run = [
    "response", "{torque}/torque.parquet", "--column", "torque_n_m", "--sensor", "vault.toml", "--harmonics", "1",
    "--drive", "{record}/auxiliary.parquet", "--drive-column", "gradient_k", "--from", "3000",
    "--events", "{health}/events.csv",
]

[[analysis]]
name = "attribution"
title = "What the torque follows"
run = [
    "attribute", "{torque}/torque.parquet", "{record}/auxiliary.parquet", "--column", "torque_n_m", "--sensor", "vault.toml",
    "--to-hz", "0.02", "--square", "voltage_v", "--channel", "temperature_k", "--channel", "gradient_k",
    "--channel", "tilt_rad", "--channel", "intensity", "--channel", "voltage_v",
    "--cleaned", "{own}/cleaned.parquet", "--events", "{health}/events.csv",
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

/// Where the stage stands: x and phi.
const STAYS: [[f64; 2]; 10] = [
    [0.0, 0.0],
    [3e-4, 0.0],
    [6e-4, 0.0],
    [-3e-4, 0.0],
    [-6e-4, 0.0],
    [0.0, 3e-3],
    [0.0, 6e-3],
    [0.0, -3e-3],
    [0.0, -6e-3],
    [3e-4, 4e-3],
];
/// From one of its moves to the next, of which half a second is the move, s.
const STAY_S: f64 = 6.5;

/// The stage's motion, and its log: each place from two seconds before it arrives, as filters see it leave the last one early.
fn stage() -> [String; 2] {
    let head = "t_s,x_m,phi_rad\n";
    let mut texts = [head.to_owned(), head.to_owned()];
    for (n, [x, phi]) in STAYS.iter().enumerate() {
        let start = n as f64 * STAY_S;
        for k in 0..=120 {
            texts[0] += &format!("{},{x:e},{phi:e}\n", start + f64::from(k) * 0.05);
        }
        texts[1] += &format!("{},{x:e},{phi:e}\n", start - 2.0);
    }
    texts
}

/// Hours that the example takes.
pub const HOURS: u32 = 12;
/// Hours that it takes at least: three of the heater's periods, when the first has settled.
pub const FEWEST_HOURS: u32 = 3;

/// Files of the example, of a record of some hours: name, text.
#[must_use]
pub fn files(hours: u32) -> Vec<(&'static str, String)> {
    let [stage, places] = stage();
    let header = "[environment]\n";
    let analyses = ANALYSES.replace("{hours}", &hours.to_string());
    let analyses = analyses.replace("{seconds}", &(3600 * hours).to_string());
    let sensor = BUILT_IN[0].1.replace(header, &format!("{header}{COUPLINGS}"));
    vec![
        (CAMPAIGN, analyses),
        ("vault.toml", sensor),
        ("drives.toml", DRIVES.to_owned()),
        ("stage.csv", stage),
        ("places.csv", places),
        ("requirement.csv", scenario::requirement()),
    ]
}
