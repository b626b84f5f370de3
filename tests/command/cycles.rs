//! What `quietgap cycles` promises: one JSON object with its keys, the exit code by the load, and
//! refusals that say what is allowed.

use crate::bench::quietgap;
use serde_json::Value;
use std::collections::BTreeSet;

fn run(line: &str, code: i32) -> (String, String) {
    let output = quietgap().args(line.split(' ')).output().expect("it starts");
    let [out, error] = [output.stdout, output.stderr].map(|b| String::from_utf8(b).expect("text"));
    assert_eq!(output.status.code(), Some(code), "{line}\n{error}");
    (out, error)
}

#[test]
fn one_object_with_its_keys() {
    let (text, _) = run("cycles vault-six-axis --cpu m7 --clock 200e6 --json", 0);
    let value: Value = serde_json::from_str(&text).expect("one object");
    let keys: BTreeSet<&str> =
        value.as_object().expect("keys").keys().map(String::as_str).collect();
    let expected = [
        "assumption",
        "busiest",
        "channels",
        "clock_hz",
        "command",
        "cpu",
        "cycles_available",
        "cycles_per_instruction",
        "cycles_per_interval",
        "instructions_per_interval",
        "instructions_per_sample",
        "interval_samples",
        "intervals_per_s",
        "left",
        "load",
        "pass",
        "rate_hz",
        "schema",
        "sensor",
        "stages",
        "worst",
    ];
    assert_eq!(keys, BTreeSet::from(expected));
    let number = |key: &str| value[key].as_f64().expect("a number");
    // What there is and what is needed are each other's rest.
    assert!((number("load") + number("left") - 1.0).abs() < 1e-12);
    let interval = number("interval_samples") / number("rate_hz");
    assert!((number("cycles_available") / (number("clock_hz") * interval) - 1.0).abs() < 1e-12);
    let stages = value["stages"].as_array().expect("stages");
    let sum: f64 = stages.iter().map(|s| s["instructions"].as_f64().expect("a number")).sum();
    assert!((sum / number("instructions_per_interval") - 1.0).abs() < 1e-9);
}

#[test]
fn exit_code_by_the_load() {
    // The last clock that is enough, to a part in a thousand, and the first that is not.
    let (text, _) = run("cycles vault-two-bridge --cpu m4 --clock 100e6 --json", 0);
    let value: Value = serde_json::from_str(&text).expect("one object");
    let needed = 100e6 * value["load"].as_f64().expect("a number");
    run(&format!("cycles vault-two-bridge --cpu m4 --clock {}", needed * 1.001), 0);
    run(&format!("cycles vault-two-bridge --cpu m4 --clock {}", needed * 0.999), 1);
}

#[test]
fn bad_values_are_refused() {
    let (_, error) = run("cycles vault-two-bridge --cpu m9", 2);
    assert!(error.contains("m9") && error.contains("m33"), "{error}");
    run("cycles vault-two-bridge --cpu m33", 0);
    for clock in ["0", "-1", "nan", "many"] {
        let (_, error) = run(&format!("cycles vault-two-bridge --clock={clock}"), 2);
        assert!(error.contains("clock"), "{error}");
    }
    let (_, error) = run("cycles no-such-sensor", 2);
    assert!(error.contains("no-such-sensor"), "{error}");
}

/// Any order, pruned to fit a board's register; not a register that no board has.
#[test]
fn orders_and_registers() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("sensor.toml");
    let built_in = concat!(env!("CARGO_MANIFEST_DIR"), "/../sensors/vault-two-bridge.toml");
    let text = std::fs::read_to_string(built_in).expect("a sensor");
    let count = |plan: &str, code| {
        std::fs::write(&path, text.replace("order = 2\n", plan)).expect("written");
        let path = path.to_str().expect("text");
        run(&format!("cycles {path} --json"), code)
    };
    let mut last = 0.0;
    for plan in ["order = 1\n", "order = 2\n", "order = 3\npruned_bits = 8\n"] {
        let (text, _) = count(plan, 0);
        let value: Value = serde_json::from_str(&text).expect("one object");
        let each = value["instructions_per_sample"].as_f64().expect("a number");
        assert!(each > last, "{plan}: {each} after {last}");
        last = each;
    }
    let (_, error) = count("order = 3\n", 2);
    assert!(error.contains("sensor.toml: the CIC's register has 72 bits"), "{error}");
    let (_, error) = count("order = 2\nregister_bits = 128\n", 2);
    assert!(error.contains("sensor.toml: the CIC's register has 128 bits"), "{error}");
}
