//! Records and the commands that work on them: the three formats say the same, bad ones are refused with file
//! and line, gaps and faults are left out and told, and what the commands find is what was put in.

use crate::line::Bench;
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

/// A made-up noise, evenly spread: the same everywhere.
fn noise(n: usize) -> f64 {
    let mut z = (n as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ z >> 31) >> 11) as f64 / 2f64.powi(53) - 0.5
}

/// Rows of noise at 2 S/s; `cell` may say something else of a row.
fn record(rows: usize, cell: impl Fn(usize) -> Option<String>) -> String {
    let mut text = "t_s,x_m,health\n".to_owned();
    for n in 0..rows {
        text += &cell(n).unwrap_or_else(|| format!("{},{:e},ok", n as f64 / 2.0, noise(n)));
        text.push('\n');
    }
    text
}

/// Simulated readings in CSV, npy and Parquet give the same densities, and carry what they are.
#[test]
fn formats_say_the_same() {
    let bench = Bench::new();
    let mut found = Vec::new();
    for kind in ["csv", "npy", "parquet"] {
        let simulated = bench.json(
            0,
            &format!("simulate vault-two-bridge --level phasor --seconds 120 --out r.{kind} --truth t.{kind}"),
        );
        assert_eq!(simulated["level"], "phasor");
        assert!(number(&simulated["rows"]) > 1100.0);
        let spectrum = bench.json(0, &format!("spectrum r.{kind} --band 0.1:1"));
        assert_eq!(number(&spectrum["rate_hz"]), 10.0);
        assert_eq!(spectrum["stretches"], 1);
        let columns = spectrum["columns"].as_array().unwrap();
        assert_eq!(columns.iter().map(|c| &c["name"]).collect::<Vec<_>>(), ["x_m", "phi_rad"]);
        found.push(columns.iter().flat_map(|c| numbers(&c["asd"])).collect::<Vec<f64>>());
        // The truth has motion and no noise of the reading.
        let truth = bench.json(0, &format!("spectrum t.{kind} --column phi_rad"));
        assert_eq!(truth["columns"][0]["unit"], "rad");
    }
    for other in &found[1..] {
        assert_eq!(found[0].len(), other.len());
        for (a, b) in found[0].iter().zip(other) {
            assert!((a / b - 1.0).abs() < 1e-9, "{a} {b}");
        }
    }
    for beside in ["r.csv.json", "r.npy.json"] {
        let told: Value = serde_json::from_str(&bench.text(beside)).unwrap();
        assert_eq!(told["sensor"], "vault-two-bridge");
        assert_eq!(told["rate_hz"], "10");
        for key in ["software", "settings_checksum", "calibration", "columns"] {
            assert!(told[key].as_str().is_some_and(|text| !text.is_empty()), "{beside}: {key}");
        }
    }
    // What the spectrum writes carries it on; what it reads back over itself is a ratio of one.
    bench.ends(0, "spectrum r.parquet --out s.csv --report s.html");
    let over = bench.json(0, "spectrum r.parquet --against s.csv");
    for line in over["against"][0]["columns"].as_array().unwrap() {
        for decade in line["decades"].as_array().unwrap() {
            assert!((number(&decade["ratio"]) - 1.0).abs() < 1e-9, "{decade}");
        }
    }
    let page = bench.text("s.html");
    for said in ["hann window", "noise bandwidth", "overlap 0.500", "averages", "one-sided"] {
        assert!(page.contains(said), "the page lacks {said}");
    }
}

/// White noise of variance 1/12 at 2 S/s: density sqrt(2/12/2) over the band, by both methods, any window, and
/// through gaps, faults and missing cells, which are counted.
#[test]
fn what_is_left_out_is_told() {
    let bench = Bench::new();
    bench.put("whole.csv", &record(20_000, |_| None));
    bench.put(
        "holes.csv",
        &record(20_000, |n| match n {
            // A flagged reading that is far off, a cell without a number, an hour without rows.
            3000 => Some("1500,1e9,over_range+weak".to_owned()),
            7000 => Some("3500,nan,ok".to_owned()),
            7001 => Some("3500.5,,ok".to_owned()),
            n if n >= 12_000 => Some(format!("{},{:e},ok", n as f64 / 2.0 + 3600.0, noise(n))),
            _ => None,
        }),
    );
    let want = (2.0 / 12.0 / 2.0f64).sqrt();
    for options in [
        "",
        "--method welch --segment-s 100",
        "--method welch --window hft95",
        "--window kaiser-4 --detrend line",
    ] {
        for file in ["whole.csv", "holes.csv"] {
            let found = bench.json(0, &format!("spectrum {file} --band 0.05:0.9 {options}"));
            let left = &found["left_out"];
            let counts = ["flagged", "missing", "gaps"].map(|key| number(&left[key]));
            assert_eq!(counts, if file == "whole.csv" { [0.0; 3] } else { [1.0, 2.0, 1.0] });
            assert_eq!(number(&found["stretches"]), if file == "whole.csv" { 1.0 } else { 4.0 });
            let band = &found["columns"][0]["bands"][0];
            let level = number(&band["rms"]) / 0.85f64.sqrt();
            let sure = number(&band["relative_uncertainty"]);
            assert!((level / want - 1.0).abs() < 4.0 * sure, "{file} {options}: {level} {sure}");
            assert!((0.002..0.05).contains(&sure), "{sure}");
        }
    }
    // Asked for, the flagged row is used, and drowns the rest.
    let with = bench.json(0, "spectrum holes.csv --flagged --band 0.05:0.9");
    assert!(number(&with["columns"][0]["bands"][0]["rms"]) > 1e3);
    let words = bench.ends(0, "spectrum holes.csv");
    let words = String::from_utf8(words.stdout).unwrap();
    assert!(
        words.contains("left out: 1 flagged rows, 2 rows without a number, 1 gaps in time"),
        "{words}"
    );
    // Deviations: white noise of variance 1/12 averaged over 16 values.
    let found = bench.json(0, "stability holes.csv --deviation allan --deviation hadamard");
    for line in found["deviations"].as_array().unwrap() {
        let points = line["points"].as_array().unwrap();
        let p = points.iter().find(|p| number(&p["tau_s"]) == 5.0).expect("ten values");
        let expected = (1.0 / 12.0 / 10.0f64).sqrt();
        assert!(number(&p["low"]) < expected * 1.02 && number(&p["high"]) > expected * 0.98, "{p}");
        assert_eq!(number(&p["noise_exponent"]), 0.0);
    }
}

/// A column and itself, delayed by one row and doubled: coherence one, gain two, phase of the delay.
#[test]
fn pairs_have_their_transfer() {
    let bench = Bench::new();
    let mut text = "t_s,a_v,b_m,c_k\n".to_owned();
    for n in 1..8000 {
        let (now, before) = (noise(n), noise(n - 1));
        text +=
            &format!("{},{now:e},{:e},{:e}\n", n as f64 / 2.0, 2.0 * before, noise(n + 100_000));
    }
    bench.put("pair.csv", &text);
    let line = "spectrum pair.csv --column a_v --pair a_v:b_m --pair a_v:c_k --method welch --segment-s 50";
    let found = bench.json(0, line);
    let pair = &found["pairs"][0];
    assert_eq!(pair["unit"], "m/V");
    let f = numbers(&pair["frequency_hz"]);
    for (k, f) in f.iter().enumerate().skip(2).take(40) {
        assert!(number(&pair["coherence"][k]) > 0.99);
        assert!((number(&pair["gain"][k]) - 2.0).abs() < 0.05, "{f}");
        let phase = number(&pair["phase_rad"][k]);
        let want = -std::f64::consts::TAU * f * 0.5;
        assert!((phase - want).abs() < 0.05, "{f}: {phase} {want}");
    }
    // Two that have nothing to do with each other stay below the threshold, but for one in twenty.
    let other = &found["pairs"][1];
    let pairs = numbers(&other["coherence"]).into_iter().zip(numbers(&other["threshold"]));
    let (below, all) = pairs.fold((0, 0), |(b, a), (g, t)| (b + usize::from(g < t), a + 1));
    assert!(below * 100 >= all * 85, "{below} of {all}");
    assert!(numbers(&other["coherence_unbiased"]).iter().sum::<f64>() / all as f64 * 50.0 < 2.0);
}

/// Bad records, each with what the refusal must say.
#[test]
fn bad_records_are_refused() {
    let bench = Bench::new();
    let good = |n: usize| format!("{},{:e},ok", n as f64 / 2.0, noise(n));
    let with = |at: usize, row: &str| {
        record(400, |n| Some(if n == at { row.to_owned() } else { good(n) }))
    };
    let constant = record(400, |n| Some(format!("{},1.5,ok", n as f64 / 2.0)));
    let flagged = record(400, |n| Some(format!("{},{:e},settling", n as f64 / 2.0, noise(n))));
    let cases: Vec<(&str, String, &str, &[&str])> = vec![
        ("back.csv", with(50, "24,0,ok"), "", &["back.csv:52", "t_s is 24 after 24.5", "rising"]),
        ("same.csv", with(50, "24.5,0,ok"), "", &["same.csv:52", "after 24.5 of line 51"]),
        ("uneven.csv", with(50, "25.2,0,ok"), "", &["uneven.csv:52", "evenly spaced"]),
        ("word.csv", with(50, "25,fast,ok"), "", &["word.csv:52", "x_m is `fast`"]),
        ("cells.csv", with(50, "25,0"), "", &["cells.csv:52", "2 cells, allowed 3"]),
        ("time.csv", with(50, "nan,0,ok"), "", &["time.csv:52", "t_s is NaN"]),
        ("constant.csv", constant, "", &["column x_m has the same value", "nothing"]),
        ("flagged.csv", flagged, "", &["flagged.csv", "400 flagged rows"]),
        ("short.csv", record(3, |_| None), "", &["short.csv", "an octave"]),
        ("one.csv", record(1, |_| None), "", &["one.csv", "1 rows"]),
        ("good.csv", record(400, |_| None), "--column x_n", &["no column `x_n`", "nearest: `x_m`"]),
        ("good.csv", record(400, |_| None), "--rate 2.1", &["a rate of 2.1 Hz", "tell 2 Hz"]),
        ("good.csv", record(400, |_| None), "--rate -1", &["--rate -1", "above 0"]),
        (
            "good.csv",
            record(400, |_| None),
            "--window flat",
            &["no such window", "blackman-harris"],
        ),
        ("good.csv", record(400, |_| None), "--band 1:0.5", &["--band 1:0.5", "LOW:HIGH"]),
        ("good.csv", record(400, |_| None), "--band 0.1:7", &["--band 0.1:7", "allowed within"]),
        ("good.csv", record(400, |_| None), "--from-hz 1e-6", &["frequencies 0.000001", "allowed"]),
        ("good.csv", record(400, |_| None), "--overlap 1", &["--overlap 1", "0.99"]),
        ("good.csv", record(400, |_| None), "--pair x_m", &["--pair x_m", "INPUT:OUTPUT"]),
        ("good.csv", record(400, |_| None), "--out good.csv", &["is an input"]),
        ("empty.csv", String::new(), "", &["empty.csv", "is empty"]),
        ("names.csv", "1,2,3\n4,5,6\n".to_owned(), "", &["names.csv:1", "the first line names"]),
        (
            "no_time.csv",
            "x_m\n1\n2\n3\n".to_owned(),
            "",
            &["no_time.csv", "no column t_s", "--rate"],
        ),
        ("twice.csv", "t_s,x_m,x_m\n1,2,3\n".to_owned(), "", &["two columns are named `x_m`"]),
        ("not.parquet", "PAR1".to_owned(), "", &["not.parquet", "no Parquet file"]),
        // A footer of four bytes that claims a list of seven.
        (
            "claims.parquet",
            "PAR1\u{19}r\u{1}\0\u{4}\0\0\0PAR1".to_owned(),
            "",
            &["claims.parquet", "no Parquet file", "a list of 7 in 2 bytes"],
        ),
        ("not.npy", "NUMPY".to_owned(), "--rate 1", &["not.npy", "npy header"]),
    ];
    for (file, text, options, words) in cases {
        bench.put(file, &text);
        let output = bench.ends(2, &format!("spectrum {file} {options}"));
        let error = String::from_utf8(output.stderr).unwrap();
        assert!(error.starts_with("error: ") && error.chars().count() < 320, "{error}");
        for word in words {
            assert!(error.contains(word), "{file} {options}: lacks `{word}`: {error}");
        }
        assert!(output.stdout.is_empty());
    }
    let cases = [
        ("stability good.csv --deviation alan", "no such deviation"),
        ("stability holes.csv --deviation total", "2 stretches, allowed one"),
        ("torque vault-two-bridge good.csv", "no column `phi_rad`"),
        ("torque vault-two-bridge short.csv --column x_m", "too short"),
        ("torque sensor.toml good.csv", "has no [pendulum]"),
        ("budget vault-two-bridge --at z_m=1", "no axis of that name"),
        ("budget vault-two-bridge --at x_m=far", "no number"),
        ("budget vault-two-bridge --readings good.csv", "rows a second"),
        ("budget vault-two-bridge --from-hz 4", "--from-hz 4"),
        ("simulate vault-two-bridge --level phasor --out r.csv", "--seconds: wanted"),
        (
            "simulate vault-two-bridge --level phasor --seconds 1e9 --out r.csv",
            "--seconds 1000000000",
        ),
        ("spectrum good.csv --against good.csv", "allowed frequency_hz"),
    ];
    bench.put(
        "holes.csv",
        &record(400, |n| (n > 200).then(|| format!("{},{:e},ok", n as f64 / 2.0 + 50.0, noise(n)))),
    );
    for (line, word) in cases {
        let output = bench.ends(2, line);
        let error = String::from_utf8(output.stderr).unwrap();
        assert!(error.contains(word), "{line}: {error}");
        assert!(!bench.path("r.csv").exists());
    }
}

/// Simulated hours of the vault sensor: the swing is found, with the file's period, and torque at a millihertz is
/// the thermal one; the budget's own prediction lies over the record.
#[test]
fn torque_and_budget_of_simulated_hours() {
    let bench = Bench::new();
    bench.ends(
        0,
        "simulate vault-two-bridge --level phasor --seconds 12000 --start-rad 2e-5 --out h.parquet",
    );
    let found = bench
        .json(0, "torque vault-two-bridge h.parquet --out t.csv --density d.csv --report t.html");
    let period = &found["swing"]["period_s"];
    let apart = number(&period["value"]) - number(&found["file"]["period_s"]);
    assert!(apart.abs() < 4.0 * number(&period["uncertainty"]), "{period}");
    let amplitude = &found["swing"]["amplitude_rad"];
    assert!(
        (number(&amplitude["value"]) - 2e-5).abs() < 4.0 * number(&amplitude["uncertainty"]),
        "{amplitude}"
    );
    let f = numbers(&found["frequency_hz"]);
    let ratios: Vec<f64> = (0..f.len())
        .filter(|k| (1e-3..8e-3).contains(&f[*k]))
        .map(|k| number(&found["torque_asd"][k]) / number(&found["thermal_asd"][k]))
        .collect();
    let mean = (ratios.iter().map(|r| r * r).sum::<f64>() / ratios.len() as f64).sqrt();
    // Ground and temperature add a few per cent; forty averages or so are known to a tenth.
    assert!((0.8..1.4).contains(&mean), "{mean} of the thermal torque");
    assert_eq!(bench.column("t.csv", "torque_n_m").len(), bench.column("t.csv", "t_s").len());
    assert!(bench.text("t.html").contains("equivalent acceleration"));
    let ratio: Vec<f64> = bench
        .column("d.csv", "acceleration_m_per_s2_asd")
        .iter()
        .zip(bench.column("d.csv", "torque_n_m_asd"))
        .map(|(a, t)| a / t)
        .collect();
    assert!(ratio.iter().all(|r| (r * 0.052 * 0.022 - 1.0).abs() < 1e-6));

    bench.ends(
        0,
        "simulate vault-two-bridge --level phasor --seconds 12000 --start-rad 0 --out q.parquet",
    );
    let budget = bench.json(
        0,
        "budget vault-two-bridge --at x_m=0 --readings q.parquet --out b.csv --report b.html",
    );
    for r in budget["recorded"].as_array().unwrap() {
        let f = numbers(&r["frequency_hz"]);
        let above: usize = numbers(&r["unexplained"])
            .iter()
            .zip(&f)
            .filter(|(x, f)| **x > 0.0 && (2e-2..3.0).contains(*f))
            .count();
        let all = f.iter().filter(|f| (2e-2..3.0).contains(*f)).count();
        // One in forty lies above by chance.
        assert!(above * 10 <= all, "{}: {above} of {all} unexplained", r["name"]);
    }
    assert_eq!(budget["pass"], true);
    let ranked = &budget["axes"][1]["ranked"][0];
    assert_eq!(ranked["contributor"], "thermal torque of the fibre");
    assert!(number(&ranked["gain_if_halved"]) > 0.3);
    assert!(bench.text("b.html").contains("thermal torque of the fibre"));
}
