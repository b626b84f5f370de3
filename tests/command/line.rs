//! What the command line promises (design brief, sections 4 and 5): one JSON object with its
//! keys, exit codes by the limits, the same bytes for the same seed and for any number of
//! threads, files that are each other's inputs, a report that needs nothing from elsewhere.

use crate::bench::{fast_sensor, quietgap, span_s};
use quietgap_sim::instrument::BUILT_IN;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::process::{Output, Stdio};

/// A folder with a sensor file and a motion file.
pub struct Bench(tempfile::TempDir);

const MOTION: &str = "t_s,x_m,phi_rad\n0,0,0\n0.01,1e-6,2e-6\n0.03,2e-6,-1e-6\n0.06,1e-6,1e-6\n";

impl Bench {
    pub fn new() -> Self {
        let bench = Self(tempfile::tempdir().expect("a folder"));
        bench.put("sensor.toml", &fast_sensor());
        bench.put("motion.csv", MOTION);
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn put(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("written");
    }

    pub fn bytes(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    pub fn text(&self, name: &str) -> String {
        String::from_utf8(self.bytes(name)).expect("text")
    }

    pub fn run(&self, line: &str) -> Output {
        let words: Vec<&str> = line.split_whitespace().collect();
        quietgap().current_dir(self.0.path()).args(words).output().expect("it starts")
    }

    /// Runs a command that must end with `code`.
    pub fn ends(&self, code: i32, line: &str) -> Output {
        let output = self.run(line);
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{line}\n{error}");
        output
    }

    /// The one JSON object of a command that must end with `code`; text is on standard error.
    pub fn json(&self, code: i32, line: &str) -> Value {
        let output = self.ends(code, &format!("{line} --json"));
        let text = String::from_utf8(output.stdout).expect("text");
        let value: Value =
            serde_json::from_str(&text).unwrap_or_else(|e| panic!("{line}: {e}\n{text}"));
        assert!(value.is_object(), "{line}: {text}");
        assert_eq!(text.matches('\n').count(), 1, "{line}: an object on one line\n{text}");
        assert!(text.ends_with('\n') && !output.stderr.is_empty(), "{line}");
        assert!(!String::from_utf8_lossy(&output.stderr).contains('{'), "{line}: JSON is doubled");
        value
    }

    /// Columns of a CSV file, by name.
    pub fn column(&self, file: &str, name: &str) -> Vec<f64> {
        let text = self.text(file);
        let mut lines = text.lines();
        let header = lines.next().expect("a header");
        let n = header.split(',').position(|h| h == name).unwrap_or_else(|| panic!("{header}"));
        let cell = |line: &str| line.split(',').nth(n).and_then(|c| c.parse().ok());
        lines.map(|line| cell(line).unwrap_or_else(|| panic!("{file}, {name}: {line}"))).collect()
    }
}

fn keys(value: &Value) -> BTreeSet<&str> {
    value.as_object().expect("an object").keys().map(String::as_str).collect()
}

/// Seconds of a short run of a built-in sensor that leaves some readings.
fn short(name: &str) -> f64 {
    span_s(name).ceil() + 1.0
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

const FLAGS: [&str; 14] = [
    "carrier_phase",
    "unsettled",
    "silent",
    "readings",
    "settling",
    "over_range",
    "saturated",
    "memory",
    "carrier_weak",
    "carrier_lost",
    "quadrature",
    "bridge_range",
    "axes_residual",
    "acquisition",
];

fn check_health(health: &Value) {
    assert_eq!(keys(health), BTreeSet::from(FLAGS));
    assert!(health.as_object().unwrap().values().all(Value::is_u64), "{health}");
}

#[test]
fn verify_json() {
    let bench = Bench::new();
    let seconds = short("vault-two-bridge");
    let simulate = "simulate vault-two-bridge --motion motion.csv --out c.npy --seconds";
    bench.ends(0, &format!("{simulate} {seconds}"));
    for (name, options, channels, axes, output) in [
        ("vault-two-bridge", "", 2, 2, 10.0),
        ("vault-six-axis", "", 7, 6, 10.0),
        ("vault-quarter-rate", "", 2, 2, 5.0),
        ("vault-two-bridge", "--motion motion.csv --seed 9", 2, 2, 10.0),
        // Without a truth.
        ("vault-two-bridge", "--capture c.npy", 2, 2, 10.0),
    ] {
        let truth = !options.contains("capture");
        let length = if truth { format!("--seconds {}", short(name)) } else { String::new() };
        let found = bench.json(0, &format!("verify {name} {options} {length}"));
        // Beside the brief's keys there is the sensor's name.
        let known = "schema command sensor samples channels rate_hz carrier_hz output_rate_hz seed \
                     axes limits health wall_s msamples_per_s pass";
        assert_eq!(keys(&found), known.split_whitespace().collect());
        assert_eq!(found["schema"], 1);
        assert_eq!(found["command"], "verify");
        assert_eq!(found["sensor"], name);
        assert_eq!(found["channels"], channels);
        let rate = if name.contains("quarter") { 320_000.0 } else { 800_000.0 };
        assert_eq!(number(&found["samples"]), short(name) * rate);
        assert_eq!(number(&found["rate_hz"]), rate);
        assert_eq!(number(&found["carrier_hz"]), 80_000.0);
        assert_eq!(number(&found["output_rate_hz"]), output);
        assert_eq!(found["seed"], if options.contains("seed") { 9 } else { 1 });
        assert!(number(&found["wall_s"]) > 0.0 && number(&found["msamples_per_s"]) > 0.0);
        assert_eq!(found["pass"], true);
        check_health(&found["health"]);
        let settled = number(&found["health"]["readings"]) - number(&found["health"]["settling"]);
        assert!(settled >= 1.0);

        let list = found["axes"].as_array().expect("a list");
        assert_eq!(list.len(), axes);
        for axis in list {
            let known = "name unit lsb rms_vs_truth rms_vs_ideal max_vs_ideal bias_vs_ideal \
                         own_density_ratio readings";
            // A figure without a value is left out, and named with the reason.
            let without = axis.get("left_out").map_or(BTreeSet::new(), keys);
            let mut all: BTreeSet<&str> =
                known.split_whitespace().filter(|key| !without.contains(key)).collect();
            all.extend(axis.get("left_out").map(|_| "left_out"));
            assert_eq!(keys(axis), all);
            let rotation = ["theta", "eta", "phi"].contains(&axis["name"].as_str().unwrap());
            assert_eq!(axis["unit"], if rotation { "rad" } else { "m" });
            assert_eq!(number(&axis["lsb"]), 1e-18);
            let [rms, max, bias] =
                ["rms_vs_ideal", "max_vs_ideal", "bias_vs_ideal"].map(|key| number(&axis[key]));
            assert!(0.0 < rms && rms <= max && bias.abs() <= rms * (1.0 + 1e-9), "{axis}");
            assert_eq!(axis["rms_vs_truth"].is_number(), truth, "{axis}");
            assert_eq!(number(&axis["readings"]), settled);
        }
        let limits = found["limits"].as_array().expect("a list");
        assert!(limits.len() >= 6);
        for limit in limits {
            assert_eq!(keys(limit), "name value limit unit pass why".split(' ').collect());
            assert_eq!(limit["pass"], number(&limit["value"]) <= number(&limit["limit"]));
            assert!(limit["why"].as_str().is_some_and(|why| why.len() > 10), "{limit}");
            let unit = limit["unit"].as_str().unwrap();
            assert!(limit["name"].as_str().unwrap().ends_with(if unit.is_empty() {
                "ratio"
            } else {
                unit
            }));
        }
    }
}

/// Every limit, set to what was measured and then to a tenth of it.
#[test]
fn each_limit_decides_the_exit_code() {
    let bench = Bench::new();
    // The fast sensor's readings are noisier than the vault's: no limit of its own.
    let text = fast_sensor();
    let (before, after) = text.split_once("[limits]").expect("limits");
    let (_, plan) = after.split_once("[plan]").expect("a plan");
    let with = |limits: &str| format!("{before}[limits]\n{limits}\n[plan]{plan}");
    bench.put("s.toml", &with("rms_vs_truth_m = 1\nrms_vs_truth_rad = 1"));
    let line = "verify s.toml --seconds 0.05";
    let found = bench.json(0, line);
    let limits = found["limits"].as_array().unwrap();
    let names: BTreeSet<&str> = limits.iter().map(|l| l["name"].as_str().unwrap()).collect();
    assert_eq!(names, quietgap_sim::readout::limits::TABLE.iter().map(|l| l.name).collect());
    for limit in limits {
        let (name, value) = (limit["name"].as_str().unwrap(), number(&limit["value"]));
        assert!(value > 0.0, "{limit}");
        for (allowed, code) in [(value * (1.0 + 1e-9), 0), (value / 10.0, 1)] {
            bench.put("s.toml", &with(&format!("{name} = {allowed:e}")));
            let again = bench.json(code, line);
            assert_eq!(again["pass"], code == 0);
            // The others keep what they had, those without a default are not judged.
            for other in again["limits"].as_array().unwrap() {
                assert_eq!(other["pass"], code == 0 || other["name"] != name, "{name}: {other}");
            }
            let judged = again["limits"].as_array().unwrap().iter().find(|l| l["name"] == name);
            for (key, want) in [("value", value), ("limit", allowed)] {
                let found = number(&judged.unwrap()[key]);
                assert!((found - want).abs() <= 1e-12 * want, "{name}: {key} {found:e}");
            }
            // The same without JSON, in words.
            let text = bench.ends(code, line);
            let missed = String::from_utf8(text.stdout).unwrap().matches("MISSED").count();
            assert_eq!(missed, code as usize, "{name}");
        }
    }
    // A capture with nothing to judge by is no verdict.
    bench.ends(0, "simulate sensor.toml --motion motion.csv --seconds 0.01 --out c.npy");
    bench.put(
        "s.toml",
        &fast_sensor().replace("ratio = 160", "ratio = 4096").replace("output_", "# "),
    );
    bench.ends(2, "verify s.toml --capture c.npy");
}

#[test]
fn demodulate_and_simulate_json() {
    let bench = Bench::new();
    let made = bench.json(0, "simulate sensor.toml --motion motion.csv --out c.npy --seed 3");
    assert_eq!(made["command"], "simulate");
    assert_eq!(made["samples"], 48_000, "the motion ends at 0.06 s");
    assert_eq!(made["seed"], 3);
    for (options, rows) in [("", 299), ("--settling", 300), ("--ideal", 299), ("--threads 3", 299)]
    {
        let found = bench.json(0, &format!("demodulate sensor.toml c.npy --out r.csv {options}"));
        let known = "schema command sensor rows health wall_s msamples_per_s";
        assert_eq!(keys(&found), known.split(' ').collect());
        assert_eq!(found["schema"], 1);
        assert_eq!(found["command"], "demodulate");
        assert_eq!(found["rows"], rows, "{options}");
        assert!(number(&found["wall_s"]) > 0.0 && number(&found["msamples_per_s"]) > 0.0);
        check_health(&found["health"]);
        assert_eq!(found["health"]["readings"], 300);
        assert_eq!(found["health"]["settling"], 1);
        assert_eq!(bench.column("r.csv", "sample").len(), rows);
    }
}

#[test]
fn same_seed_same_bytes() {
    let bench = Bench::new();
    let capture = |options: &str| {
        let line =
            "simulate sensor.toml --motion motion.csv --seconds 0.02 --out c.npy --truth t.csv";
        bench.ends(0, &format!("{line} {options}"));
        (bench.bytes("c.npy"), bench.bytes("t.csv"))
    };
    let (one, truth) = capture("--seed 1");
    assert!(one.len() == 128 + 16_000 * 2 * 4);
    assert!(capture("--seed 1") == (one.clone(), truth.clone()));
    assert!(capture("") == (one.clone(), truth.clone()), "the default seed is 1");
    assert!(capture("--noise on").0 == one);
    let (two, same_truth) = capture("--seed 2");
    assert!(two != one, "another seed, other noise");
    assert!(same_truth == truth, "the motion file is the truth for any seed");
    assert!(capture("--seed 18446744073709551615").0 != one);
    let (quiet, _) = capture("--noise off");
    assert!(quiet != one);
    assert!(capture("--noise off --seed 2").0 == quiet, "without noise there is nothing to seed");
    // The vault's scenario is a random motion: it follows the seed, too.
    let figures = |seed: u64| {
        let seconds = short("vault-two-bridge");
        let line = format!("verify vault-two-bridge --seconds {seconds} --seed {seed}");
        bench.json(0, &line)["axes"].clone()
    };
    assert_eq!(figures(5), figures(5));
    assert_ne!(figures(5), figures(6));
}

/// No switch of the plant is idle.
#[test]
fn every_part_shows() {
    let bench = Bench::new();
    bench.put(
        "s.toml",
        &fast_sensor().replacen(
            "channel = 0",
            "channel = 0\nstray_f = [1e-13, 0.0]\ncross_coupling = { south = 0.02 }",
            1,
        ),
    );
    // Tilted far enough for the closed form of tilted plates to differ by a code.
    bench.put("tilted.csv", "t_s,x_m,phi_rad\n0,1e-4,5e-3\n0.02,2e-4,1e-2\n");
    let capture = |options: &str| {
        bench.ends(0, &format!("simulate s.toml --motion tilted.csv --out c.npy {options}"));
        bench.bytes("c.npy")
    };
    let whole = capture("");
    let names = quietgap_sim::simulation::plant::Parts::NAMES;
    let idle: Vec<_> =
        names.iter().filter(|name| capture(&format!("--without {name}")) == whole).collect();
    assert!(idle.is_empty(), "nothing changes without {idle:?}");
    let two = capture("--without jitter,white-noise");
    assert!(two == capture("--without jitter --without white-noise"));
    assert!(two != capture("--without jitter") && two != capture("--without white-noise"));
}

#[test]
fn threads_never_change_a_bit() {
    let bench = Bench::new();
    // A FIR stage, so that a cut has filters of two kinds to warm up.
    let stage = "[[plan.fir]]\nratio = 2\nscale_bits = 4\ntaps = [1, 3, 4, 4, 3, 1]\n";
    let text = fast_sensor().replace("output_rate_hz = 5000.0", "output_rate_hz = 2500.0");
    bench.put("s.toml", &(text + stage));
    bench.ends(0, "simulate s.toml --motion motion.csv --seconds 0.3 --out c.npy");
    for option in ["", "--settling"] {
        bench.ends(0, &format!("demodulate s.toml c.npy --out 1.csv {option}"));
        let one = bench.bytes("1.csv");
        // 240 000 frames: parts of 5120 to 30 080 of them, 8 to 47 parts.
        assert!(one.iter().filter(|b| **b == b'\n').count() > 740);
        for threads in [1, 2, 3, 16, 64] {
            let line = format!("demodulate s.toml c.npy --out n.csv --threads {threads} {option}");
            bench.ends(0, &line);
            assert!(bench.bytes("n.csv") == one, "{threads} threads {option}");
        }
    }
}

#[test]
fn ideal_is_close_to_core() {
    let bench = Bench::new();
    bench.ends(0, "simulate sensor.toml --motion motion.csv --out c.npy --truth t.csv");
    bench.ends(0, "demodulate sensor.toml c.npy --out core.csv");
    bench.ends(0, "demodulate sensor.toml c.npy --out ideal.csv --ideal");
    assert_ne!(bench.text("core.csv"), bench.text("ideal.csv"));
    let header = |name: &str| bench.text(name).lines().next().unwrap().to_owned();
    assert_eq!(header("core.csv"), header("ideal.csv"));
    let columns = "t_s,x_m,phi_rad,north_quadrature,south_quadrature,residual_m,health,sample";
    assert_eq!(header("core.csv"), columns);
    // Readings, and truth at the same instants, on the same lines.
    for exact in ["t_s", "sample"] {
        assert_eq!(bench.column("core.csv", exact), bench.column("ideal.csv", exact));
    }
    assert_eq!(bench.column("core.csv", "t_s"), bench.column("t.csv", "t_s"));
    for (name, own, truth) in [("x_m", 2.5e-13, 1e-7), ("phi_rad", 2.5e-11, 1e-5)] {
        let [core, ideal, true_values] =
            ["core.csv", "ideal.csv", "t.csv"].map(|file| bench.column(file, name));
        assert_eq!(core.len(), 299);
        for n in 0..core.len() {
            assert!((core[n] - ideal[n]).abs() < own, "{name} {n}: {} {}", core[n], ideal[n]);
            assert!((core[n] - true_values[n]).abs() < truth, "{name} {n}");
        }
    }
}

#[test]
fn readings_serve_as_motion() {
    let bench = Bench::new();
    let simulate =
        "simulate sensor.toml --noise off --without tilt,polarisation,offset,nonlinearity";
    let mut motion = "motion.csv".to_owned();
    for round in 0..2 {
        let readings = format!("{round}.csv");
        bench
            .ends(0, &format!("{simulate},actuation --motion {motion} --seconds 0.05 --out c.npy"));
        bench.ends(0, &format!("demodulate sensor.toml c.npy --out {readings}"));
        bench.ends(1, &format!("verify sensor.toml --motion {readings} --seconds 0.01"));
        motion = readings;
    }
    for (name, most) in [("x_m", 2e-10), ("phi_rad", 1e-8)] {
        let [first, second] = ["0.csv", "1.csv"].map(|file| bench.column(file, name));
        // Ends differ: readings start and end inside the run.
        for n in 5..first.len() - 5 {
            assert!((first[n] - second[n]).abs() < most, "{name} {n}: {} {}", first[n], second[n]);
        }
    }
}

#[test]
fn demo_leaves_readings_accuracy_and_noise() {
    let bench = Bench::new();
    let demo = format!("demo --seconds {} --out a/b", short("vault-two-bridge"));
    let printed = bench.json(0, &demo);
    assert_eq!(printed["command"], "demo");
    assert_eq!(printed["pass"], true);
    let mut names: Vec<_> = std::fs::read_dir(bench.path("a/b"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    let wanted = [
        "accuracy.json",
        "campaign",
        "hours.parquet",
        "noise.csv",
        "noise.csv.json",
        "noise.html",
        "readings.csv",
        "readings.csv.json",
        "report.html",
        "requirement.csv",
    ];
    assert_eq!(names, wanted);
    // Measured beside predicted, displacement and equivalent acceleration, where the run is long enough.
    let noise = printed["noise"].as_array().unwrap();
    for name in ["x_m", "phi_rad", "acceleration_m_per_s2"] {
        let row = noise.iter().rev().find(|row| row["name"] == name).expect(name);
        let ratio = row["measured_asd"].as_f64().unwrap() / row["predicted_asd"].as_f64().unwrap();
        assert!((0.6..1.6).contains(&ratio), "{row}");
    }
    assert!(bench.text("a/b/noise.html").contains("requirement"));
    let kept: Value = serde_json::from_str(&bench.text("a/b/accuracy.json")).unwrap();
    assert_eq!(kept, printed);
    let rows = bench.column("a/b/readings.csv", "x_m").len();
    assert_eq!(printed["axes"][0]["readings"], rows);

    // The report stands alone: nothing to load, no script but its own, no address but names of namespaces.
    let report = bench.text("a/b/report.html");
    assert!(report.starts_with("<!DOCTYPE html>") && report.trim_end().ends_with("</html>"));
    let small = report.to_lowercase();
    for loads in ["<link", "<img", "<iframe", "<object", "src=", "@import", "url("] {
        assert!(!small.contains(loads), "the report holds {loads}");
    }
    let figures = small.matches("<figure").count();
    assert_eq!(small.matches("<script>").count(), 1);
    assert_eq!(
        small.matches("<script class=\"lines\" type=\"application/json\">").count(),
        figures
    );
    assert_eq!(small.matches("<script").count(), 1 + figures);
    for reaches in ["fetch(", "xmlhttp", "websocket", "import(", "eval(", "innerhtml"] {
        assert!(!small.contains(reaches), "the page's script holds {reaches}");
    }
    // What can be followed is a figure to keep, within the page itself.
    let links = small.matches("href=").count();
    assert_eq!(links, small.matches("href=\"data:image/svg+xml;").count());
    assert_eq!(links, small.matches("<figure").count());
    for (at, _) in small.match_indices("://") {
        let start = small[..at].rfind('"').map_or(0, |quote| quote + 1);
        assert!(small[..start].ends_with("xmlns=\""), "{}", &small[start..at + 30]);
    }
    for limit in printed["limits"].as_array().unwrap() {
        assert!(report.contains(limit["name"].as_str().unwrap()), "{limit}");
    }
    for text in ["within all limits", "<svg", "settling", "Seed 1"] {
        assert!(report.contains(text), "the report lacks {text}");
    }

    // Again into the same folder, without JSON: the same readings; another seed, others.
    let readings = bench.bytes("a/b/readings.csv");
    let words = bench.ends(0, &demo);
    assert!(String::from_utf8(words.stdout).unwrap().contains("rms_vs_ideal_m"));
    assert!(words.stderr.is_empty(), "no bar where there is no terminal");
    assert!(bench.bytes("a/b/readings.csv") == readings);
    bench.ends(0, &format!("{demo} --seed 2"));
    assert!(bench.bytes("a/b/readings.csv") != readings);
}

#[test]
fn no_colour_where_none_is_wanted() {
    let bench = Bench::new();
    for line in [
        "--help",
        "verify --help",
        "verify --nonsense",
        "verify none",
        "verify sensor.toml --seconds 0.01",
    ] {
        for (name, value) in [("NO_COLOR", "1"), ("TERM", "dumb")] {
            let output = quietgap()
                .current_dir(bench.0.path())
                .args(line.split(' '))
                .env(name, value)
                .output()
                .unwrap();
            let both = [output.stdout, output.stderr].concat();
            assert!(!both.is_empty() && !both.contains(&0x1b), "{line} with {name}");
        }
    }
}

/// By its own name, whatever its package is called.
#[test]
fn version_is_the_commands() {
    let told = quietgap().arg("--version").output().expect("it starts");
    let version = concat!("quietgap ", env!("CARGO_PKG_VERSION"), "\n");
    assert_eq!(String::from_utf8_lossy(&told.stdout), version);
}

/// A reader that goes away, as `head` does, is no fault of the run: the exit code stays.
#[test]
fn closed_pipes_do_no_harm() {
    let bench = Bench::new();
    let mut faults = Vec::new();
    let verify = format!("verify vault-two-bridge --seconds {}", short("vault-two-bridge"));
    let json = format!("{verify} --json");
    for (line, code) in [
        ("--help", 0),
        ("--version", 0),
        (verify.as_str(), 0),
        (json.as_str(), 0),
        ("verify sensor.toml --seconds 0.01 --json", 1),
        ("simulate sensor.toml --motion motion.csv --out c.npy --json", 0),
        ("demodulate sensor.toml c.npy --out r.csv", 0),
        ("demodulate sensor.toml c.npy --out r.csv --json", 0),
        ("demodulate sensor.toml none.npy --out r.csv", 2),
        ("verify none", 2),
        ("verify --nonsense", 2),
    ] {
        for closed in ["output", "error"] {
            let (reader, writer) = std::io::pipe().expect("a pipe");
            drop(reader);
            let mut command = quietgap();
            command.current_dir(bench.0.path()).args(line.split(' '));
            match closed {
                "output" => command.stdout(writer).stderr(Stdio::null()),
                _ => command.stderr(writer).stdout(Stdio::null()),
            };
            let status = command.status().expect("it starts");
            if status.code() != Some(code) {
                faults.push(format!("{line}, standard {closed} closed: {status}, not {code}"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn built_in_sensors_are_files_too() {
    let bench = Bench::new();
    let (name, text) = BUILT_IN[0];
    bench.put("copy.toml", text);
    let axes = |sensor: &str| {
        bench.json(0, &format!("verify {sensor} --seconds {}", short(name)))["axes"].clone()
    };
    assert_eq!(axes(name), axes("copy.toml"));
    // A path in another folder.
    std::fs::create_dir(bench.path("sub")).unwrap();
    bench.put("sub/copy.toml", text);
    assert_eq!(axes("copy.toml"), axes("sub/copy.toml"));
}
