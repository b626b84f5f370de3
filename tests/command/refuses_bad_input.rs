//! Bad input to the command line, by pairs: the last input that passes, the first that does not.
//! A refusal ends with exit code 2, says on standard error what is wrong, what is allowed and
//! where (file; line and key in text files), leaves standard output empty, and leaves the folder
//! exactly as it was: no output, no temporary file, an older output untouched.

mod captures;
mod sensors;

use crate::bench::{fast_sensor, quietgap, span_s};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Output;

/// A folder with one good file of each kind and an older output.
struct Bench {
    folder: tempfile::TempDir,
    faults: Vec<String>,
}

const OLD: &str = "an older output that a failing run must not touch";
const MOTION: &str = "t_s,x_m,phi_rad\n0,0,0\n0.005,1e-6,2e-6\n0.02,2e-6,-1e-6\n";
const FRAMES: usize = 3200;

impl Bench {
    fn new() -> Self {
        let bench = Self { folder: tempfile::tempdir().expect("a folder"), faults: Vec::new() };
        bench.put("sensor.toml", fast_sensor());
        bench.put("capture.npy", npy(&codes(16)));
        bench.put("motion.csv", MOTION);
        bench.put("old", OLD);
        bench
    }

    fn put(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.folder.path().join(name), content).expect("written");
    }

    fn run(&self, arguments: &[&str]) -> Output {
        quietgap().current_dir(self.folder.path()).args(arguments).output().expect("it starts")
    }

    /// Notes what a refusal lacks; hands on what it says.
    fn refused(&mut self, what: &str, arguments: &[&str], words: &[&str]) -> String {
        let before = content(self.folder.path());
        let output = self.run(arguments);
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        let mut lacks = Vec::new();
        if output.status.code() != Some(2) {
            lacks.push(format!("ends with {}, not 2", output.status));
        } else {
            if !error.starts_with("error: ") {
                lacks.push("does not start with `error: `".to_owned());
            }
            let missing = words.iter().filter(|word| !error.contains(**word));
            lacks.extend(missing.map(|word| format!("does not name `{word}`")));
        }
        if !output.stdout.is_empty() {
            lacks.push("writes to standard output".to_owned());
        }
        let after = content(self.folder.path());
        for (name, held) in &after {
            if before.get(name) != Some(held) {
                lacks.push(format!("leaves `{name}`"));
                let path = self.folder.path().join(name);
                match before.get(name) {
                    Some(held) => std::fs::write(path, held).expect("restored"),
                    None if path.is_dir() => std::fs::remove_dir_all(path).expect("removed"),
                    None => std::fs::remove_file(path).expect("removed"),
                }
            }
        }
        lacks.extend(
            before.keys().filter(|n| !after.contains_key(*n)).map(|n| format!("loses `{n}`")),
        );
        if !lacks.is_empty() {
            let (line, lacks) = (arguments.join(" "), lacks.join(", "));
            self.faults.push(format!("{what}\n    {line}\n    {lacks}\n    {error}"));
        }
        error
    }

    /// Notes where a good input does not pass; what it wrote is removed again.
    fn passes(&mut self, what: &str, arguments: &[&str], written: &[&str]) {
        let output = self.run(arguments);
        if !output.status.success() {
            let error = String::from_utf8_lossy(&output.stderr);
            let line = arguments.join(" ");
            self.faults.push(format!("{what}\n    {line}\n    does not pass\n    {error}"));
            return;
        }
        for name in written {
            if std::fs::remove_file(self.folder.path().join(name)).is_err() {
                self.faults.push(format!("{what}\n    `{name}` is not written"));
            }
        }
    }

    /// A text file's refusal must point at a line that holds `at`.
    fn points(&mut self, what: &str, error: &str, file: &str, text: &str, at: &str) {
        let line = error.split_once(&format!("{file}:")).and_then(|(_, rest)| {
            rest.split(':').next()?.parse::<usize>().ok().and_then(|n| text.lines().nth(n - 1))
        });
        if error.starts_with("error: ")
            && !at.is_empty()
            && !line.is_some_and(|line| line.contains(at))
        {
            self.faults
                .push(format!("{what}\n    does not point at a line with `{at}`\n    {error}"));
        }
    }

    fn done(self) {
        let count = self.faults.len();
        assert!(count == 0, "{count} faults:\n{}", self.faults.join("\n"));
    }
}

/// Names of a folder, those in folders below it too, and what the files hold.
fn content(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        if path.is_dir() {
            let below = content(&path);
            found.extend(below.into_iter().map(|(file, held)| (format!("{name}/{file}"), held)));
            found.insert(name, Vec::new());
        } else {
            // What cannot be read (a socket) has no content, but it is there.
            found.insert(name, std::fs::read(&path).unwrap_or_default());
        }
    }
    found
}

/// Codes of two channels: a carrier at a tenth of the sample rate that grows slowly.
fn codes(bits: u32) -> Vec<i32> {
    let scale = 0.4 * 2f64.powi(bits as i32 - 1) / FRAMES as f64;
    (0..FRAMES)
        .flat_map(|k| {
            let carrier = (std::f64::consts::TAU * (k % 10) as f64 / 10.0).cos();
            [k as f64 * scale * carrier, -0.5 * k as f64 * scale * carrier]
        })
        .map(|code| code.round() as i32)
        .collect()
}

/// An npy file with this header text and data.
fn npy_of(version: u8, header: &str, data: &[u8]) -> Vec<u8> {
    let mut text = header.to_owned();
    let before = if version == 1 { 10 } else { 12 };
    text += &" ".repeat(63 - (before + text.len()) % 64);
    text += "\n";
    let mut file = [b"\x93NUMPY".as_slice(), &[version, 0]].concat();
    match version {
        1 => file.extend((text.len() as u16).to_le_bytes()),
        _ => file.extend((text.len() as u32).to_le_bytes()),
    }
    [&file, text.as_bytes(), data].concat()
}

fn header(kind: &str, order: &str, shape: &str) -> String {
    format!("{{'descr': '{kind}', 'fortran_order': {order}, 'shape': {shape}, }}")
}

fn int32(codes: &[i32]) -> Vec<u8> {
    codes.iter().flat_map(|code| code.to_le_bytes()).collect()
}

fn npy(codes: &[i32]) -> Vec<u8> {
    npy_of(1, &header("<i4", "False", &format!("({}, 2)", codes.len() / 2)), &int32(codes))
}

#[test]
fn motion_files() {
    let mut bench = Bench::new();
    // Good, bad, what the line holds that the message must point at, what the message must name.
    let rows: &[(&str, &str, &str, &str, &[&str])] = &[
        ("number", MOTION, "t_s,x_m\n0,0\n1,nan\n", "1,nan", &["x_m", "nan", "number"]),
        ("text", "t_s,x_m\n0,0\n1,1e-6", "t_s,x_m\n0,0\n1,1e-6m\n", "1e-6m", &["x_m", "`1e-6m`"]),
        ("inf", "t_s,x_m\n0,-0\n1,0\n", "t_s,x_m\n0,-inf\n1,0\n", "-inf", &["x_m", "`-inf`"]),
        ("too large", "t_s,x_m\n0,0\n1,1e-9\n", "t_s,x_m\n0,0\n1,1e999\n", "1e999", &["x_m"]),
        ("empty cell", "t_s\n0\n1\n", "t_s,x_m\n0,0\n1,\n", "1,", &["x_m", "``", "number"]),
        ("time", "t_s\n-1\n1\n", "t_s,x_m\nnan,0\n1,0\n", "nan,0", &["t_s", "`nan`"]),
        ("unit", "t_s,x_m\n0,0\n1,0\n", "t_s,x_mm\n0,0\n1,0\n", "x_mm", &["`x_mm`", "`x_m`"]),
        ("name", MOTION, "t_s,thetta_rad\n0,0\n1,0\n", "thetta", &["thetta_rad", "`theta_rad`"]),
        ("no time", MOTION, "x_m,phi_rad\n0,0\n1,0\n", "x_m", &["t_s"]),
        ("no commas", MOTION, "t_s;x_m\n0;0\n1;0\n", "t_s;x_m", &["t_s"]),
        ("twice", MOTION, "t_s,x_m,x_m\n0,0,1\n1,0,1\n", "x_m,x_m", &["x_m", "twice"]),
        ("time twice", MOTION, "t_s,x_m,t_s\n0,0,0\n1,0,1\n", "x_m,t_s", &["t_s", "twice"]),
        (
            "times",
            "t_s,x_m\n0,0\n1,0\n1.0000001,0\n",
            "t_s,x_m\n0,0\n1,0\n1,5\n",
            "1,5",
            &["t_s", "rising"],
        ),
        (
            "times after comments",
            "# a\n\nt_s,x_m\n0,0\n# b\n1,0\n2,0\n",
            "# a\n\nt_s,x_m\n0,0\n# b\n1,0\n0.5,0\n",
            "0.5,0",
            &["t_s", "0.5", "after 1", "rising"],
        ),
        ("short row", MOTION, "t_s,x_m\n0,0\n1,0\n2\n", "2", &["1", "2"]),
        ("long row", MOTION, "t_s,x_m\n0,0\n1,0,7\n2,0\n", "1,0,7", &["3", "2"]),
    ];
    for (what, good, bad, at, words) in rows {
        bench.put("given.csv", good);
        let run = |out| {
            let command = ["simulate", "sensor.toml", "--motion", "given.csv", "--noise", "off"];
            [command.as_slice(), &["--seconds", "0.01", "--out", out, "--truth", "t.csv"]].concat()
        };
        bench.passes(what, &run("new.npy"), &["new.npy", "t.csv"]);
        bench.put("given.csv", bad);
        let words = [&["given.csv"], *words].concat();
        bench.refused(what, &run("old"), &words);
        bench.refused(what, &["verify", "sensor.toml", "--motion", "given.csv", "--json"], &words);
        let error = bench.refused(what, &run("new.npy"), &words);
        bench.points(what, &error, "given.csv", bad, at);
    }
    for (rows, text) in [("0 rows", "t_s,x_m\n"), ("1 rows", "t_s,x_m\n0,0\n"), ("", "")] {
        bench.put("given.csv", text);
        let command = ["verify", "sensor.toml", "--motion", "given.csv"];
        bench.refused(rows, &command, &["given.csv", rows]);
    }
    bench.put("given.csv", b"t_s,x_m\n0,0\n1,\xff\n");
    bench.refused("not text", &["verify", "sensor.toml", "--motion", "given.csv"], &["given.csv"]);
    bench.done();
}

#[test]
fn paths() {
    let mut bench = Bench::new();
    std::fs::create_dir(bench.folder.path().join("folder")).unwrap();
    #[cfg(unix)]
    let _socket =
        std::os::unix::net::UnixListener::bind(bench.folder.path().join("socket")).unwrap();
    let simulate = ["simulate", "sensor.toml", "--seconds", "0.01", "--motion"];
    let demodulate = |rest: [&'static str; 4]| [["demodulate"].as_slice(), &rest].concat();
    let simulated = |rest: &[&'static str]| [simulate.as_slice(), rest].concat();
    let rows: Vec<(Vec<&str>, &[&str])> = vec![
        (
            demodulate(["none.toml", "capture.npy", "--out", "new"]),
            &["none.toml", "vault-six-axis"],
        ),
        (
            demodulate(["vault-two-brigde", "capture.npy", "--out", "new"]),
            &["vault-two-brigde", "vault-two-bridge"],
        ),
        (demodulate(["folder", "capture.npy", "--out", "new"]), &["folder", "is a folder"]),
        (demodulate(["sensor.toml", "none.npy", "--out", "new"]), &["none.npy", "No such file"]),
        (demodulate(["sensor.toml", "folder", "--out", "new"]), &["folder: is a folder"]),
        (demodulate(["sensor.toml", "capture.npy", "--out", "folder"]), &["folder: cannot write"]),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "none/new"]),
            &["none/new: cannot write", "there is no folder none"],
        ),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "old/new"]),
            &["old/new: cannot write", "there is no folder old"],
        ),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "capture.npy"]),
            &["capture.npy", "input", "output"],
        ),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "folder/../capture.npy"]),
            &["capture.npy", "input", "output"],
        ),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "./sensor.toml"]),
            &["sensor.toml", "input", "output"],
        ),
        (simulated(&["none.csv", "--out", "new"]), &["none.csv", "No such file"]),
        (simulated(&["folder", "--out", "new"]), &["folder", "irectory"]),
        (simulated(&["motion.csv", "--out", "folder"]), &["folder: cannot write"]),
        (
            simulated(&["motion.csv", "--out", "new", "--truth", "folder"]),
            &["folder: cannot write"],
        ),
        (
            simulated(&["motion.csv", "--out", "new", "--truth", "none/t"]),
            &["none/t: cannot write"],
        ),
        (simulated(&["motion.csv", "--out", "motion.csv"]), &["motion.csv", "input", "output"]),
        (simulated(&["motion.csv", "--out", "sensor.toml"]), &["sensor.toml", "input", "output"]),
        (
            simulated(&["motion.csv", "--out", "new", "--truth", "./motion.csv"]),
            &["motion.csv", "input", "output"],
        ),
        (simulated(&["motion.csv", "--out", "new", "--truth", "sensor.toml"]), &["sensor.toml"]),
        (simulated(&["motion.csv", "--out", "new", "--truth", "new"]), &["new"]),
        (simulated(&["motion.csv", "--out", "new", "--truth", "./new"]), &["new"]),
        (vec!["demo", "--seconds", "9", "--out", "old"], &["old", "folder"]),
        #[cfg(unix)]
        (demodulate(["sensor.toml", "capture.npy", "--out", "socket"]), &["socket: cannot write"]),
    ];
    for (arguments, words) in rows {
        bench.refused("path", &arguments, words);
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        let kind = bench.folder.path().join("socket").symlink_metadata().unwrap().file_type();
        if !kind.is_socket() {
            // Think of /dev/null.
            bench.faults.push("an output replaces what is not a file".to_owned());
        }
    }
    bench.done();
}

/// The demo's three files come all or none.
#[test]
fn demo_leaves_no_half() {
    for taken in ["readings.csv", "accuracy.json", "report.html"] {
        let mut bench = Bench::new();
        std::fs::create_dir_all(bench.folder.path().join("demo").join(taken)).unwrap();
        let seconds = (span_s("vault-two-bridge") + 0.5).to_string();
        let command = ["demo", "--seconds", &seconds, "--out", "demo", "--json"];
        bench.refused(taken, &command, &[taken, "cannot write"]);
        bench.done();
    }
}

#[test]
fn usage() {
    let mut bench = Bench::new();
    let rows: &[(&str, &[&str])] = &[
        ("frobnicate", &["frobnicate"]),
        ("verify", &["SENSOR"]),
        ("verify sensor.toml extra", &["extra"]),
        ("verify sensor.toml --secnods 3", &["--secnods", "--seconds"]),
        ("verify sensor.toml --seconds", &["--seconds"]),
        ("verify sensor.toml --seconds three", &["--seconds", "three"]),
        ("verify sensor.toml --seconds -1", &["--seconds", "-1"]),
        ("verify sensor.toml --seconds=-1", &["--seconds", "-1", "allowed"]),
        ("verify sensor.toml --seconds nan", &["--seconds", "NaN", "allowed"]),
        ("verify sensor.toml --seconds inf", &["--seconds", "inf", "allowed"]),
        ("verify sensor.toml --seconds 0", &["--seconds", "0", "allowed", "0.00039"]),
        ("verify sensor.toml --noise maybe", &["--noise", "maybe", "on", "off"]),
        ("verify sensor.toml --without nonsense", &["--without", "nonsense", "polarisation"]),
        ("verify sensor.toml --without jitter,nonsense", &["--without", "nonsense", "jitter"]),
        ("verify sensor.toml --seed 1.5", &["--seed", "1.5"]),
        ("verify sensor.toml --seed 18446744073709551616", &["--seed"]),
        (
            "verify sensor.toml --motion motion.csv --capture capture.npy",
            &["--motion", "--capture"],
        ),
        ("verify sensor.toml --capture capture.npy --seconds 1", &["--capture", "--seconds"]),
        ("verify sensor.toml --capture capture.npy --noise off", &["--capture", "--noise"]),
        ("verify sensor.toml --capture capture.npy --without jitter", &["--capture", "--without"]),
        ("verify sensor.toml --capture capture.npy --seed 3", &["--capture", "--seed"]),
        ("demodulate sensor.toml capture.npy", &["--out"]),
        ("demodulate sensor.toml --out new", &["CAPTURE"]),
        ("demodulate sensor.toml capture.npy --out new --threads 0", &["--threads", "0", "1..=64"]),
        ("demodulate sensor.toml capture.npy --out new --threads 65", &["--threads", "65"]),
        ("demodulate sensor.toml capture.npy --out new --threads two", &["--threads", "two"]),
        ("simulate sensor.toml --out new", &["--motion"]),
        ("simulate sensor.toml --motion motion.csv", &["--out"]),
        ("simulate sensor.toml --motion motion.csv --out new --seconds 0", &["--seconds"]),
        ("simulate sensor.toml --motion motion.csv --out old --without x", &["--without", "x"]),
        ("simulate vault-two-bridge --motion motion.csv --out new", &["motion.csv", "0.02"]),
        ("demo --seconds 1 --out demo", &["--seconds", "1", "allowed"]),
        ("demo --seconds nan --out demo", &["--seconds", "NaN"]),
        ("demo vault-six-axis", &["vault-six-axis"]),
    ];
    for (line, words) in rows {
        let arguments: Vec<&str> = line.split(' ').collect();
        bench.refused("usage", &arguments, words);
    }
    for (name, _) in quietgap_sim::instrument::BUILT_IN {
        let span = format!("{:.3}", span_s(name));
        bench.refused(
            "too short",
            &["verify", name, "--seconds", "0.1"],
            &["--seconds", "0.1", &span],
        );
    }
    // The last times that pass: one reading's filters, to the sample.
    bench.put("quiet.toml", fast_sensor().replace("rms_vs_truth", "# rms_vs_truth"));
    let least = ["verify", "quiet.toml", "--noise", "off", "--seconds", "0.0004"];
    bench.passes("shortest run", &least, &[]);
    let most = ["demodulate", "sensor.toml", "capture.npy", "--out", "new", "--threads", "64"];
    bench.passes("threads", &most, &["new"]);
    bench.done();
}
