//! A sensor's readout as a package of its own, for firmware: nothing in it is generic, so that its sample loops
//! are compiled at its own level and not at the image's.

use super::rust;
use crate::filter::subject::Subject;

/// How its manifest begins.
pub const MARK: &str = "# Made by `quietgap filter export`";

/// The package's files: path in its folder and text; the manifest last, without which the others are no package.
#[must_use]
pub fn package(subject: &Subject) -> [(&'static str, String); 3] {
    let name = package_name(&subject.name);
    [
        ("src/settings.rs", rust(subject)),
        ("src/lib.rs", library(&name, &subject.name)),
        ("Cargo.toml", manifest(&name)),
    ]
}

/// A name that a package may have: small letters, digits and single hyphens, a letter first; `-board` behind it.
#[must_use]
pub fn package_name(sensor: &str) -> String {
    let plain: String = sensor
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .collect();
    let words: Vec<&str> = plain.split('-').filter(|word| !word.is_empty()).collect();
    let name = words.join("-");
    if name.starts_with(|c: char| c.is_ascii_lowercase()) {
        format!("{name}-board")
    } else {
        format!("sensor-{name}-board").replace("--", "-")
    }
}

fn manifest(name: &str) -> String {
    format!(
        "{MARK}; change the sensor file, not this file.
[package]
name = \"{name}\"
version = \"0.0.0\"
edition = \"2024\"
publish = false

[dependencies]
quietgap-core = \"{}\"
",
        env!("CARGO_PKG_VERSION")
    )
}

fn library(name: &str, sensor: &str) -> String {
    let sensor = sensor.replace(char::is_control, " ");
    format!(
        "//! The readout of {sensor}, for its board.
//!
//! Made by `quietgap filter export`; change the sensor file, not this file.
//!
//! Nothing here is generic: the sample loops are compiled in this package, at its own level, whatever the
//! image's. One line of the image's `Cargo.toml` sets it:
//!
//! ```toml
//! [profile.release.package.{name}]
//! opt-level = 3
//! ```
//!
//! ```ignore
//! static mut READOUT: Board = Board::IDLE; // zeros, in memory that takes no flash
//! readout.load();
//! readout.push(&codes, &mut |reading| {{ .. }});
//! ```
#![no_std]
#![forbid(unsafe_code)]

pub mod settings;

use quietgap_core::guard::Checksum;
pub use quietgap_core::{{Chain, Health, HealthCounts, Reading}};

/// The readout.
#[derive(Clone, Debug)]
pub struct Board(settings::Board);

impl Board {{
    /// Without a plan: zeros throughout.
    pub const IDLE: Self = Self(settings::Board::IDLE);

    /// Takes the plan, in place; the next code is that of channel 0 in frame 0.
    #[inline(never)]
    pub fn load(&mut self) {{
        self.0.load(&settings::PLAN);
    }}

    /// Forgets all codes; the next frame is number `frame` of the run.
    #[inline(never)]
    pub fn seek(&mut self, frame: u64) {{
        self.0.seek(frame);
    }}

    /// Samples since the last reading had `faults` that were found before the chain.
    pub fn flag(&mut self, faults: Health) {{
        self.0.flag(faults);
    }}

    /// Takes interleaved codes, any number of them, and hands each reading that they complete to `sink`.
    #[inline(never)]
    pub fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading)) {{
        self.0.push(codes, |reading| sink(reading));
    }}

    /// Faults of all readings so far.
    #[must_use]
    pub fn counts(&self) -> &HealthCounts {{
        self.0.counts()
    }}

    /// Of all that the plan set, as it stands in memory now.
    #[inline(never)]
    #[must_use]
    pub fn checksum(&self) -> Checksum {{
        self.0.checksum()
    }}

    /// Frames from one reading to the next.
    #[must_use]
    pub fn interval(&self) -> u64 {{
        self.0.interval()
    }}
}}

impl Chain for Board {{
    fn seek(&mut self, frame: u64) {{
        Self::seek(self, frame);
    }}

    fn flag(&mut self, faults: Health) {{
        Self::flag(self, faults);
    }}

    fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading)) {{
        Self::push(self, codes, sink);
    }}
}}
"
    )
}
