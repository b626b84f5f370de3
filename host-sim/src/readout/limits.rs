//! **Limits**: the one table of what the chain promises, each with its reason. `verify`, the
//! report and the tests read it; a sensor file may set any of them for its instrument.

/// One limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Key in a sensor file's `[limits]` and in JSON.
    pub name: &'static str,
    /// Unit of value and limit.
    pub unit: &'static str,
    /// Limit where the sensor file sets none; without one the value is not judged.
    pub default: Option<f64>,
    /// Why it is what it is.
    pub why: &'static str,
}

/// All limits, of the worst axis of each unit.
pub const TABLE: [Limit; 9] = [
    Limit {
        name: "rms_vs_ideal_m",
        unit: "m",
        default: Some(5e-14),
        why: "core against f64 twin: a thousandth of the quietest bench sensor's 0.1 nm in a second",
    },
    Limit {
        name: "max_vs_ideal_m",
        unit: "m",
        default: Some(2.5e-13),
        why: "core against f64 twin: five times the rms, as rounding errors have no long tail",
    },
    Limit {
        name: "bias_vs_ideal_m",
        unit: "m",
        default: Some(1e-14),
        why: "core against f64 twin: half-to-even rounding leaves no mean; a mean would pass as drift",
    },
    Limit {
        name: "rms_vs_ideal_rad",
        unit: "rad",
        default: Some(5e-12),
        why: "as in metres, over a lever arm of 10 mm",
    },
    Limit {
        name: "max_vs_ideal_rad",
        unit: "rad",
        default: Some(2.5e-11),
        why: "as in metres, over a lever arm of 10 mm",
    },
    Limit {
        name: "bias_vs_ideal_rad",
        unit: "rad",
        default: Some(1e-12),
        why: "as in metres, over a lever arm of 10 mm",
    },
    Limit {
        name: "rms_vs_truth_m",
        unit: "m",
        default: None,
        why: "reading against the simulated mass: front-end noise, polarisation and filter together",
    },
    Limit {
        name: "rms_vs_truth_rad",
        unit: "rad",
        default: None,
        why: "reading against the simulated mass: front-end noise, polarisation and filter together",
    },
    Limit {
        name: "own_density_ratio",
        unit: "",
        default: Some(0.01),
        why: "the core's own noise density over that of an ideal 24-bit converter at the same output: \
              the chain must never be what limits the instrument",
    },
];

/// A limit with what was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// Which.
    pub limit: Limit,
    /// Measured.
    pub value: f64,
    /// Limit in force.
    pub allowed: f64,
}

impl Judged {
    /// Whether the value is within.
    #[must_use]
    pub fn pass(&self) -> bool {
        // A value that is not a number is a failure too.
        self.value <= self.allowed
    }
}

/// Judges a measured value if a limit for it is in force.
#[must_use]
pub fn judge(
    name: &str,
    value: f64,
    from_file: &std::collections::BTreeMap<String, f64>,
) -> Option<Judged> {
    let limit = *TABLE.iter().find(|l| l.name == name)?;
    let allowed = from_file.get(name).copied().or(limit.default)?;
    Some(Judged { limit, value, allowed })
}
