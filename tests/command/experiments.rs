//! `attribute`, `response`, `events` and `campaign` from outside: what they tell of records with known couplings, bad input,
//! and a campaign that is killed, goes on, and runs again only what has changed.

use crate::bench::quietgap;
use crate::line::Bench;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Noise of no generator of the project: a congruential one, twelve a number.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let mut one = || {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (self.0 >> 33) as f64 / 2f64.powi(31)
        };
        (0..12).map(|_| one()).sum::<f64>() - 6.0
    }
}

/// 8000 s: a torque that follows a temperature, 40 s late, and a voltage with its square; beside them a channel of noise, and
/// one that never changes. Temperatures come every 4 s, at times of their own.
fn put_records(bench: &Bench, n_m_per_k: f64) {
    let mut noise = Noise(7);
    let temperature =
        |t: f64| 0.3 * (t / 700.0).sin() + 0.05 * (t / 297.0).cos() + 0.02 * (t / 3.1).sin();
    let volt = |t: f64| 2.0 * (std::f64::consts::TAU * 0.01 * t + 0.3).sin();
    let (mut readings, mut fast, mut slow) = (
        "t_s,torque_n_m,health\n".to_owned(),
        "t_s,voltage_v,other_k,still_v\n".to_owned(),
        "t_s,temperature_k\n".to_owned(),
    );
    for n in 0..8000 {
        let t = f64::from(n);
        let v = volt(t);
        let torque =
            n_m_per_k * temperature(t - 40.0) + 3e-13 * v - 1e-13 * v * v + 1e-13 * noise.next();
        let health = if (4000..4010).contains(&n) { "over_range" } else { "ok" };
        readings += &format!("{t},{torque:e},{health}\n");
        fast += &format!("{t},{v:e},{:e},1\n", noise.next());
        if n % 4 == 0 {
            let t = t + 0.7;
            slow += &format!("{t},{:e}\n", temperature(t));
        }
    }
    bench.put("r.csv", &readings);
    bench.put("fast.csv", &fast);
    bench.put("slow.csv", &slow);
}

#[test]
fn couplings_come_back() {
    let bench = Bench::new();
    put_records(&bench, 5e-12);
    let told = bench.json(
        0,
        "attribute r.csv fast.csv slow.csv --column torque_n_m --form plain --square voltage_v --within 100 \
         --cleaned c.csv --out o.csv --report a.html",
    );
    assert_eq!(told["command"], "attribute");
    let terms = told["terms"].as_array().unwrap();
    let term = |name: &str| {
        terms.iter().find(|t| t["channel"] == name).unwrap_or_else(|| panic!("{name}: {told:#}"))
    };
    for (name, truth, delay) in [
        ("temperature_k", 5e-12, 40.0),
        ("voltage_v", 3e-13, 0.0),
        ("voltage_v squared", -1e-13, 0.0),
    ] {
        let t = term(name);
        let (low, high) = (number(&t["low"]), number(&t["high"]));
        // 95 % hold: a little beyond is allowed to three coefficients of one record.
        let more = 0.5 * (high - low);
        assert!(low - more < truth && truth < high + more, "{name}: {t}");
        assert!(high - low < 0.1 * f64::abs(truth), "{name}: {t}");
        let late = number(&t["delay_s"]) - delay;
        assert!(late.abs() < 4.0 * number(&t["delay_uncertainty_s"]), "{name}: {t}");
    }
    assert_eq!(terms.len(), 3, "{terms:#?}");
    assert_eq!(term("temperature_k")["unit"], "N m/K");
    assert_eq!(number(&told["left_out"]["flagged"]), 10.0);
    assert!(told["warnings"].to_string().contains("still_v"), "{told}");
    for share in told["explained_by_other_half"].as_array().unwrap() {
        assert!(number(share) > 0.5, "{share}");
    }
    // What is left is the noise: 1e-13 a row, of which an eighth of the band is looked at.
    let cleaned = bench.column("c.csv", "torque_n_m");
    let mean = cleaned.iter().sum::<f64>() / cleaned.len() as f64;
    let rms =
        (cleaned.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / cleaned.len() as f64).sqrt();
    assert!((rms / 1e-13 - 1.0).abs() < 0.05, "{rms}");
    let beside = bench.text("c.csv.json");
    assert!(
        beside.contains("\"cleaned_of\": \"r.csv\"") && beside.contains("taken_off_3"),
        "{beside}"
    );
    assert!(bench.text("a.html").contains("coherence"));
    assert!(bench.column("o.csv", "coherence").iter().all(|c| (0.0..=1.0).contains(c)));
}

#[test]
fn a_voltage_is_answered() {
    let bench = Bench::new();
    put_records(&bench, 0.0);
    let line = "response r.csv --column torque_n_m --drive fast.csv --drive-column voltage_v --out p.csv --report p.html";
    let told = bench.json(0, line);
    assert_eq!(told["frequency_found"], true);
    assert!((number(&told["frequency_hz"][0]) - 0.01).abs() < 1e-7, "{told}");
    let lines = told["lines"].as_array().unwrap();
    let near = |value: &Value, truth: f64| {
        let off = (number(&value["in_phase"]) - truth).abs();
        assert!(off < 4.0 * number(&value["uncertainty"]), "{value}");
        assert!(
            number(&value["quadrature"]).abs() < 4.0 * number(&value["uncertainty"]),
            "{value}"
        );
    };
    near(&lines[0]["response"], 3e-13);
    near(&lines[1]["squared"], -1e-13);
    assert_eq!(lines[1]["squared"]["unit"], "N m/V²");
    // As a sine with known numbers: the same.
    let sine = bench.json(
        0,
        "response r.csv --column torque_n_m --frequency-hz 0.01 --amplitude 2 --phase-rad 0.3 --unit V",
    );
    near(&sine["lines"][0]["response"], 3e-13);
    // Noise beside the line is 1e-13 a row of a second: a density of 1e-13 sqrt(2).
    for line in lines {
        let ratio = number(&line["noise_asd"]) / (1e-13 * 2f64.sqrt());
        assert!((ratio - 1.0).abs() < 0.25, "{line}");
        assert!(number(&line["parts"]["count"]) >= 10.0, "{line}");
    }
    assert!(bench.column("p.csv", "line_1_cosine").len() >= 10);
    assert!(bench.text("p.html").contains("<svg"));
}

#[test]
fn events_are_listed_and_left_out() {
    let bench = Bench::new();
    let mut noise = Noise(3);
    let mut text = "t_s,x_m,health\n".to_owned();
    for n in 0..3000 {
        let more = if n == 700 { 2e-8 } else { 0.0 } + if n >= 2000 { 4e-9 } else { 0.0 };
        let health = if (1200..1300).contains(&n) { "silent" } else { "ok" };
        text += &format!("{},{:e},{health}\n", f64::from(n) / 10.0, 1e-9 * noise.next() + more);
    }
    bench.put("r.csv", &text);
    let told = bench.json(0, "events r.csv --kept k.parquet --out e.csv --report e.html");
    let events = told["columns"][0]["events"].as_array().unwrap();
    let kinds: Vec<&Value> = events.iter().map(|e| &e["kind"]).collect();
    assert_eq!(kinds, ["spike", "step"], "{told}");
    assert!((number(&events[0]["from_s"]) - 70.0).abs() < 0.15);
    assert!((number(&events[1]["from_s"]) - 200.0).abs() < 0.55);
    assert_eq!(told["between_s"], serde_json::json!([[120.0, 130.0]]));
    let kept = number(&told["kept_rows"]) + number(&told["rows_of_events"]);
    assert_eq!(kept, 2900.0);
    let again = bench.json(0, "events k.parquet");
    // The level is another behind the gap that the step has become.
    assert_eq!(number(&again["events"]), 0.0, "{again}");
    assert!(bench.text("e.csv").contains("x_m,step,"));
    // Both are marked, and so they are on another command's figure.
    assert!(bench.text("e.html").contains("events: 2 marked"));
    bench.json(0, "response r.csv --column x_m --frequency-hz 0.2 --events e.csv --report p.html");
    assert!(bench.text("p.html").contains("events: 2 marked"));
}

/// Last input that passes, first that does not.
#[test]
fn bad_input_is_refused() {
    let bench = Bench::new();
    put_records(&bench, 5e-12);
    let head = |name: &str, rows: usize| {
        let text = bench.text(name);
        text.lines().take(rows + 1).collect::<Vec<_>>().join("\n") + "\n"
    };
    bench.put("short.csv", &head("r.csv", 60));
    bench.put("later.csv", "t_s,y_k\n90000,1\n90001,2\n90002,1\n90003,2\n");
    bench.put(
        "drives.toml",
        "[[drive]]\nquantity = \"voltage_v\"\namplitude = 1\nfrequency_hz = 0.01\n",
    );
    bench.put(
        "drives-bad.toml",
        "[[drive]]\nquantity = \"volt\"\namplitude = 1\nfrequency_hz = 0.01\n",
    );
    bench.put("drives-late.toml", "[[drive]]\nquantity = \"voltage_v\"\namplitude = 1\nfrequency_hz = 1\nfrom_s = 5\nto_s = 5\n");
    bench.put(
        "c.toml",
        "name = \"c\"\n[[analysis]]\nname = \"one\"\nrun = [\"events\", \"r.csv\"]\n",
    );
    bench.put("c-twice.toml", "name = \"c\"\n[[analysis]]\nname = \"one\"\nrun = [\"events\", \"r.csv\"]\n[[analysis]]\nname = \"one\"\nrun = [\"events\", \"r.csv\"]\n");
    bench.put(
        "c-later.toml",
        "name = \"c\"\n[[analysis]]\nname = \"one\"\nrun = [\"events\", \"{two}/r.csv\"]\n",
    );
    bench.put(
        "c-command.toml",
        "name = \"c\"\n[[analysis]]\nname = \"one\"\nrun = [\"event\", \"r.csv\"]\n",
    );
    let against = |last: &str| {
        format!(
            "name = \"c\"\n{last}[[analysis]]\nname = \"one\"\nrun = [\"spectrum\", \"r.csv\", \"--column\", \"torque_n_m\", \"--against\", \"{{last}}/noise/density.csv\"]\n"
        )
    };
    std::fs::create_dir_all(bench.path("spring/noise")).unwrap();
    bench.put("spring/noise/density.csv", "frequency_hz,torque_n_m_asd\n1e-3,1e-13\n1,1e-13\n");
    bench.put("c-last.toml", &against("last = \"spring\"\n"));
    bench.put("c-no-last.toml", &against(""));
    bench.put("c-other-last.toml", &against("last = \"autumn\"\n"));
    bench.put("e.csv", "column,kind,from_s,to_s,size,over_noise\n");
    bench.put(
        "c-fails.toml",
        "name = \"c\"\n[[analysis]]\nname = \"one\"\nrun = [\"events\", \"none.csv\"]\n",
    );
    for (good, bad, words) in [
        (
            "attribute r.csv fast.csv --column torque_n_m",
            "attribute r.csv fast.csv --column torque",
            "torque_n_m",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --to-hz 0.1",
            "attribute r.csv fast.csv --column torque_n_m --to-hz 1e-9",
            "no stretch of time in common",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --to-hz 0.35",
            "attribute r.csv fast.csv --column torque_n_m --to-hz 0.36",
            "allowed above 0, to 0.35",
        ),
        (
            "attribute r.csv fast.csv slow.csv --column torque_n_m",
            "attribute r.csv later.csv --column torque_n_m",
            "no stretch of time in common",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --channel other_k",
            "attribute r.csv fast.csv --column torque_n_m --channel other",
            "other_k",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --channel other_k",
            "attribute r.csv fast.csv --column torque_n_m --channel still_v",
            "nothing that changes: still_v",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --cleaned c.csv",
            "attribute r.csv fast.csv --column torque_n_m --cleaned r.csv",
            "is an input",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m",
            "attribute short.csv fast.csv --column torque_n_m",
            "too short",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --false-share 0.5",
            "attribute r.csv fast.csv --column torque_n_m --false-share 0.51",
            "allowed 0.000001 to 0.5",
        ),
        (
            "response r.csv --column torque_n_m --frequency-hz 0.01",
            "response r.csv --column torque_n_m",
            "--frequency-hz",
        ),
        (
            "response r.csv --column torque_n_m --frequency-hz 0.17",
            "response r.csv --column torque_n_m --frequency-hz 0.18",
            "allowed up to 0.35",
        ),
        (
            "response r.csv --column torque_n_m --frequency-hz 0.01 --from 100",
            "response r.csv --column torque_n_m --frequency-hz 0.01 --from 9000",
            "no two rows",
        ),
        (
            "response r.csv --column torque_n_m --frequency-hz 0.01",
            "response r.csv --column torque_n_m --frequency-hz 0.0001",
            "allowed",
        ),
        (
            "response r.csv --column torque_n_m --drive fast.csv --drive-column voltage_v",
            "response r.csv --column torque_n_m --drive fast.csv --drive-column still_v",
            "drives nothing",
        ),
        ("events r.csv --false-alarms 1", "events r.csv --false-alarms 0", "allowed"),
        ("events r.csv --kept k.csv", "events r.csv --kept -", "standard output"),
        (
            "simulate vault-two-bridge --level phasor --seconds 20 --drives drives.toml --out s.csv",
            "simulate vault-two-bridge --level phasor --seconds 20 --drives drives-bad.toml --out s.csv",
            "heater_w",
        ),
        (
            "simulate vault-two-bridge --level phasor --seconds 20 --drives drives.toml --out s.csv",
            "simulate vault-two-bridge --level phasor --seconds 20 --drives drives-late.toml --out s.csv",
            "before to_s",
        ),
        ("campaign c.toml", "campaign c-twice.toml", "an earlier analysis has it"),
        ("campaign c.toml", "campaign c-later.toml", "is no earlier analysis"),
        ("campaign c.toml", "campaign c-command.toml", "nearest: `events`"),
        ("campaign c.toml", "campaign c-fails.toml", "analysis `one`: "),
        ("campaign c-last.toml", "campaign c-no-last.toml", "wants the campaign's key `last`"),
        (
            "campaign c-last.toml",
            "campaign c-other-last.toml",
            "is no file that was written before",
        ),
        (
            "response r.csv --column torque_n_m --frequency-hz 0.01 --events e.csv",
            "response r.csv --column torque_n_m --frequency-hz 0.01 --events slow.csv",
            "has no column `from_s`",
        ),
        (
            "attribute r.csv fast.csv --column torque_n_m --report p.html --events e.csv",
            "attribute r.csv fast.csv --column torque_n_m --report e.csv --events e.csv",
            "is an input",
        ),
        ("campaign --example example", "campaign --example example", "is there already"),
    ] {
        bench.ends(0, good);
        let output = bench.ends(2, bad);
        let error = String::from_utf8_lossy(&output.stderr);
        let message = error.lines().find(|line| line.starts_with("error: ")).unwrap_or("");
        assert!(message.contains(words), "{bad}\n{error}");
        assert!(output.stdout.is_empty(), "{bad}");
    }
}

/// All files below a folder.
fn content(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut out = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() {
            for (inner, bytes) in content(&entry.path()) {
                out.insert(format!("{name}/{inner}"), bytes);
            }
        } else {
            out.insert(name, std::fs::read(entry.path()).unwrap());
        }
    }
    out
}

const CAMPAIGN: &str = r#"
name = "an hour"
[[analysis]]
name = "record"
run = ["simulate", "vault-two-bridge", "--level", "phasor", "--seconds", "3000", "--out", "{own}/r.parquet"]
[[analysis]]
name = "events"
run = ["events", "{record}/r.parquet", "--column", "x_m", "--longest", "2"]
[[analysis]]
name = "noise"
run = ["spectrum", "{record}/r.parquet", "--column", "x_m", "--frequencies", "50"]
[[analysis]]
name = "torque"
run = ["torque", "vault-two-bridge", "{record}/r.parquet", "--out", "{own}/t.parquet"]
"#;

/// Killed at any moment, the next run ends with the bytes of one that was never killed; with one number changed, what depends
/// on it runs again and nothing else.
#[test]
fn a_campaign_goes_on_and_runs_only_what_changed() {
    let whole = Bench::new();
    whole.put("c.toml", CAMPAIGN);
    let first = whole.json(0, "campaign c.toml");
    let ran = |told: &Value, kept: bool| -> Vec<String> {
        let runs = told["runs"].as_array().unwrap().iter().filter(|r| r["kept"] == kept);
        runs.map(|r| r["name"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(ran(&first, false), ["record", "events", "noise", "torque"]);
    let want = content(&whole.path("c-results"));
    assert!(want.contains_key("campaign.html") && want.contains_key("record/done.json"));
    let page = whole.text("c-results/campaign.html");
    assert!(
        page.contains("<svg") && page.contains("SHA-256") && page.contains("How to run it again")
    );
    let second = whole.json(0, "campaign c.toml");
    assert_eq!(ran(&second, false), Vec::<String>::new());
    assert_eq!(content(&whole.path("c-results")), want);

    let killed = Bench::new();
    killed.put("c.toml", CAMPAIGN);
    for after_ms in [20, 150, 400, 700, 900, 1000] {
        let mut child = quietgap()
            .current_dir(killed.path("c.toml").parent().unwrap())
            .args(["campaign", "c.toml"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(after_ms));
        child.kill().unwrap();
        child.wait().unwrap();
    }
    killed.ends(0, "campaign c.toml");
    // What a killed run's own child wrote after it is gone, too.
    assert_eq!(
        content(&killed.path("c-results")).keys().collect::<Vec<_>>(),
        want.keys().collect::<Vec<_>>()
    );
    assert!(content(&killed.path("c-results")) == want, "other bytes");

    whole.put("c.toml", &CAMPAIGN.replace("\"50\"", "\"60\""));
    assert_eq!(ran(&whole.json(0, "campaign c.toml"), false), ["noise"]);
    // A file that somebody changed is made again.
    whole.put("c-results/events/report.html", "changed");
    assert_eq!(ran(&whole.json(0, "campaign c.toml"), false), ["events"]);
    whole.put("c.toml", &CAMPAIGN.replace("3000", "2900"));
    assert_eq!(ran(&whole.json(0, "campaign c.toml"), true), Vec::<String>::new());
}
