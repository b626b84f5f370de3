//! Reads whatever bytes the fuzzer makes up, as one of the project's formats.
//!
//! `./run` builds it and says how it is called. The format is the word in `QUIETGAP_FORMAT`: one program,
//! linked once.

#![no_main]

mod formats;
mod settings;

use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

type Read = fn(&[u8]);

/// Every format that is read, and the core's settings.
const FORMATS: [(&str, Read); 12] = [
    ("sensor", formats::sensor),
    ("plan", formats::plan),
    ("specification", formats::specification),
    ("motion", formats::motion),
    ("drives", formats::drives),
    ("campaign", formats::campaign),
    ("npy", formats::npy),
    ("wav", formats::wav),
    ("words", formats::words),
    ("record", formats::record),
    ("telemetry", formats::telemetry),
    ("settings", settings::settings),
];

static READ: LazyLock<Read> = LazyLock::new(|| {
    let named = std::env::var("QUIETGAP_FORMAT").unwrap_or_default();
    let names = FORMATS.map(|(name, _)| name).join(", ");
    let found = FORMATS.iter().find(|(name, _)| *name == named);
    found.unwrap_or_else(|| panic!("QUIETGAP_FORMAT is `{named}`, allowed {names}")).1
});

fuzz_target!(|data: &[u8]| READ(data));
