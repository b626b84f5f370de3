//! `calibrate` from outside: a stage moves the two-bridge sensor, whose file is wrong in gain and phase; what is found,
//! what is written, and what is refused by name.

use crate::line::Bench;
use quietgap_sim::instrument::{BUILT_IN, Sensor};
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Stays of six seconds, and half a second between: places of x and phi.
const STAYS: [[f64; 2]; 10] = [
    [0.0, 0.0],
    [2e-4, 0.0],
    [4e-4, 0.0],
    [-2e-4, 0.0],
    [-4e-4, 0.0],
    [0.0, 3e-3],
    [0.0, 6e-3],
    [0.0, -3e-3],
    [0.0, -6e-3],
    [3e-4, 4e-3],
];

fn motion() -> String {
    let mut text = "t_s,x_m,phi_rad\n".to_owned();
    for (n, [x, phi]) in STAYS.iter().enumerate() {
        for k in 0..=120 {
            text += &format!("{},{x:e},{phi:e}\n", n as f64 * 6.5 + f64::from(k) * 0.05);
        }
    }
    text
}

/// The reference as a stage's log, each value changed as said.
fn reference(change: impl Fn([f64; 2]) -> [f64; 2]) -> String {
    let mut text = "t_s,x_m,phi_rad\n".to_owned();
    for (n, place) in STAYS.iter().enumerate() {
        let [x, phi] = change(*place);
        // Two seconds before it arrives: filters see it leave the last place half a second before.
        text += &format!("{},{x:e},{phi:e}\n", n as f64 * 6.5 - 2.0);
    }
    text
}

/// The vault's file with a0 and phase of both bridges a little wrong.
fn wrong() -> String {
    let vault = BUILT_IN[0].1;
    let sensor = Sensor::load(BUILT_IN[0].0).unwrap();
    let mut gains = [1.001, 0.9985].into_iter().zip(&sensor.design.a0_code);
    let mut text = String::new();
    for line in vault.lines() {
        text += line;
        text.push('\n');
        if line.starts_with("kind = \"difference\"") {
            let (gain, a0) = gains.next().unwrap();
            text += &format!(
                "a0_code = {:?}\nalignment_rad = {:?}\n",
                a0 * gain,
                sensor.design.signal_phase_rad + 0.03
            );
        }
    }
    text
}

#[test]
fn a_stage_makes_the_file_true() {
    let bench = Bench::new();
    bench.put("wrong.toml", &wrong());
    bench.put("stage.csv", &motion());
    bench.put("places.csv", &reference(|p| p));
    let simulate =
        "simulate SENSOR --level phasor --motion stage.csv --seconds 64 --out OUT --truth t.csv";
    let simulated = |sensor: &str, out: &str| {
        bench.json(0, &simulate.replace("SENSOR", sensor).replace("OUT", out));
    };
    simulated("wrong.toml", "r.csv");
    let told = bench.json(
        0,
        "calibrate r.csv places.csv --sensor wrong.toml --out right.toml --settle 3.5 --date 2026-11-27 --report c.html",
    );
    for (bridge, gain) in told["bridges"].as_array().unwrap().iter().zip([1.001, 0.9985]) {
        let found = number(&bridge["gain"]);
        assert!((found * gain - 1.0).abs() < 2e-5, "{bridge}");
        assert!((number(&bridge["phase_off_rad"]) + 0.03).abs() < 1e-3, "{bridge}");
        let sure = number(&bridge["a0_relative"]["expanded"]);
        assert!(sure > 1e-8 && sure < 2e-5, "{bridge}");
        let [left, noise] = ["left_m_rms", "noise_m_rms"].map(|key| number(&bridge[key]));
        assert!((0.2..5.0).contains(&(left / noise)), "{bridge}");
    }
    assert!(bench.text("c.html").contains("<svg"));
    let written = bench.text("right.toml");
    assert!(
        written.starts_with(&wrong().trim_end().to_owned())
            && written.contains("date = \"2026-11-27\"")
    );
    // Readings by the written file are the truth's.
    let off = |readings: &str| {
        let rows = |name: &str| -> Vec<Vec<f64>> {
            bench
                .text(name)
                .lines()
                .skip(1)
                .map(|l| l.split(',').take(3).map(|c| c.parse().unwrap()).collect())
                .collect()
        };
        let (read, truth) = (rows(readings), rows("t.csv"));
        // In the middle of stays: the spline swings between them.
        let settled = |t: f64| (2.5..4.5).contains(&(t % 6.5));
        let pairs = read.iter().zip(&truth).filter(|(r, _)| settled(r[0]));
        pairs.map(|(r, t)| (r[1] - t[1]).abs()).fold(0.0, f64::max)
    };
    let before = off("r.csv");
    simulated("right.toml", "n.csv");
    let behind = off("n.csv");
    println!("{before:e} m before, {behind:e} m behind");
    assert!(before > 1e-7 && behind < 1e-8, "{before:e} {behind:e}");
    // A second one replaces the first, and finds nothing more.
    let again = bench
        .json(0, "calibrate n.csv places.csv --sensor right.toml --out again.toml --settle 3.5");
    for bridge in again["bridges"].as_array().unwrap() {
        assert!((number(&bridge["gain"]) - 1.0).abs() < 2e-5, "{bridge}");
    }
    assert_eq!(bench.text("again.toml").matches("[calibration]").count(), 1);
}

/// A file that says 2 % of coupling where the plant has none: found, and the readings come true.
#[test]
fn coupling_is_found_behind_what_is_taken_off() {
    let bench = Bench::new();
    let mut shares = ["{ south = 0.02 }", "{ north = -0.015 }"].into_iter();
    let coupled: String = BUILT_IN[0]
        .1
        .lines()
        .map(|line| match line {
            "kind = \"difference\"" => {
                format!("{line}\ncross_coupling = {}\n", shares.next().unwrap())
            }
            _ => format!("{line}\n"),
        })
        .collect();
    bench.put("told.toml", &coupled);
    bench.put("stage.csv", &motion());
    bench.put("places.csv", &reference(|p| p));
    let simulated = |sensor: &str, out: &str, truth: &str| {
        let line = format!(
            "simulate {sensor} --level phasor --motion stage.csv --seconds 64 --out {out} --truth {truth} --without \
             cross-coupling"
        );
        bench.json(0, &line);
    };
    simulated("told.toml", "r.csv", "t.csv");
    let found = bench
        .json(0, "calibrate r.csv places.csv --sensor told.toml --out right.toml --settle 3.5");
    for (bridge, other) in found["bridges"].as_array().unwrap().iter().zip(["south", "north"]) {
        let share = number(&bridge["cross_coupling"][other]);
        let sure = number(&bridge["cross_coupling_uncertainty"][other]);
        assert!(share.abs() < 4.0 * sure && sure < 2e-5, "{bridge}");
        // The diagonal of all that is taken off counts: 1 + 0.02 x 0.015 is not what a0 is off by.
        let off =
            number(&bridge["a0_code"]) / Sensor::load(BUILT_IN[0].0).unwrap().design.a0_code[0];
        assert!((off - 1.0).abs() < 2e-5, "{off} {bridge}");
    }
    // Written, and read: as if there had been none.
    simulated("right.toml", "n.csv", "t.csv");
    let again = bench
        .json(0, "calibrate n.csv places.csv --sensor right.toml --out again.toml --settle 3.5");
    for bridge in again["bridges"].as_array().unwrap() {
        assert!((number(&bridge["gain"]) - 1.0).abs() < 2e-5, "{bridge}");
        assert!(number(&bridge["shares"][0]).abs() < 1e-4, "{bridge}");
    }
}

/// The interferometer's record of the same swing instead of a stage: it moves while it is recorded.
#[test]
fn an_interferometer_makes_the_file_true() {
    let bench = Bench::new();
    let mut swing = "t_s,x_m,phi_rad\n".to_owned();
    for n in 0..=480 {
        let t = f64::from(n) * 0.25;
        swing += &format!("{t},{:e},{:e}\n", 3e-4 * (t / 9.0).sin(), 5e-3 * (t / 14.0).sin());
    }
    bench.put("swing.csv", &swing);
    bench.put("wrong.toml", &wrong());
    bench.json(
        0,
        "simulate wrong.toml --level phasor --motion swing.csv --out b.parquet --detectors d.npy --truth t.csv",
    );
    bench.json(0, "fringes wrong.toml d.npy --stretch 30 --out f.parquet");
    let line = "calibrate b.parquet f.parquet --sensor wrong.toml --swept --out right.toml --report c.html";
    let told = bench.json(0, line);
    for (bridge, gain) in told["bridges"].as_array().unwrap().iter().zip([1.001, 0.9985]) {
        let off = number(&bridge["gain"]) * gain - 1.0;
        assert!(off.abs() < 2e-5, "{off:e} {bridge}");
        assert_eq!(number(&bridge["degrees"]), 37.0);
        assert!(bridge.get("noise_m_rms").is_none(), "each point is one reading");
        for bend in ["square", "cube"] {
            assert!(number(&bridge[bend]["value"]).abs() < 1e-3, "{bridge}");
        }
    }
    assert!(number(&told["delay_s"]["value"]).abs() < 1e-3, "{}", told["delay_s"]);
    assert!(bench.text("c.html").contains("<svg"));
    // The truth by a recorder that stamps a quarter of a second late in the middle, and runs 100 ppm fast.
    let mut late = "t_s,x_m,phi_rad\n".to_owned();
    for row in bench.text("t.csv").lines().skip(1) {
        let cells: Vec<f64> = row.split(',').take(3).map(|c| c.parse().unwrap()).collect();
        let own_s = cells[0] + 0.25 + 1e-4 * (cells[0] - 60.0);
        late += &format!("{own_s},{:e},{:e}\n", cells[1], cells[2]);
    }
    bench.put("late.csv", &late);
    let said = bench.ends(0, &line.replace("f.parquet", "late.csv").replace("right", "late"));
    let said = String::from_utf8(said.stdout).unwrap();
    assert!(said.contains("the reference is -0.25") && said.contains("its clock +1.00"), "{said}");
    for (line, words) in [
        (format!("{line} --settle 2").replace("right", "o"), &["--settle"][..]),
        (line.replace("--swept", "--within 3").replace("right", "o"), &["--swept"]),
        (format!("{line} --within -1").replace("right", "o"), &["--within -1"]),
        (
            line.replace("f.parquet", "other.csv").replace("right", "o"),
            &["has none of x_m, phi_rad"],
        ),
        (
            line.replace("f.parquet", "apart.csv").replace("right", "o"),
            &["apart.csv", "do not see the same"],
        ),
    ] {
        bench.put("other.csv", "t_s,y_m\n0,0\n1,0\n2,0\n");
        let mut apart = "t_s,x_m,phi_rad\n".to_owned();
        for n in 0..600 {
            let t = f64::from(n) * 0.2;
            apart += &format!("{t},{:e},{:e}\n", 1e-4 * (t * 5.7).sin(), 1e-3 * (t * 6.9).cos());
        }
        bench.put("apart.csv", &apart);
        let error = String::from_utf8(bench.ends(2, &line).stderr).unwrap();
        for word in words {
            assert!(error.contains(word), "{line}: no {word} in {error}");
        }
        assert!(!bench.path("o.toml").exists(), "{line}");
    }
}

#[test]
fn what_is_wrong_is_named() {
    let bench = Bench::new();
    bench.put("stage.csv", &motion());
    bench.json(
        0,
        "simulate vault-two-bridge --level phasor --motion stage.csv --seconds 64 --out r.csv",
    );
    bench.put("good.csv", &reference(|p| p));
    bench.put("reversed.csv", &reference(|[x, phi]| [-x, -phi]));
    bench.put("swapped.csv", &reference(|[x, phi]| [x, -phi]));
    bench.put("millimetres.csv", &reference(|[x, phi]| [1e3 * x, 1e2 * phi]));
    bench.put("kilometres.csv", &reference(|[x, phi]| [1e-3 * x, 1e-3 * phi]));
    bench.put("still.csv", &reference(|[_, phi]| [0.0, phi]));
    bench.put("unknown.csv", "t_s,y_m\n0,0\n1,0\n");
    bench.put("backwards.csv", "t_s,x_m\n1,0\n0,0\n");
    bench.put("far.csv", "t_s,x_m\n0,0\n1,2\n");
    bench.put("word.csv", "t_s,x_m\n0,0\n1,here\n");
    bench.put("one.csv", "t_s,x_m\n0,0\n");
    let other = BUILT_IN[0].1.replacen("gap_m = 0.002", "gap_m = 0.0021", 1);
    bench.put("other.toml", &other);
    let line = |reference: &str, more: &str| {
        format!(
            "calibrate r.csv {reference} --sensor vault-two-bridge --out o.toml --settle 3.5 {more}"
        )
    };
    bench.json(0, &line("good.csv", "").replace("o.toml", "good.toml"));
    for (line, words) in [
        (line("reversed.csv", ""), &["sign is reversed"][..]),
        (line("swapped.csv", ""), &["channels swapped"]),
        (line("millimetres.csv", ""), &["another unit"]),
        (line("kilometres.csv", ""), &["another unit"]),
        (line("still.csv", ""), &["does not move"]),
        (line("unknown.csv", ""), &["unknown.csv:1", "`y_m`", "x_m"]),
        (line("backwards.csv", ""), &["backwards.csv:3", "rising"]),
        (line("far.csv", ""), &["far.csv:3", "x_m is 2"]),
        (line("word.csv", ""), &["word.csv:3", "`here`"]),
        (line("one.csv", ""), &["1 places", "2 or more"]),
        (line("good.csv", "--settle 6.4").replace("--settle 3.5 ", ""), &["row 1", "allowed 8"]),
        (line("good.csv", "--date 2026-13-01"), &["--date 2026-13-01"]),
        (line("good.csv", "--stage-scale -1"), &["--stage-scale -1"]),
        (line("good.csv", "--confidence 1"), &["--confidence 1"]),
        (line("r.csv", ""), &["unknown column"]),
        (
            line("good.csv", "").replace("vault-two-bridge", "other.toml"),
            &["checksum", "another sensor"],
        ),
        (line("good.csv", "").replace("o.toml", "r.csv"), &["an input"]),
    ] {
        let error = String::from_utf8(bench.ends(2, &line).stderr).unwrap();
        for word in words {
            assert!(error.contains(word), "{line}: no {word} in {error}");
        }
        assert!(!bench.path("o.toml").exists(), "{line}");
    }
    // Another sensor's section, and one of a bridge that is not there.
    let good = bench.text("good.toml");
    for (from, to, words) in [
        (
            "sensor = \"vault-two-bridge\"",
            "sensor = \"vault\"",
            &["calibration.sensor", "`vault`"][..],
        ),
        ("data_checksum", "data_sum", &["data_sum"]),
        ("date = \"", "date = \"x", &["calibration.date"]),
    ] {
        bench.put("bad.toml", &good.replacen(from, to, 1));
        let error = String::from_utf8(bench.ends(2, "cycles bad.toml").stderr).unwrap();
        assert!(words.iter().all(|word| error.contains(word)), "{to}: {error}");
    }
    let at = good.find("[calibration]").unwrap();
    let bad = format!("{}{}", &good[..at], good[at..].replacen("\nname = \"", "\nname = \"no", 1));
    bench.put("bad.toml", &bad);
    let error = String::from_utf8(bench.ends(2, "cycles bad.toml").stderr).unwrap();
    assert!(error.contains("the name of a bridge"), "{error}");
}
