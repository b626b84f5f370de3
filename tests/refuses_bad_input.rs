//! Bad input to the command line, by pairs: the last input that passes, the first that does not.
//! A refusal ends with exit code 2, says on standard error what is wrong, what is allowed and
//! where (file; line and key in text files), leaves standard output empty, and leaves the folder
//! exactly as it was: no output, no temporary file, an older output untouched.

mod common;

use common::{fast_sensor, quietgap, span_s};
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

/// What a WAV file says of itself; the codes stand at the top of its words.
#[derive(Clone)]
struct Wav {
    tag: u16,
    channels: u16,
    rate: u32,
    bits: u16,
    /// Length of the data chunk, where it is not that of the data.
    length: Option<u64>,
    long: bool,
    extensible: bool,
    /// A chunk before the format.
    before: &'static [u8],
    data_first: bool,
}

const PCM24: Wav = Wav {
    tag: 1,
    channels: 2,
    rate: 800_000,
    bits: 24,
    length: None,
    long: false,
    extensible: false,
    before: b"",
    data_first: false,
};

impl Wav {
    fn of(&self, codes: &[i32], code_bits: u32) -> Vec<u8> {
        let bytes = usize::from(self.bits.div_ceil(8));
        let data: Vec<u8> = codes
            .iter()
            .flat_map(|code| {
                let word = i64::from(*code) << (u32::from(self.bits).max(code_bits) - code_bits);
                word.to_le_bytes()[..bytes].to_vec()
            })
            .collect();
        let length = self.length.unwrap_or(data.len() as u64);
        let frame = self.channels * bytes as u16;
        let mut format = if self.extensible { 0xfffe_u16 } else { self.tag }.to_le_bytes().to_vec();
        format.extend(self.channels.to_le_bytes());
        format.extend(self.rate.to_le_bytes());
        format.extend((self.rate * u32::from(frame)).to_le_bytes());
        format.extend(frame.to_le_bytes());
        format.extend(self.bits.to_le_bytes());
        if self.extensible {
            format.extend(22u16.to_le_bytes());
            format.extend(self.bits.to_le_bytes());
            format.extend(3u32.to_le_bytes());
            format.extend(self.tag.to_le_bytes());
            format.extend(b"\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71");
        }
        let chunk = |name: &[u8; 4], length: u32, body: &[u8]| {
            [name.as_slice(), &length.to_le_bytes(), body].concat()
        };
        let short = |length: u64| if self.long { u32::MAX } else { length as u32 };
        let mut body = Vec::new();
        if self.long {
            let sizes = [length.saturating_add(100), length, length / u64::from(frame.max(1))];
            let sizes: Vec<u8> = sizes.iter().flat_map(|n| n.to_le_bytes()).chain([0; 4]).collect();
            body.extend(chunk(b"ds64", 28, &sizes));
        }
        body.extend(self.before);
        let format = chunk(b"fmt ", format.len() as u32, &format);
        let data = chunk(b"data", short(length), &data);
        body.extend(if self.data_first { [data, format] } else { [format, data] }.concat());
        let name = if self.long { b"RF64" } else { b"RIFF" };
        chunk(name, short(body.len() as u64 + 4), &[b"WAVE".as_slice(), &body].concat())
    }
}

#[test]
fn captures() {
    let mut bench = Bench::new();
    let codes = codes(16);
    let int32 = int32(&codes);
    let frames = FRAMES;
    let with =
        |kind: &str, order: &str, shape: &str| npy_of(1, &header(kind, order, shape), &int32);
    let shape = format!("({frames}, 2)");
    let good = npy(&codes);
    let wav = PCM24.of(&codes, 24);
    let doubled = [codes.as_slice(), &codes].concat();
    let odd = PCM24.of(&codes, 24).len() as u64 - 44 - 1;
    let mut unknown = wav.clone();
    unknown[8..12].copy_from_slice(b"WEVA");
    // A header that says it is longer than the file, and a count of bytes beyond 64 bits.
    let endless = [b"\x93NUMPY\x02\0".as_slice(), &u32::MAX.to_le_bytes(), b"{'descr'"].concat();
    let rows: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("empty file", Vec::new(), &["0 bytes"]),
        ("three bytes", b"\x93NU".to_vec(), &["3 bytes"]),
        ("text", MOTION.into(), &["npy", "WAV"]),
        ("npy magic alone", good[..6].to_vec(), &["npy header"]),
        ("npy header cut", good[..100].to_vec(), &["npy header"]),
        ("npy header endless", endless, &["npy header"]),
        ("npy header not a dictionary", npy_of(1, "[1, 2]", &int32), &["npy header"]),
        ("npy without a shape", npy_of(1, "{'descr': '<i4'}", &int32), &["npy header"]),
        ("float", with("<f4", "False", &shape), &["<f4", "<i4", "<i2"]),
        ("64 bits", with("<i8", "False", &shape), &["<i8", "<i4", "<i2"]),
        ("unsigned", with("<u4", "False", &shape), &["<u4", "<i4", "<i2"]),
        ("big-endian", with(">i4", "False", &shape), &[">i4", "<i4", "<i2"]),
        ("Fortran order", with("<i4", "True", &shape), &["Fortran", "C order"]),
        ("one dimension", with("<i4", "False", "(6400,)"), &["[6400]", "(samples, channels)"]),
        ("three dimensions", with("<i4", "False", "(1600, 2, 2)"), &["[1600, 2, 2]"]),
        ("no channels", with("<i4", "False", "(3200, 0)"), &["[3200, 0]"]),
        ("one channel", with("<i4", "False", "(6400, 1)"), &["1 channel", "the sensor has 2"]),
        ("three channels", with("<i4", "False", "(2000, 3)"), &["3 channels", "the sensor has 2"]),
        ("negative frames", with("<i4", "False", "(-1, 2)"), &["npy header"]),
        ("npy cut by a byte", good[..good.len() - 1].to_vec(), &["truncated", "25727", "25728"]),
        ("a frame more", with("<i4", "False", "(3201, 2)"), &["truncated", "25728", "25736"]),
        ("2^64 bytes", with("<i4", "False", "(2305843009213693952, 2)"), &["truncated"]),
        ("2^64 and 8 bytes", with("<i4", "False", "(2305843009213693953, 2)"), &["truncated"]),
        ("RIFF, not WAVE", unknown, &["WAVE"]),
        ("float WAV", Wav { tag: 3, bits: 32, ..PCM24 }.of(&codes, 24), &["tag 3", "PCM"]),
        (
            "float, extensible WAV",
            Wav { tag: 3, bits: 32, extensible: true, ..PCM24 }.of(&codes, 24),
            &["tag 3", "PCM"],
        ),
        ("8-bit WAV", Wav { bits: 8, ..PCM24 }.of(&codes, 24), &["8-bit", "16, 24"]),
        ("16 bits for 24", Wav { bits: 16, ..PCM24 }.of(&codes, 24), &["16-bit", "24 bits"]),
        ("WAV without channels", Wav { channels: 0, ..PCM24 }.of(&codes, 24), &["no channels"]),
        (
            "WAV of four channels",
            Wav { channels: 4, ..PCM24 }.of(&doubled, 24),
            &["4 channels", "the sensor has 2"],
        ),
        ("WAV rate", Wav { rate: 799_999, ..PCM24 }.of(&codes, 24), &["799999", "800000"]),
        ("odd data", Wav { length: Some(odd), ..PCM24 }.of(&codes, 24), &["19199", "frames of 6"]),
        ("no data chunk", wav[..36].to_vec(), &["no data chunk"]),
        ("WAV header cut", wav[..30].to_vec(), &["header"]),
        ("data before format", Wav { data_first: true, ..PCM24 }.of(&codes, 24), &["format"]),
        ("WAV cut by a byte", wav[..wav.len() - 1].to_vec(), &["truncated", "19243", "19244"]),
        (
            "RF64 of nearly 2^64 bytes",
            Wav { long: true, length: Some(u64::MAX / 6 * 6), ..PCM24 }.of(&codes, 24),
            &["truncated"],
        ),
    ];
    for (what, bytes, words) in rows {
        bench.put("bad", bytes);
        let words = [&["bad: "], words].concat();
        for out in ["new", "old"] {
            let mut command = vec!["demodulate", "sensor.toml", "bad", "--json", "--out", out];
            bench.refused(what, &command, &words);
            command.push("--ideal");
            bench.refused(what, &command, &words);
        }
        bench.refused(what, &["verify", "sensor.toml", "--capture", "bad", "--json"], &words);
    }
    bench.done();
}

/// The good sides of the pairs above: all forms of the same codes give the same readings.
#[test]
fn captures_of_all_forms_agree() {
    let mut bench = Bench::new();
    let small = codes(16);
    let int16: Vec<u8> = small.iter().flat_map(|c| (*c as i16).to_le_bytes()).collect();
    let shape = format!("({FRAMES}, 2)");
    let sixteen = fast_sensor().replace("bits = 24", "bits = 16");
    bench.put("16.toml", sixteen);
    // LIST is five bytes and so one of padding.
    let list = b"LIST\x05\0\0\0INFO\0\0";
    let forms: Vec<(&str, &str, Vec<u8>)> = vec![
        ("sensor.toml", "npy", npy(&small)),
        ("sensor.toml", "npy 2.0", npy_of(2, &header("<i4", "False", &shape), &int32(&small))),
        ("sensor.toml", "int16 npy", npy_of(1, &header("<i2", "False", &shape), &int16)),
        ("sensor.toml", "24-bit WAV", PCM24.of(&small, 24)),
        ("sensor.toml", "WAV with a list", Wav { before: list, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "extensible WAV", Wav { extensible: true, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "32-bit WAV", Wav { bits: 32, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "RF64", Wav { long: true, ..PCM24 }.of(&small, 24)),
        ("sensor.toml", "32-bit RF64", Wav { long: true, bits: 32, ..PCM24 }.of(&small, 24)),
        ("16.toml", "npy", npy(&small)),
        ("16.toml", "int16 npy", npy_of(1, &header("<i2", "False", &shape), &int16)),
        ("16.toml", "16-bit WAV", Wav { bits: 16, ..PCM24 }.of(&small, 16)),
        ("16.toml", "16-bit RF64", Wav { long: true, bits: 16, ..PCM24 }.of(&small, 16)),
        ("16.toml", "24-bit WAV", PCM24.of(&small, 16)),
        ("16.toml", "32-bit WAV", Wav { bits: 32, ..PCM24 }.of(&small, 16)),
    ];
    let mut first = BTreeMap::new();
    for (sensor, what, bytes) in forms {
        bench.put("capture", bytes);
        let output = bench.run(&["demodulate", sensor, "capture", "--out", "readings.csv"]);
        let error = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{sensor}, {what}: {error}");
        let readings = std::fs::read_to_string(bench.folder.path().join("readings.csv")).unwrap();
        assert_eq!(readings.lines().count(), 1 + FRAMES / 160 - 1, "{sensor}, {what}");
        let same = first.entry(sensor).or_insert_with(|| readings.clone());
        assert!(readings == *same, "{sensor}: {what} gives other readings than npy");
    }
    bench.passes("verify", &["verify", "sensor.toml", "--capture", "capture.npy"], &[]);
    bench.done();
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

const FIR: &str = "output_rate_hz = 5000.0\n";

/// One change of a sensor file: what, from, last good, first bad, at (part of the line that the
/// message must point at), words that the message must name.
type Change = (&'static str, &'static str, &'static str, &'static str, &'static [&'static str]);

/// Values that are out of range, of the wrong type or missing.
const VALUES: &[Change] = &[
    ("gap_m = 0.002", "gap_m = 0.002", "gap_m = -0.002", "gap_m", &["gap_m", "-0.002"]),
    ("gap_m = 0.002", "gap_m = 2e-3", "gap_m = 0.0", "gap_m", &["electrode[1].gap_m", "is 0"]),
    ("gap_m = 0.002", "gap_m = 0.2e-2", "gap_m = inf", "gap_m", &["gap_m", "inf", "1"]),
    ("injection_v = 5.0", "injection_v = 5.5", "injection_v = nan", "nan", &["injection_v", "NaN"]),
    ("area_m2 = 0.00048", "area_m2 = 480e-6", "area_m2 = -1.0", "area_m2", &["area_m2", "-1"]),
    ("bits = 24", "bits = 32", "bits = 33", "bits = 33", &["converter.bits", "33", "8 to 32"]),
    ("bits = 24", "bits = 8", "bits = 7", "bits = 7", &["converter.bits", "7", "8 to 32"]),
    ("bits = 24", "bits = 23", "bits = \"23\"", "bits", &["bits", "\"23\"", "u32"]),
    ("bits = 24", "bits = 23", "bits = 23.5", "bits", &["bits", "23.5", "u32"]),
    ("bits = 24", "bits = 0x18", "bits = = 24", "bits = =", &["="]),
    ("bits = 24", "bits = 24", "bits = 24\nbits = 24", "bits", &["duplicate", "bits"]),
    ("schema = 1", "schema = 1", "schema = 2", "schema", &["schema", "2", "1"]),
    (
        "offset_v = 0.8e-3",
        "offset_v = 5.0",
        "offset_v = 5.01",
        "offset_v",
        &["offset_v", "-5 to 5"],
    ),
    ("jitter_s = 2e-12", "jitter_s = 0.0", "jitter_s = -1e-12", "jitter_s", &["jitter_s", "0 to"]),
    ("gain = 1.0", "gain = 0.9", "gain = 0", "gain = 0", &["amplifier.gain", "is 0"]),
    (
        "range = 0.5",
        "range = 0.9",
        "range = 0.91",
        "range = 0.91",
        &["health.range", "0.91", "0.9"],
    ),
    (
        "frequency_hz = 80000.0",
        "frequency_hz = 399999.0",
        "frequency_hz = 400000.0",
        "frequency_hz = 4",
        &["carrier.frequency_hz", "400000"],
    ),
    (
        "frequency_hz = 80000.0",
        "frequency_hz = 0.001",
        "frequency_hz = 0.0",
        "frequency_hz = 0.0",
        &["carrier.frequency_hz", "is 0"],
    ),
    ("gap_m = 0.002", "gap_m = 2.0e-3", "gap_mm = 2.0", "gap_mm", &["`gap_mm`", "`gap_m`"]),
    ("[mass]", "[mass]", "[mas]", "[mas]", &["`mas`", "`mass`"]),
    ("gap_m = 0.002\n", "gap_m = 0.002\n", "", "[[electrode]]", &["`gap_m`"]),
    ("rms_vs_truth_m", "max_vs_ideal_m", "max_vs_idael_m", "idael", &["idael", "`max_vs_ideal_m`"]),
    ("1.0e-8", "0", "-1.0e-8", "-1.0e-8", &["limits.rms_vs_truth_m", "-0.00000001", "0 to"]),
    ("1.0e-8", "1e300", "nan", "nan", &["limits.rms_vs_truth_m", "NaN"]),
    ("1.0e-8", "1", "\"small\"", "small", &["rms_vs_truth_m", "small"]),
];

/// Parts that do not fit each other.
const WIRING: &[Change] = &[
    ("\"phi\"", "\"phi\"", "\"psi\"", "psi", &["axes.names", "`psi`", "x, y, z, theta, eta, phi"]),
    ("\"x\", \"phi\"", "\"x\"", "\"phi\", \"x\"", "names", &["axes.names", "order"]),
    ("\"x\", \"phi\"", "\"phi\"", "\"x\", \"x\"", "names", &["axes.names", "once"]),
    ("\"x\", \"phi\"", "\"x\", \"phi\"", "\"x\", \"y\"", "names", &["axes.names", "tell", "apart"]),
    ("\"x\", \"phi\"", "\"x\", \"phi\"", "\"x\", \"eta\"", "names", &["axes.names", "apart"]),
    ("\"x\", \"phi\"", "\"x\"", "", "names", &["axes.names", "0 axes", "1 to 2"]),
    (
        "\"x\", \"phi\"",
        "\"x\", \"phi\"",
        "\"x\", \"y\", \"phi\"",
        "names",
        &["axes.names", "3 axes", "1 to 2"],
    ),
    ("name = \"x+south\"", "name = \"x+south\"", "name = \"x+north\"", "x+north", &["twice"]),
    (
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-soth\"]",
        "x-soth",
        &["bridge[2].electrodes", "`x-soth`", "`x-south`"],
    ),
    (
        "\"x+south\", \"x-south\"]",
        "\"x-south\", \"x+south\"]",
        "\"x+south\", \"z-\"]",
        "z-",
        &["bridge[2].electrodes", "`z-`", "sensing"],
    ),
    (
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x+north\"]",
        "x+north",
        &["bridge[2].electrodes", "opposite"],
    ),
    (
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-south\"]",
        "\"x+south\", \"x-north\"]",
        "x-north",
        &["bridge[2].electrodes", "`x-north`", "bridge[1]"],
    ),
    ("role = \"inject\"", "role = \"inject\"", "role = \"injct\"", "injct", &["injct", "inject"]),
    ("channel = 1", "channel = 1", "channel = 2", "channel = 2", &["channel 2", "0 to 1"]),
    ("channel = 1", "channel = 1", "channel = 0", "channel = 0", &["channel 0", "once"]),
    ("channel = 1", "channel = 1", "channel = 256", "channel = 256", &["channel", "256", "u8"]),
    ("channel = 1", "channel = 1", "channel = -1", "channel = -1", &["channel", "-1", "u8"]),
    ("channel = 1", "channel = 1", "channels = [1, 2]", "kind", &["bridge[2].kind", "`channel`"]),
    ("name = \"north\"", "name = \"n-1\"", "name = \"n,1\"", "n,1", &["bridge[1].name", "`n,1`"]),
    (
        "name = \"north\"",
        "name = \"East\"",
        "name = \"south\"",
        "south",
        &["bridge[2].name", "twice"],
    ),
    (
        "normal = [1.0, 0.0, 0.0]",
        "normal = [1, 0, 0]",
        "normal = [2.0, 0.0, 0.0]",
        "normal",
        &["electrode[1].normal", "is 2"],
    ),
    (
        "width_axis = [0.0, 1.0, 0.0]",
        "width_axis = [0.0, 0.6, 0.8]",
        "width_axis = [0.6, 0.8, 0.0]",
        "width_axis",
        &["electrode[1].width_axis", "0.6"],
    ),
];

/// Plans, and constants that the readout cannot hold: no overflow is left to a run.
const PLANS: &[Change] = &[
    ("order = 2", "order = 6", "order = 7", "order = 7", &["plan.order", "7", "1 to 6"]),
    ("order = 2", "order = 1", "order = 0", "order = 0", &["plan.order", "0", "1 to 6"]),
    (FIR, "", "differential_delay = 3\n", "delay = 3", &["plan.differential_delay", "1 to 2"]),
    (
        "ratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0",
        "ratio = 4096",
        "ratio = 4097",
        "ratio = 4097",
        &["plan.ratio", "4097", "2 to 4096"],
    ),
    (
        "rate_hz = 800000.0\nout",
        "rate_hz = 8e5\nout",
        "rate_hz = 800001.0\nout",
        "1.0",
        &["800001"],
    ),
    (FIR, "output_rate_hz = 5e3", "output_rate_hz = 10.0", "= 10.0", &["10", "160", "5000 Hz"]),
    (
        "order = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0",
        "order = 6\ndifferential_delay = 2\nratio = 2896",
        "order = 6\ndifferential_delay = 2\nratio = 2897",
        "[plan]",
        &["front end", "128", "1 to 127"],
    ),
    (
        "order = 2\nratio = 160\nrate_hz = 800000.0\noutput_rate_hz = 5000.0",
        "order = 6\ndifferential_delay = 1\nratio = 4096",
        "order = 6\ndifferential_delay = 2\nratio = 4096",
        "[plan]",
        &["front end", "130", "1 to 127"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [1, 2, 1]\n",
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [1, 2, 2]\n",
        "taps",
        &["plan.fir[1].taps", "mirror", "symmetric"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [-1, 3, -1]\n",
        "[[plan.fir]]\nratio = 2\nscale_bits = 2\ntaps = [-1, 2, -1]\n",
        "taps",
        &["plan.fir[1].taps", "sum"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 2\nscale_bits = 0\ntaps = [1]\n",
        "[[plan.fir]]\nratio = 2\nscale_bits = 0\ntaps = []\n",
        "taps",
        &["plan.fir[1].taps", "no taps"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [2147483647, 2147483647]\n",
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [1431655765, 1431655766, 1431655765]\n",
        "[[plan.fir]]",
        &["FIR stage 1", "sum of |taps|", "4294967296", "4294967295"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [1073741824]\n",
        "[[plan.fir]]\nratio = 0\nscale_bits = 30\ntaps = [1073741824]\n",
        "[[plan.fir]]",
        &["FIR stage 1", "ratio is 0", "1 to 4096"],
    ),
    (
        FIR,
        "[[plan.fir]]\nratio = 1\nscale_bits = 30\ntaps = [1073741824]\n",
        "[[plan.fir]]\nratio = 1\nscale_bits = 31\ntaps = [1073741824]\n",
        "[[plan.fir]]",
        &["FIR stage 1", "scale bits is 31", "0 to 30"],
    ),
    (
        "ratio = 160\n",
        "ratio = 160\npath = \"coherent\"\n",
        "ratio = 160\npath = \"cohernt\"\n",
        "cohernt",
        &["path", "cohernt", "coherent"],
    ),
    (
        FIR,
        "[plan.mask]\npass_hz = 3.0\npass_db = 0.001\nalias_into_hz = 4.0\nalias_db = 120.0\n",
        "[plan.mask]\npass_hz = nan\npass_db = 0.001\nalias_into_hz = 4.0\nalias_db = 120.0\n",
        "pass_hz",
        &["plan.mask.pass_hz", "NaN"],
    ),
    (
        "channel = 0",
        "channel = 0\na0_code = 1e6",
        "channel = 0\na0_code = 1e15",
        "[[bridge]]",
        &["bridge 1", "full-bridge word", "allowed"],
    ),
    (
        "channel = 0",
        "channel = 0\na0_code = 1e6",
        "channel = 0\na0_code = 1e-20",
        "[[bridge]]",
        &["bridge 1", "full-bridge word", "allowed"],
    ),
];

/// Applies rows of changes: the good side is read out, the bad side refused.
fn changes(rows: &[Change]) {
    let mut bench = Bench::new();
    for (from, good, bad, at, words) in rows {
        let text = fast_sensor();
        assert!(text.contains(from), "no `{from}` to change");
        let what = format!("`{from}` to `{bad}`");
        let run = |out| ["demodulate", "given.toml", "capture.npy", "--out", out];
        bench.put("given.toml", text.replacen(from, good, 1));
        bench.passes(&format!("`{from}` to `{good}`"), &run("new"), &["new"]);
        let text = text.replacen(from, bad, 1);
        bench.put("given.toml", &text);
        let words = [&["given.toml"], *words].concat();
        bench.refused(&what, &run("old"), &words);
        bench.refused(&what, &["verify", "given.toml", "--seconds", "0.01", "--json"], &words);
        let error = bench.refused(&what, &run("new"), &words);
        bench.points(&what, &error, "given.toml", &text, at);
    }
    bench.done();
}

#[test]
fn sensor_values() {
    changes(VALUES);
}

#[test]
fn sensor_wiring() {
    changes(WIRING);
}

#[test]
fn sensor_plans() {
    changes(PLANS);
}

/// What takes more than one change.
#[test]
fn sensor_files() {
    let mut bench = Bench::new();
    let text = fast_sensor();
    let (head, plan) = text.split_at(text.find("[plan]").expect("a plan"));
    let (plan_file, named) =
        (plan.replace("[plan]\n", ""), format!("plan_file = \"p.toml\"\n{head}"));
    let run = ["demodulate", "given.toml", "capture.npy", "--out", "new"];
    let refused = |bench: &mut Bench, what: &str, text: &str, at: &str, words: &[&str]| {
        bench.put("given.toml", text);
        let error = bench.refused(what, &run, words);
        bench.points(what, &error, "given.toml", text, at);
    };

    bench.put("p.toml", &plan_file);
    bench.put("given.toml", &named);
    bench.passes("plan in a file", &run, &["new"]);
    let text = format!("plan_file = \"p.toml\"\n{text}");
    refused(&mut bench, "two plans", &text, "plan_file", &["plan_file", "plan", "one"]);
    refused(&mut bench, "no plan", head, "", &["given.toml", "plan", "plan_file"]);
    let text = named.replace("p.toml", "q.toml");
    refused(&mut bench, "no plan file", &text, "", &["q.toml"]);
    for (from, to, at, words) in [
        ("ratio = 160", "ratio = 1", "ratio = 1", ["ratio", "is 1", "2 to 4096"]),
        ("ratio = 160", "raito = 160", "raito", ["unknown key", "`raito`", "`ratio`"]),
        ("output_rate_hz = 5000.0", "output_rate_hz = 5001.0", "5001", ["5001", "160", "5000 Hz"]),
        ("order = 2", "order = ", "order = ", ["p.toml", "", ""]),
    ] {
        let bad = plan_file.replace(from, to);
        bench.put("p.toml", &bad);
        bench.put("given.toml", &named);
        let error = bench.refused(to, &run, &words);
        bench.points(to, &error, "p.toml", &bad, at);
    }

    let text = fast_sensor().replace("frequency_hz = 80000.0", "frequency_hz = 80001.7");
    let text = text.replace("ratio = 160", "ratio = 160\npath = \"coherent\"");
    refused(&mut bench, "not coherent", &text, "[plan]", &["front end", "carrier"]);

    // The whole nanohertz nearest to this carrier is half of the sample rate.
    let slow = |frequency: &str| {
        let text = fast_sensor().replace("80000.0", frequency).replace("800000.0", "1.0");
        let text = text.replace("output_rate_hz = 5000.0", "output_rate_hz = 0.00625");
        let text = text.replace("frequency_hz = 83.0", "frequency_hz = 0.3");
        let text = text.replace("frequency_hz = 1210.0", "frequency_hz = 0.3");
        text.replace("noise_corner_hz = 100.0", "noise_corner_hz = 0.1")
            .replace("noise_corner_hz = 10.0", "noise_corner_hz = 0.1")
    };
    bench.put("given.toml", slow("0.499999999"));
    bench.passes("just below half the rate", &run, &["new"]);
    let text = slow("0.4999999995");
    let words = ["given.toml", "carrier"];
    refused(&mut bench, "half the rate to a nanohertz", &text, "frequency_hz", &words);

    let text = fast_sensor().replace("\"inject\"", "\"sense\"");
    refused(&mut bench, "no injection", &text, "[[electrode]]", &["electrode", "inject"]);
    let stage = "[[plan.fir]]\nratio = 1\nscale_bits = 0\ntaps = [1]\n";
    bench.put("given.toml", fast_sensor() + &stage.repeat(6));
    bench.passes("six stages", &run, &["new"]);
    let text = fast_sensor() + &stage.repeat(7);
    refused(&mut bench, "seven stages", &text, "plan", &["number of stages", "7", "0 to 6"]);
    let text = fast_sensor().replace("gap_m = 0.002", "gap_m = 1e-30");
    refused(&mut bench, "no gap left", &text, "", &["given.toml", "bridge 1", "allowed"]);
    let text = fast_sensor().replace("[amplifier]", "[carrier.amplifier]");
    refused(&mut bench, "wrong place", &text, "amplifier", &["`amplifier`"]);
    refused(&mut bench, "empty", "", "", &["given.toml", "`schema`"]);
    bench.put("given.toml", b"schema = \xff");
    bench.refused("not text", &run, &["given.toml"]);
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
        (demodulate(["folder", "capture.npy", "--out", "new"]), &["folder", "irectory"]),
        (demodulate(["sensor.toml", "none.npy", "--out", "new"]), &["none.npy", "No such file"]),
        (demodulate(["sensor.toml", "folder", "--out", "new"]), &["folder: is a folder"]),
        (demodulate(["sensor.toml", "capture.npy", "--out", "folder"]), &["folder: cannot write"]),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "none/new"]),
            &["none/new: cannot write", "No such file"],
        ),
        (
            demodulate(["sensor.toml", "capture.npy", "--out", "old/new"]),
            &["old/new: cannot write", "directory"],
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
    for (name, _) in quietgap_sim::sensor::BUILT_IN {
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
