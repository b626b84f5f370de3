//! `fringes` and `separate` from outside: one motion by bridges and light, what is told of it, and bad input.

use crate::line::Bench;
use quietgap_sim::instrument::{BUILT_IN, Sensor};
use serde_json::Value;
use std::path::Path;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// A swing of some fringes over five minutes.
fn motion() -> String {
    let mut text = "t_s,x_m,phi_rad\n".to_owned();
    for n in 0..=600 {
        let t = f64::from(n) * 0.5;
        text += &format!("{t},{:e},{:e}\n", 2e-6 * (t / 6.0).sin(), 3e-5 * (t / 11.0).sin());
    }
    text
}

/// Both sensors of the vault see the same motion; what they tell of it, and of themselves.
#[test]
fn one_motion_by_bridges_and_light() {
    let bench = Bench::new();
    bench.put("swing.csv", &motion());
    bench.json(
        0,
        "simulate vault-two-bridge --level phasor --motion swing.csv --out b.parquet --detectors d.npy --truth t.csv",
    );
    let told = bench
        .json(0, "fringes vault-two-bridge d.npy --stretch 60 --out f.parquet --report f.html");
    assert_eq!(told["command"], "fringes");
    assert!((number(&told["fringe_m"]) - 6.3299e-7 / 2.0).abs() < 1e-15);
    assert_eq!(told["pass"], true);
    for beam in told["beams"].as_array().unwrap() {
        assert!(number(&beam["uncorrected_m"]) > 5e-10);
        for left in beam["periodic_m"].as_array().unwrap() {
            assert!(number(left) < 2e-11, "{left}");
        }
        assert!(number(&beam["intensity_rejection_db"]) > 20.0);
    }
    // Without the drift that a stretch does not follow, points scatter as detectors, shot noise and rounding say.
    let still: Vec<&str> =
        BUILT_IN[0].1.lines().filter(|l| !l.starts_with("drift_per_hour")).collect();
    bench.put("still.toml", &still.join("\n"));
    bench.json(
        0,
        "simulate still.toml --level phasor --motion swing.csv --out s.csv --detectors s.npy",
    );
    let told = bench.json(0, "fringes still.toml s.npy --stretch 60 --out g.csv");
    for beam in told["beams"].as_array().unwrap() {
        let parts = told["noise"]["contributors"].as_array().unwrap();
        let own = parts.iter().filter(|p| p["name"] != "laser frequency");
        let own = own.map(|p| number(&p["density_m_per_rthz"]).powi(2)).sum::<f64>().sqrt();
        let ratio = number(&beam["scatter_m_per_rthz"]) / own;
        assert!((0.7..1.5).contains(&ratio), "{ratio}");
    }
    let report = bench.text("f.html");
    assert!(report.contains("<svg") && report.contains("offsets"));
    for column in ["x_m", "phi_rad"] {
        let line =
            format!("separate b.parquet f.parquet --column {column} --out n.csv --report n.html");
        let apart = bench.json(0, &line);
        let a = &apart["alignments"][0];
        let scale = number(&a["scale"]["value"]);
        assert!((scale - 1.0).abs() < 1e-3, "{column}: {scale}");
        assert!(number(&a["delay_s"]["value"]).abs() < 5e-3, "{column}");
        assert_eq!(a["notes"].as_array().unwrap().len(), 0, "{column}: {}", a["notes"]);
        let bands = apart["bands"].as_array().unwrap();
        let last = bands.last().unwrap();
        // Half a nanometre against tens of picometres.
        let [one, two] = [0, 1].map(|n| number(&last["noises"][n]["asd"]));
        assert!(two < 0.3 * one, "{column}: {one:e} {two:e}");
        assert!(bench.text("n.html").contains("coherence"));
        assert!(bench.text("n.csv").starts_with("frequency_hz,coherence,whole_1_asd"));
    }
    // Against the other's column, or the truth turned over.
    let swapped = bench.ends(2, "separate b.parquet f.parquet --column x_m --other phi_rad --json");
    let error = String::from_utf8(swapped.stderr).unwrap();
    assert!(error.contains("do not see the same motion"), "{error}");
    let turned: Vec<String> = bench
        .text("t.csv")
        .lines()
        .enumerate()
        .map(|(n, line)| match line.split_once(',') {
            Some((t, rest)) if n > 0 => {
                let x: f64 = rest.split(',').next().unwrap().parse().unwrap();
                // Micrometres, and the sign of the other side; its clock is 100 ppm fast.
                let t: f64 = t.parse().unwrap();
                format!("{},{:e}", t * (1.0 + 1e-4), -1e6 * x)
            }
            _ => "t_s,x_m".to_owned(),
        })
        .collect();
    bench.put("turned.csv", &(turned.join("\n") + "\n"));
    let apart = bench.json(0, "separate b.parquet turned.csv --column x_m");
    let notes = apart["alignments"][0]["notes"].to_string();
    let clock = number(&apart["alignments"][0]["clock"]["value"]);
    assert!((clock + 1e-4).abs() < 1e-5, "{clock:e}");
    for word in ["sign", "10^-6", "ppm apart"] {
        assert!(notes.contains(word), "{word}: {notes}");
    }
}

/// The light's path grows with the temperature: a reading of it follows by the file's coefficient over the passes, and the
/// bridges' reading, which no light meets, does not.
#[test]
fn temperature_reaches_the_light() {
    let bench = Bench::new();
    let text = BUILT_IN[0]
        .1
        .replace("dead_path_m = 0.12", "dead_path_m = 0.12\npath_m_per_k = 4.0e-8")
        .replace("temperature_k_per_rthz = 1.0e-4", "temperature_k_per_rthz = 1.0e-2");
    bench.put("warm.toml", &text);
    bench.json(
        0,
        "simulate warm.toml --level phasor --seconds 900 --start-rad 2e-5 --out b.parquet --detectors d.npy --auxiliary a.parquet",
    );
    bench.json(0, "fringes warm.toml d.npy --stretch 60 --out f.parquet");
    let told = bench.json(
        0,
        "attribute f.parquet a.parquet --column x_m --channel temperature_k --form plain --to-hz 1",
    );
    let term = &told["terms"][0];
    assert_eq!(term["channel"], "temperature_k", "{told}");
    let (value, half) =
        (number(&term["coefficient"]), number(&term["high"]) - number(&term["coefficient"]));
    assert!((value - 4e-8 / 2.0).abs() < half.min(2e-10), "{value} +- {half}");
    let told = bench.json(
        0,
        "attribute b.parquet a.parquet --column x_m --channel temperature_k --form plain --to-hz 1 --all",
    );
    // Noise alone: a standard uncertainty of 9e-10.
    let value = number(&told["terms"][0]["coefficient"]);
    assert!(value.abs() < 4e-9, "{value}");
}

#[test]
fn bad_input_is_refused() {
    let bench = Bench::new();
    bench.put("swing.csv", &motion());
    bench.json(0, "simulate vault-two-bridge --level phasor --motion swing.csv --seconds 60 --out b.csv --detectors d.npy");
    for (line, words) in [
        ("fringes vault-six-axis d.npy --out o.csv", &["no [interferometer]"][..]),
        ("fringes vault-two-bridge - --out o.csv", &["allowed a file"]),
        ("fringes vault-two-bridge none.npy --out o.csv", &["none.npy"]),
        ("fringes vault-two-bridge d.npy --out d.npy", &["an input"]),
        ("fringes vault-two-bridge d.npy --out - --json", &["standard output"]),
        ("fringes vault-two-bridge d.npy --out o.csv --stretch 0", &["--stretch 0", "0.01"]),
        ("fringes vault-two-bridge d.npy --out o.csv --ellipse given", &["no ellipse is given"]),
        (
            "simulate vault-six-axis --level phasor --motion swing.csv --out o.csv --detectors l.npy",
            &["no [interferometer]"],
        ),
        ("separate b.csv b.csv --column y_m", &["no column `y_m`", "x_m"]),
        ("separate b.csv b.csv --column x_m --other x_m --other x_m", &["--other", "allowed 1"]),
        ("separate b.csv b.csv --column x_m --to-hz 5", &["--to-hz 5", "4.2"]),
        ("separate b.csv b.csv --column x_m --confidence 1", &["--confidence"]),
        ("separate b.csv b.csv --column x_m --out b.csv", &["an input"]),
    ] {
        let error = String::from_utf8(bench.ends(2, line).stderr).unwrap();
        assert!(error.starts_with("error: "), "{line}: {error}");
        for word in words {
            assert!(error.contains(word), "{line}: no {word} in {error}");
        }
        assert!(!bench.path("o.csv").exists() && !bench.path("l.npy").exists(), "{line}");
    }
}

/// Of the section: last good, first bad, what the refusal names.
#[test]
fn the_section_is_checked() {
    let text = BUILT_IN[0].1;
    let parse =
        |text: &str| Sensor::parse(Path::new("vault.toml"), text).map_err(|e| e.to_string());
    for (from, good, bad, words) in [
        (
            "wavelength_m = 6.3299e-7",
            "wavelength_m = 1e-7",
            "wavelength_m = 632.99",
            &["wavelength_m", "0.00002"][..],
        ),
        ("passes = 2", "passes = 16", "passes = 17", &["passes", "1 to 16"]),
        ("passes = 2", "passes = 1", "passes = 0", &["passes", "1 to 16"]),
        (
            "output_rate_hz = 10.0\naxes",
            "output_rate_hz = 2000.0\naxes",
            "output_rate_hz = 300.0\naxes",
            &["output_rate_hz", "whole number"],
        ),
        ("bits = 18\n", "bits = 8\n", "bits = 7\n", &["interferometer.bits", "8 to 32"]),
        (
            "axes = [\"x\", \"phi\"]",
            "axes = [\"x\"]",
            "axes = [\"x\", \"y\"]",
            &["axes", "cannot tell"],
        ),
        (
            "axes = [\"x\", \"phi\"]",
            "axes = [\"phi\"]",
            "axes = [\"phi\", \"x\"]",
            &["axes", "`x`", "in that order"],
        ),
        ("axes = [\"x\", \"phi\"]", "axes = [\"x\"]", "axes = []", &["axes", "0 axes"]),
        (
            "channels = [4, 5, 6, 7]",
            "channels = [7, 6, 5, 4]",
            "channels = [4, 5, 6, 8]",
            &["channels", "0 to 7"],
        ),
        (
            "channels = [4, 5, 6, 7]",
            "channels = [5, 4, 7, 6]",
            "channels = [4, 5, 6, 3]",
            &["channels", "each once"],
        ),
        ("name = \"right\"", "name = \"r_2\"", "name = \"left\"", &["name", "`left`"]),
        ("name = \"right\"", "name = \"r\"", "name = \"r m\"", &["name", "letters"]),
        ("leakage = 0.02", "leakage = -0.5", "leakage = 0.51", &["leakage", "-0.5 to 0.5"]),
        ("contrast = 0.92", "contrast = 1.0", "contrast = 1.01", &["light.contrast", "0.001 to 1"]),
        ("dead_path_m", "dead_path_m", "dead_path", &["dead_path", "dead_path_m"]),
        (
            "[interferometer.light]",
            "[interferometer.limits]\nstep_turns = 0.49\n[interferometer.light]",
            "[interferometer.limits]\nstep_turns = 0.5\n[interferometer.light]",
            &["step_turns", "0.49"],
        ),
        (
            "[interferometer.light]",
            "[interferometer.limits]\nweak_fraction = 0.1\n[interferometer.light]",
            "[interferometer.limits]\nweak_fraction = 0.09\n[interferometer.light]",
            &["lost_fraction", "0.09"],
        ),
        (
            "[interferometer.light]",
            "[interferometer.air]\npressure_pa = 1e5\ntemperature_k = 290.0\nrelative_humidity = 1.0\n[interferometer.light]",
            "[interferometer.air]\npressure_pa = 1e5\ntemperature_k = 17.0\nrelative_humidity = 1.0\n[interferometer.light]",
            &["air.temperature_k", "233 to 373"],
        ),
    ] {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        parse(&text.replace(from, good)).unwrap_or_else(|e| panic!("{good}: {e}"));
        let refusal =
            parse(&text.replace(from, bad)).err().unwrap_or_else(|| panic!("{bad}: taken"));
        for word in words {
            assert!(refusal.contains(word), "{bad}: no {word} in {refusal}");
        }
        assert!(refusal.contains("vault.toml:"), "{refusal}");
    }
    let direction = text.replacen("direction = [1.0, 0.0, 0.0]", "direction = [1.0, 0.1, 0.0]", 1);
    assert!(parse(&direction).err().unwrap().contains("allowed 1"));
}
