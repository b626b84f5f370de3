//! The `quietgap` command for tests, and a sensor that makes short runs enough.

use quietgap_sim::instrument::{BUILT_IN, Sensor};
use std::process::{Command, Stdio};

/// The command, in the tests' own profile.
pub fn quietgap() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_quietgap"));
    // A panic must show as itself, not as a page of addresses; colours only where asked for.
    command.env("RUST_BACKTRACE", "0").env_remove("CLICOLOR_FORCE").stdin(Stdio::null());
    command
}

/// The two-bridge vault sensor whose plan is the first decimation alone: 5000 readings a
/// second, each of 319 samples, so that a hundredth of a second is a run; without its pendulum.
pub fn fast_sensor() -> String {
    let vault = BUILT_IN[0].1;
    let find = |section: &str| vault.find(section).expect("a section in place");
    let (pendulum, limits) = (find("# An aluminium plate of 60"), find("[limits]"));
    let plan = find("[plan]");
    format!(
        "{}{}[plan]\norder = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0\n",
        &vault[..pendulum],
        &vault[limits..plan]
    )
}

/// Seconds of the shortest run of a built-in sensor: what one reading's filters span.
pub fn span_s(name: &str) -> f64 {
    let sensor = Sensor::load(name).expect("a built-in sensor");
    sensor.settings.span() as f64 / sensor.rate_hz()
}
