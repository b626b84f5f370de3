//! The `quietgap` command for tests, never stale, and a sensor that makes short runs enough.

use quietgap_sim::instrument::{BUILT_IN, Sensor};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

/// The release binary, built once per test program: it belongs to another package, so cargo
/// does not build it for these tests by itself.
pub fn quietgap() -> Command {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    let mut command = Command::new(BINARY.get_or_init(build));
    // A panic must show as itself, not as a page of addresses; colours only where asked for.
    command.env("RUST_BACKTRACE", "0").env_remove("CLICOLOR_FORCE").stdin(Stdio::null());
    command
}

fn build() -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    // Cargo keeps this folder for tests inside its target directory.
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("a target directory");
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
    let output = Command::new(cargo)
        .current_dir(root)
        .args(["build", "--release", "--package", "quietgap-sim", "--bin", "quietgap"])
        .args(["--message-format", "json-render-diagnostics", "--target-dir"])
        .arg(target)
        .stderr(Stdio::inherit())
        .output()
        .expect("cargo starts");
    assert!(output.status.success(), "the command does not build");
    String::from_utf8(output.stdout)
        .expect("cargo's messages are text")
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("one object a line"))
        .filter(|message| message["target"]["name"] == "quietgap")
        .find_map(|message| message["executable"].as_str().map(PathBuf::from))
        .expect("cargo names the binary")
}

/// The two-bridge vault sensor whose plan is the first decimation alone: 5000 readings a
/// second, each of 319 samples, so that a hundredth of a second is a run.
pub fn fast_sensor() -> String {
    let vault = BUILT_IN[0].1;
    let plan = vault.find("[plan]").expect("a plan in place");
    format!(
        "{}[plan]\norder = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0\n",
        &vault[..plan]
    )
}

/// Seconds of the shortest run of a built-in sensor: what one reading's filters span.
#[allow(dead_code, reason = "not every program of tests runs a built-in sensor")]
pub fn span_s(name: &str) -> f64 {
    let sensor = Sensor::load(name).expect("a built-in sensor");
    sensor.settings.span() as f64 / sensor.rate_hz()
}
