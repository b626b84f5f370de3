//! A plan of low delay from specification to readings: designed, put into a sensor, its time stamps held to
//! a mass that moves so fast that a sample more or less shows.

use crate::bench::{fast_sensor, quietgap};
use serde_json::Value;
use std::path::Path;

const SPEC: &str = "schema = 1\nrate_hz = 8e5\ncarrier_hz = 8e4\noutput_rate_hz = 4000\nmethod = \"low-delay\"\n\
    channels = 2\n[mask]\npass_hz = 800\npass_db = 0.1\nalias_into_hz = 800\nalias_db = 70\n";

/// Metres a second. Half a sample at this speed is 1.9 nm.
const SPEED: f64 = 3e-3;

fn run(at: &Path, line: &str) -> String {
    let output =
        quietgap().current_dir(at).args(line.split(' ')).output().expect("the command runs");
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{line}: {error}");
    String::from_utf8(output.stdout).expect("text")
}

/// Columns of time and x, comments and heading left out.
fn rows(text: &str) -> Vec<[f64; 2]> {
    let lines = text.lines().filter(|line| line.starts_with(|c: char| c == '-' || c.is_numeric()));
    lines
        .map(|line| {
            let mut cells = line.split(',').map(|cell| cell.parse().expect("a number"));
            [cells.next().expect("t_s"), cells.next().expect("x_m")]
        })
        .collect()
}

#[test]
fn time_stamps_of_a_low_delay() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let put = |name: &str, text: &str| std::fs::write(at.join(name), text).expect("written");
    put("spec.toml", SPEC);
    run(at, "filter design spec.toml --out plan.toml");
    assert!(std::fs::read_to_string(at.join("plan.toml")).unwrap().contains("symmetric = false"));
    let check: Value =
        serde_json::from_str(&run(at, "filter check plan.toml --json")).expect("JSON");
    assert_eq!((&check["pass"], &check["delay_varies"]), (&true.into(), &true.into()));
    let delay = check["delay_samples"].as_f64().expect("a delay");
    let centre = (check["span_samples"].as_f64().expect("a span") - 1.0) / 2.0;
    assert!(delay < 0.7 * centre, "{delay} of {centre} samples");

    let fast = fast_sensor();
    let sensor = &fast[..fast.find("[plan]").expect("a plan")];
    let sensor = sensor.replacen("schema = 1", "schema = 1\nplan_file = \"plan.toml\"", 1);
    put("sensor.toml", &sensor);
    put("ramp.csv", &format!("t_s,x_m\n0,{}\n0.05,{}\n", -0.025 * SPEED, 0.025 * SPEED));
    run(
        at,
        "simulate sensor.toml --motion ramp.csv --noise off --out c.npy --truth t.csv --seconds 0.05",
    );
    run(at, "demodulate sensor.toml c.npy --out r.csv");
    let [read, truth] = ["r.csv", "t.csv"]
        .map(|name| rows(&std::fs::read_to_string(at.join(name)).expect("readings")));
    let read: Vec<_> = read.iter().filter(|row| row[0] >= truth[0][0]).collect();
    assert_eq!(read.len(), truth.len());
    assert!(truth.len() > 150, "{}", truth.len());
    for (read, truth) in read.iter().zip(&truth) {
        assert!((read[0] - truth[0]).abs() < 1e-12);
        assert!(((read[0] - 0.025) * SPEED - truth[1]).abs() < 1e-15, "the truth is the ramp");
        // Delay to the nearest half sample: 0.25 of one; codes are rounded, and a coarse alias is 70 dB down.
        let off = read[1] - truth[1];
        assert!(off.abs() < 0.3 * SPEED / 8e5 + 3e-10, "{off} m at {} s", read[0]);
    }
    // The twin works its delay out by itself.
    let found: Value =
        serde_json::from_str(&run(at, "verify sensor.toml --motion ramp.csv --noise off --json"))
            .expect("JSON");
    assert_eq!(found["pass"], true, "{found}");
}

/// Taps that only should be their own mirror are still told.
#[test]
fn a_tap_that_should_be_its_mirror() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    std::fs::write(at.join("spec.toml"), SPEC).expect("written");
    run(at, "filter design spec.toml --out plan.toml");
    let plan = std::fs::read_to_string(at.join("plan.toml")).expect("a plan");
    std::fs::write(at.join("other.toml"), plan.replace("symmetric = false\n", ""))
        .expect("written");
    let output = quietgap()
        .current_dir(at)
        .args(["filter", "check", "other.toml", "--json"])
        .output()
        .expect("the command runs");
    assert_eq!(output.status.code(), Some(1));
    let check: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let limits = check["limits"].as_array().expect("limits");
    let missed: Vec<_> = limits.iter().filter(|limit| limit["pass"] == false).collect();
    assert_eq!(missed.len(), 1, "{missed:?}");
    assert_eq!(missed[0]["name"], "taps and their mirror");
}
