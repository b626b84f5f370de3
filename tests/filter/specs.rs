//! Specifications and plans that several tests of the workbench use.

use quietgap_sim::filter::spec::Spec;
use quietgap_sim::filter::subject::Subject;
use std::path::Path;

/// The four workloads: 1 MS/s, 100 kHz, six channels (common practice, no source) to 10, 1 and 1000 S/s,
/// and four samples a carrier period to 5 S/s.
pub const WORKLOADS: [(&str, &str); 4] = [
    (
        "10 S/s",
        "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 10\nchannels = 6\n[mask]\n\
         pass_hz = 3\npass_db = 0.001\nalias_into_hz = 4\nalias_db = 120\n",
    ),
    (
        "1 S/s",
        "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 1\nchannels = 6\n[mask]\n\
         pass_hz = 0.3\npass_db = 0.001\nalias_into_hz = 0.4\nalias_db = 140\n",
    ),
    (
        "1 kS/s",
        "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 1000\nchannels = 6\n[mask]\n\
         pass_hz = 300\npass_db = 0.01\nalias_into_hz = 300\nalias_db = 100\ndelay_s = 0.008\n",
    ),
    (
        "quarter rate",
        "schema = 1\nrate_hz = 320e3\ncarrier_hz = 80e3\noutput_rate_hz = 5\nchannels = 6\n[mask]\n\
         pass_hz = 1.5\npass_db = 0.001\nalias_into_hz = 2\nalias_db = 120\n",
    ),
];

/// A specification from its text. Not every test reads one.
#[allow(dead_code)]
pub fn spec(text: &str) -> Spec {
    Spec::parse(Path::new("spec.toml"), text).expect("a good specification")
}

/// A plan from its text. Not every test reads one.
#[allow(dead_code)]
pub fn subject(text: &str) -> Subject {
    Subject::parse(Path::new("plan.toml"), text, None).expect("a good plan")
}
