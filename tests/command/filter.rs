//! `quietgap filter` from the command line: exit codes, JSON keys, refusals with file, line and key,
//! nothing written where nothing should be.

#[path = "../filter/specs.rs"]
mod specs;

use crate::bench::quietgap;
use serde_json::Value;
use specs::WORKLOADS;
use std::path::Path;

struct Ran {
    code: i32,
    stdout: String,
    stderr: String,
}

fn run(arguments: &[&str]) -> Ran {
    let output = quietgap().arg("filter").args(arguments).output().expect("runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    let code = output.status.code().expect("no signal");
    Ran { code, stdout: text(output.stdout), stderr: text(output.stderr) }
}

fn json(ran: &Ran) -> Value {
    serde_json::from_str(&ran.stdout).unwrap_or_else(|e| panic!("{e}: {}", ran.stdout))
}

/// A folder with the 1 kS/s plan in it.
fn folder() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).to_str().expect("text").to_owned();
    std::fs::write(at("spec.toml"), WORKLOADS[2].1).expect("written");
    let ran = run(&["design", &at("spec.toml"), "--out", &at("plan.toml")]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let plan = at("plan.toml");
    (folder, plan)
}

fn write(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).expect("written");
    path.to_str().expect("text").to_owned()
}

#[test]
fn design_check_export_compare() {
    let (folder, plan) = folder();
    let ran = run(&["check", &plan, "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let found = json(&ran);
    assert_eq!((&found["command"], &found["pass"]), (&"filter check".into(), &true.into()));
    for key in [
        "rate_hz",
        "carrier_hz",
        "output_rate_hz",
        "span_samples",
        "delay_samples",
        "delay_s",
        "stages",
        "pass_band",
        "aliases",
        "tones",
        "step",
        "words",
        "rounding",
        "rest",
        "cost",
        "limits",
    ] {
        assert!(!found[key].is_null(), "{key}");
    }
    let limits = found["limits"].as_array().expect("limits");
    assert!(limits.iter().all(|l| l["pass"] == true && l["stage"].is_string()));
    assert_eq!(found["rest"]["left_steps"], 0);

    let report = write(folder.path(), "check.html", "");
    assert_eq!(run(&["check", &plan, "--report", &report]).code, 0);
    let page = std::fs::read_to_string(&report).expect("a page");
    // Self-contained, with figures and tables.
    assert!(page.matches("<svg").count() > 8 && page.matches("<table").count() >= 5);
    assert!(
        !page.contains("http://")
            || page.matches("http://").count() == page.matches("xmlns=\"http://").count()
    );
    assert!(!page.contains("src=") && !page.contains("<link"));

    let rust = folder.path().join("plan.rs");
    let rust = rust.to_str().expect("text");
    assert_eq!(run(&["export", &plan, "--rust", rust]).code, 0);
    assert_eq!(run(&["export", &plan, "--rust", rust, "--check"]).code, 0);
    let text = std::fs::read_to_string(rust).expect("written");
    assert!(text.contains("Promises: 0 to 300 Hz within 0.01 dB") && text.contains("Checksum"));
    std::fs::write(rust, text.replacen("ratio: ", "ratio: 1", 1)).expect("written");
    let stale = run(&["export", &plan, "--rust", rust, "--check"]);
    assert_eq!(stale.code, 1);
    assert!(
        stale.stdout.contains("plan.rs:") && stale.stdout.contains("not current"),
        "{}",
        stale.stdout
    );

    let table = folder.path().join("table.md");
    let table = table.to_str().expect("text");
    let ran = run(&["compare", &plan, &plan, "--json", "--markdown", table]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert_eq!(json(&ran)["pass"], true);
    assert!(std::fs::read_to_string(table).expect("written").contains("within tolerance"));
}

#[test]
fn compare_gates() {
    let (folder, plan) = folder();
    let text = std::fs::read_to_string(&plan).expect("a plan");
    let worse = write(
        folder.path(),
        "worse.toml",
        &text
            .replacen("ratio = 10\n", "ratio = 5\n", 1)
            .replace("output_rate_hz", "# output_rate_hz"),
    );
    let ran = run(&["compare", &plan, &worse, "--json"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    let found = json(&ran);
    assert_eq!(found["pass"], false);
    let rows = found["rows"].as_array().expect("rows");
    assert!(
        rows.iter().any(|r| r["name"] == "ratio" && r["stage"] == "FIR 1" && r["pass"] == false)
    );
    // A tolerance file: a known key, an unknown one, a negative value.
    let free = write(folder.path(), "free.toml", "structure = \"free\"\nalias_db = 1000.0\n");
    let ran = run(&["compare", &plan, &worse, "--tolerance", &free, "--json"]);
    assert_eq!(ran.code, 1);
    let rows = json(&ran)["rows"].as_array().expect("rows").clone();
    assert!(rows.iter().any(|r| r["name"] == "alias_db" && r["pass"] == true));
    for (text, wants) in [
        ("alais_db = 1.0\n", ["unknown key `alais_db`", "`alias_db`"]),
        ("alias_db = -1.0\n", ["tolerance.toml:1: alias_db", "-1"]),
        ("structure = \"loose\"\n", ["tolerance.toml:1", "loose"]),
    ] {
        let tolerance = write(folder.path(), "tolerance.toml", text);
        let ran = run(&["compare", &plan, &plan, "--tolerance", &tolerance]);
        assert_eq!(ran.code, 2, "{text}");
        assert!(wants.iter().all(|w| ran.stderr.contains(w)), "{}", ran.stderr);
    }
}

/// A recorded capture for both plans, with all its channels.
#[test]
fn compare_on_a_capture() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).to_str().expect("text").to_owned();
    std::fs::write(at("motion.csv"), "t_s,x_m\n0,0\n8,1e-6\n").expect("written");
    let simulated = quietgap()
        .args([
            "simulate",
            "vault-two-bridge",
            "--motion",
            &at("motion.csv"),
            "--out",
            &at("c.npy"),
        ])
        .args(["--seconds", "6"])
        .output()
        .expect("runs");
    assert!(simulated.status.success());
    let ran = run(&[
        "compare",
        "vault-two-bridge",
        "vault-two-bridge",
        "--capture",
        &at("c.npy"),
        "--json",
    ]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let readings = json(&ran)["readings"]["compared"].as_u64().expect("a number");
    assert!(readings >= 2 * 25, "{readings}");
    // Too short, of other channels.
    let short = run(&["compare", "vault-six-axis", "vault-six-axis", "--capture", &at("c.npy")]);
    assert_eq!(short.code, 2);
    assert!(short.stderr.contains("channels"), "{}", short.stderr);
}

/// Plans that fail: the line names the stage and the number.
#[test]
fn failures_name_stage_and_number() {
    let (folder, plan) = folder();
    let text = std::fs::read_to_string(&plan).expect("a plan");
    let first = text.lines().position(|l| l == "taps = [").expect("taps") + 1;
    let second = text.lines().skip(first).position(|l| l == "taps = [").expect("taps") + first + 1;
    let tap = |line: usize| {
        let row = text.lines().nth(line).expect("a line");
        row.trim().split(',').next().expect("a tap").to_owned()
    };
    let change = |line: usize, to: &str| {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        lines[line] = lines[line].replacen(&tap(line), to, 1);
        lines.join("\n")
    };
    let cases = [
        // One tap unlike its mirror.
        (change(second, "4711"), "taps and their mirror", "FIR 2", vec!["tap 0 is 4711"]),
        // Half the CIC's order: aliases at its output.
        (
            text.replace("order = 3", "order = 1"),
            "alias rejection",
            "CIC",
            vec!["Hz off the carrier"],
        ),
        // A register too narrow for a CIC of order 6.
        (
            text.replace("order = 3", "order = 6"),
            "the core takes it",
            "CIC",
            vec!["CIC register bits", "64"],
        ),
        (text.replace("delay_s = 0.008", "delay_s = 0.004"), "delay", "FIR 2", vec!["FIR 2 0.00"]),
        (text.replace("pass_db = 0.01", "pass_db = 0.000001"), "pass band", "FIR", vec!["dB at"]),
        (
            text.replace("delay_s = 0.008", "instructions_per_sample = 1.0"),
            "instructions per sample",
            "front end",
            vec!["on a m7"],
        ),
        (
            text.clone()
                + "\n[[line]]\nname = \"lamp\"\nfrequency_hz = 100450.0\nreject_db = 80.0\n",
            "rejection of lamp",
            "FIR 2",
            vec!["100450 Hz comes out at 450"],
        ),
        // Twice the gain in every stage, until a word overflows.
        (
            text.replace("scale_bits = 30", "scale_bits = 26"),
            "the core takes it",
            "FIR 1",
            vec!["worst-case word"],
        ),
    ];
    for (text, name, stage, wants) in cases {
        let path = write(folder.path(), "bad.toml", &text);
        let ran = run(&["check", &path, "--json"]);
        assert_eq!(ran.code, 1, "{name}: {}", ran.stderr);
        let found = json(&ran);
        let limits = found["limits"].as_array().expect("limits");
        let line =
            limits.iter().find(|l| l["name"] == name).unwrap_or_else(|| panic!("{name}: {found}"));
        assert_eq!(line["pass"], false, "{line}");
        assert!(line["stage"].as_str().expect("text").starts_with(stage), "{line}");
        assert!(line["value"].is_number() && line["limit"].is_number(), "{line}");
        let why = line["why"].as_str().expect("text");
        assert!(wants.iter().all(|w| why.contains(w)), "{why}");
        assert!(ran.stderr.contains(why), "{}", ran.stderr);
    }
    // What cannot be read as a plan is bad input.
    for (text, wants) in [
        (text.replace("order = 3", "order = 7"), "bad.toml:5: order: is 7, allowed 1 to 6"),
        (text.replace("order = 3", "ordre = 3"), "nearest known key: `order`"),
        (text.replace("rate_hz = 1000000.0\n", ""), "rate_hz: not given"),
        (text.replace("code_bits = 24", ""), "code_bits: not given"),
        (
            text.replace("register_bits = 64", "register_bits = 65"),
            "register_bits: is 65, allowed 64 or 128",
        ),
        (
            text.replace("output_rate_hz = 1000.0", "output_rate_hz = 999.0"),
            "output_rate_hz: is 999",
        ),
    ] {
        let path = write(folder.path(), "bad.toml", &text);
        let report = folder.path().join("bad.html");
        let ran = run(&["check", &path, "--report", report.to_str().expect("text")]);
        assert_eq!(ran.code, 2, "{wants}: {}", ran.stdout);
        assert!(ran.stderr.contains(wants), "{}", ran.stderr);
        assert!(!report.exists());
    }
}

/// What a command is given that it has no use for, or the wrong kind of file: exit 2.
#[test]
fn wrong_kinds_are_refused() {
    let (folder, plan) = folder();
    let out = folder.path().join("out.rs");
    let out = out.to_str().expect("text");
    for line in [
        &["export", "vault-six-axis", "--sensor", "vault-two-bridge", "--rust", out][..],
        &["export", "vault-six-axis", "--sensor", "none", "--rust", out],
        &["check", "vault-six-axis", "--sensor", "vault-six-axis"],
    ] {
        let ran = run(line);
        assert_eq!(ran.code, 2, "{line:?}: {}", ran.stderr);
        assert!(ran.stderr.contains("is a sensor itself"), "{}", ran.stderr);
    }
    assert!(!std::path::Path::new(out).exists());
    let output = quietgap().args(["cycles", &plan]).output().expect("it starts");
    let error = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.contains("is a plan file, where a sensor file is wanted"), "{error}");
    // Ratios of 1e8 in all, and one step more.
    for (last, code) in [(1000, 0), (1001, 2)] {
        let fir = |ratio| format!("[[fir]]\nratio = {ratio}\nscale_bits = 0\ntaps = [1]\n");
        let head = "order = 1\nratio = 25\nrate_hz = 1e6\ncarrier_hz = 1e5\ncode_bits = 24\n";
        let path = write(folder.path(), "long.toml", &[head, &fir(4000), &fir(last)].concat());
        let ran = run(&["export", &path, "--rust", out]);
        assert_eq!(ran.code, code, "{}", ran.stderr);
        let wants = "long.toml:2: ratio: the ratios make 1.001e8 in all, allowed at most 1e8";
        assert_eq!(ran.stderr.contains(wants), code == 2, "{}", ran.stderr);
    }
    // The same lines with other ends are not the same file.
    let text = std::fs::read_to_string(out).expect("exported");
    let path = folder.path().join("long.toml");
    let path = path.to_str().expect("text");
    write(
        folder.path(),
        "long.toml",
        "order = 1\nratio = 25\nrate_hz = 1e6\ncarrier_hz = 1e5\ncode_bits = 24\n",
    );
    assert_eq!(run(&["export", path, "--rust", out]).code, 0);
    assert_eq!(run(&["export", path, "--rust", out, "--check"]).code, 0);
    let exported = std::fs::read_to_string(out).expect("exported");
    assert_ne!(exported, text);
    std::fs::write(out, exported.replace('\n', "\r\n")).expect("written");
    let ran = run(&["export", path, "--rust", out, "--check"]);
    assert_eq!((ran.code, ran.stdout.contains("line ends differ")), (1, true), "{}", ran.stdout);
}

/// A sensor's readout as a package: complete, current, written over only where it is one of ours; of a plan alone
/// none is made.
#[test]
fn exported_packages() {
    let (folder, plan) = folder();
    let at = |name: &str| folder.path().join(name).to_str().expect("text").to_owned();
    let package = at("board");
    let export =
        |more: &[&str]| run(&[&["export", "vault-two-bridge", "--crate", &package], more].concat());
    let ran = export(&[]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    for file in ["Cargo.toml", "src/lib.rs", "src/settings.rs"] {
        let is = std::fs::read_to_string(folder.path().join("board").join(file)).expect("written");
        let committed = Path::new(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../benches/cortex-m/boards/two-bridge"
        ));
        assert_eq!(is, std::fs::read_to_string(committed.join(file)).expect("committed"), "{file}");
    }
    assert_eq!(export(&["--check"]).code, 0);
    // A line of one file is another: told, and mended by writing again.
    let library = write(folder.path(), "board/src/lib.rs", "#![no_std]\n");
    let ran = export(&["--check"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    assert!(ran.stdout.contains("lib.rs:1: is not current"), "{}", ran.stdout);
    assert_eq!(export(&[]).code, 0);
    assert!(std::fs::read_to_string(library).expect("written").contains("pub struct Board"));
    // A package of somebody's own.
    let theirs = "[package]\nname = \"theirs\"\n";
    let manifest = write(folder.path(), "board/Cargo.toml", theirs);
    let ran = export(&[]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("is not made by `quietgap filter export`"), "{}", ran.stderr);
    assert_eq!(std::fs::read_to_string(manifest).expect("theirs"), theirs);
    // No bridges in a plan; a file where the folder should be; neither or both of the two.
    let elsewhere = at("elsewhere");
    let ran = run(&["export", &plan, "--crate", &elsewhere]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("--crate takes a sensor file"), "{}", ran.stderr);
    assert!(!Path::new(&elsewhere).exists());
    assert_eq!(run(&["export", "vault-two-bridge", "--crate", &plan]).code, 2);
    assert_eq!(run(&["export", "vault-two-bridge"]).code, 2);
    let both = ["export", "vault-two-bridge", "--crate", &elsewhere, "--rust", &elsewhere];
    assert_eq!(run(&both).code, 2);
    assert!(!Path::new(&elsewhere).exists());
}

/// Bad specifications: exit 2, nothing written. Specifications that cannot be met: exit 1, nothing
/// written, the line, by how much, the nearest.
#[test]
fn bad_specifications() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("plan.toml");
    let out = out.to_str().expect("text");
    let good = WORKLOADS[2].1;
    for (from, to, wants) in [
        ("schema = 1", "schema = 2", "spec.toml:1: schema: is 2, allowed 1 to 1"),
        ("pass_hz = 300", "pass_hz = -300", "spec.toml:7: mask.pass_hz: is -300"),
        ("pass_hz = 300", "pass_hz = nan", "mask.pass_hz"),
        ("pass_hz = 300", "pass_hz = \"300\"", "spec.toml:7"),
        ("pass_hz", "pas_hz", "nearest known key: `pass_hz`"),
        ("carrier_hz = 1e5", "carrier_hz = 5e5", "spec.toml:3: carrier_hz: is 500000"),
        ("channels = 6", "channels = 33", "spec.toml:5: channels: is 33, allowed 1 to 32"),
        ("channels = 6", "code_bits = 7", "spec.toml:5: code_bits: is 7, allowed 8 to 32"),
        ("channels = 6", "tap_bits = 33", "spec.toml:5: tap_bits: is 33, allowed 8 to 32"),
        ("channels = 6", "orders = [0]", "spec.toml:5: orders: are [0]"),
        ("channels = 6", "orders = []", "spec.toml:5: orders: are []"),
        ("channels = 6", "method = \"butterworth\"", "butterworth"),
        ("channels = 6", "register_bits = 32", "register_bits: is 32, allowed 64 or 128"),
        ("delay_s = 0.008", "cpu = \"m0\"", "spec.toml:11: mask.cpu: is `m0`, allowed m4, m7, m33"),
        ("alias_db = 100", "alias_db = 201", "spec.toml:10: mask.alias_db: is 201"),
    ] {
        let text = good.replacen(from, to, 1);
        assert_ne!(text, good, "{from}");
        let path = write(folder.path(), "spec.toml", &text);
        let ran = run(&["design", &path, "--out", out]);
        assert_eq!(ran.code, 2, "{to}: {}", ran.stdout);
        assert!(ran.stderr.contains(wants), "{to}: {}", ran.stderr);
        assert!(!Path::new(out).exists(), "{to}");
    }
    // The last good and the first bad: 0.0066 s of delay can be had, half of that cannot.
    let path = write(folder.path(), "spec.toml", &good.replace("0.008", "0.002"));
    let ran = run(&["design", &path, "--out", out, "--json"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    let found = json(&ran);
    assert_eq!((&found["line"], &found["asked"]), (&"mask.delay_s".into(), &0.002.into()));
    let nearest = found["nearest"].as_f64().expect("a number");
    assert!(nearest > 0.004 && nearest < 0.008, "{nearest}");
    assert!(ran.stderr.contains("nothing is written") && !Path::new(out).exists());
    // An output on its own specification, or in no folder.
    assert_eq!(run(&["design", &path, "--out", &path]).code, 2);
    let nowhere = folder.path().join("no/plan.toml");
    let path = write(folder.path(), "spec.toml", good);
    assert_eq!(run(&["design", &path, "--out", nowhere.to_str().expect("text")]).code, 2);
    // Not there at all.
    assert_eq!(run(&["check", "no-such-plan.toml"]).code, 2);
    assert_eq!(run(&["export", "no-such-plan.toml", "--rust", out]).code, 2);
}
