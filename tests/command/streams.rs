//! Evidence: captures and readings as streams and what is said of them: pipes, words without a header,
//! channels that stand still, figures without a value, short messages.

use crate::bench::{fast_sensor, quietgap};
use serde_json::Value;
use std::io::Write;
use std::path::Path;
use std::process::{Output, Stdio};

const FRAMES: usize = 3200;

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("sensor.toml"), fast_sensor()).expect("written");
    folder
}

/// A carrier at a tenth of the sample rate in two channels.
fn codes(scale: f64) -> Vec<i32> {
    (0..FRAMES)
        .flat_map(|k| {
            let carrier = (std::f64::consts::TAU * (k % 10) as f64 / 10.0).cos();
            [scale * carrier, -scale * carrier]
        })
        .map(|code| code.round() as i32)
        .collect()
}

fn npy(kind: &str, header: &str, data: &[u8]) -> Vec<u8> {
    let frames = FRAMES;
    let mut text = if header.is_empty() {
        format!("{{'descr': '{kind}', 'fortran_order': False, 'shape': ({frames}, 2), }}\n")
    } else {
        header.to_owned()
    };
    // The header's end on a multiple of 64 is usual, not needed.
    text.insert(text.len() - 1, ' ');
    let length = (text.len() as u16).to_le_bytes();
    [b"\x93NUMPY\x01\x00".as_slice(), &length, text.as_bytes(), data].concat()
}

fn int32(codes: &[i32]) -> Vec<u8> {
    codes.iter().flat_map(|code| code.to_le_bytes()).collect()
}

fn int16(codes: &[i32]) -> Vec<u8> {
    codes.iter().flat_map(|code| (*code as i16).to_le_bytes()).collect()
}

fn run(folder: &Path, arguments: &[&str], input: &[u8]) -> Output {
    let mut child = quietgap()
        .current_dir(folder)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    // A command that refuses its arguments may not read.
    let _ = child.stdin.take().expect("a pipe").write_all(input);
    child.wait_with_output().expect("it ends")
}

#[track_caller]
fn said(output: &Output, code: i32, words: &[&str]) {
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{error}");
    for word in words {
        assert!(error.contains(word), "no `{word}`: {error}");
    }
    assert!(code != 2 || error.chars().count() <= 310, "{} characters", error.chars().count());
}

/// npy, WAV-less words and readings through pipes: the bytes of the same run on files.
#[test]
fn pipes() {
    let folder = folder();
    let at = folder.path();
    let data = int32(&codes(1e6));
    let file = npy("<i4", "", &data);
    std::fs::write(at.join("c.npy"), &file).expect("written");
    said(&run(at, &["demodulate", "sensor.toml", "c.npy", "--out", "r.csv"], b""), 0, &[]);
    let want = std::fs::read(at.join("r.csv")).expect("readings");
    let piped = run(at, &["demodulate", "sensor.toml", "-", "--out", "-"], &file);
    said(&piped, 0, &[]);
    assert!(piped.stdout == want, "standard output differs from the file");
    let raw = ["demodulate", "sensor.toml", "-", "--words", "i32", "--out", "-"];
    assert!(run(at, &raw, &data).stdout == want, "words without a header");
    let packed: Vec<u8> =
        codes(1e6).iter().flat_map(|code| code.to_le_bytes()[..3].to_vec()).collect();
    let raw24 = ["demodulate", "sensor.toml", "-", "--words", "i24", "--out", "-"];
    assert!(run(at, &raw24, &packed).stdout == want, "packed words");
    std::fs::write(at.join("c.raw"), &data).expect("written");
    let from_file = ["demodulate", "sensor.toml", "c.raw", "--words", "i32", "--out", "-"];
    assert!(run(at, &from_file, b"").stdout == want, "a file of words");
    // What a pipe can have wrong.
    let short = &file[..file.len() - 8];
    let line = ["demodulate", "sensor.toml", "-", "--out", "late.csv"];
    said(&run(at, &line, short), 2, &["standard input", "1 frames before"]);
    said(&run(at, &line, &file[..file.len() - 3]), 2, &["standard input", "within a frame"]);
    said(&run(at, &line, b"abcdefgh"), 2, &["standard input", "--words"]);
    said(&run(at, &line, b""), 2, &["standard input", "too short"]);
    said(&run(at, &raw, &data[..data.len() - 1]), 2, &["within a frame of 8 bytes"]);
    assert!(!at.join("late.csv").exists());
    said(&run(at, &[&line[..], &["--threads", "2"]].concat(), &file), 2, &["--threads 2", "1"]);
    let both = ["demodulate", "sensor.toml", "c.npy", "--out", "-", "--json"];
    said(&run(at, &both, b""), 2, &["--json", "--out -"]);
}

/// int16 of a 24-bit sensor read 256 times too small, healthy.
#[test]
fn narrow_words() {
    let folder = folder();
    let at = folder.path();
    std::fs::write(at.join("c.npy"), npy("<i2", "", &int16(&codes(1e4)))).expect("written");
    let line = ["demodulate", "sensor.toml", "c.npy", "--out", "r.csv"];
    said(&run(at, &line, b""), 2, &["16-bit words", "24 bits", "--words i16"]);
    said(&run(at, &[&line[..], &["--words", "i16"]].concat(), b""), 0, &[]);
    said(&run(at, &[&line[..], &["--words", "i32"]].concat(), b""), 2, &["16-bit", "32 bits"]);
    // A sensor of 16 bits takes them without a word.
    let narrow = fast_sensor().replace("bits = 24", "bits = 16");
    std::fs::write(at.join("sensor.toml"), narrow).expect("written");
    said(&run(at, &line, b""), 0, &[]);
}

/// Zeros alone read the centre, healthy; so did any code that never changes.
#[test]
fn channels_that_stand_still() {
    let folder = folder();
    let at = folder.path();
    let mut dead = codes(1e6);
    dead.iter_mut().skip(1).step_by(2).for_each(|code| *code = -5);
    for (name, codes, list) in [
        ("zeros", vec![0; 2 * FRAMES], vec![0, 1]),
        ("one", dead.clone(), vec![1]),
        ("live", codes(1e5), vec![]),
    ] {
        std::fs::write(at.join("c.npy"), npy("<i4", "", &int32(&codes))).expect("written");
        let line = ["demodulate", "sensor.toml", "c.npy", "--out", "r.csv", "--json"];
        let output = run(at, &line, b"");
        let words: &[&str] = if list.is_empty() { &[] } else { &["never change"] };
        said(&output, i32::from(!list.is_empty()), words);
        let json: Value = serde_json::from_slice(&output.stdout).expect("an object");
        // Left out where there is none.
        let want = (!list.is_empty()).then(|| Value::from(list.clone()));
        assert_eq!(json.get("unchanging_channels"), want.as_ref(), "{name}");
        let verify = run(at, &["verify", "sensor.toml", "--capture", "c.npy", "--json"], b"");
        let json: Value = serde_json::from_slice(&verify.stdout).expect("an object");
        assert_eq!(json.get("unchanging_channels"), want.as_ref(), "{name}");
        assert_eq!(verify.status.success(), list.is_empty(), "{name}");
    }
    // One that changes in its last sample alone does change.
    dead[2 * FRAMES - 1] = -4;
    std::fs::write(at.join("c.npy"), npy("<i4", "", &int32(&dead))).expect("written");
    said(&run(at, &["demodulate", "sensor.toml", "c.npy", "--out", "r.csv"], b""), 0, &[]);
}

/// A header of 60 kB of brackets took 17 s, one of 15 braces 27 s; length, brackets and braces are bounded
/// before it is parsed.
#[test]
fn npy_headers() {
    let folder = folder();
    let at = folder.path();
    let line = ["demodulate", "sensor.toml", "c.npy", "--out", "r.csv"];
    let data = int32(&codes(1e6));
    for (header, words) in [
        ("[".repeat(60_000), ["60002 bytes", "4096"]),
        (format!("{{'descr': {}", "(".repeat(9)), ["9 brackets", "allowed 8"]),
        (format!("{}'descr'", "{".repeat(2)), ["2 braces", "allowed 1"]),
        // Within the bounds: the parser refuses it.
        (format!("{{'descr': {}", "[".repeat(8)), ["does not parse", "expected"]),
    ] {
        std::fs::write(at.join("c.npy"), npy("<i4", &(header + "\n"), &data)).expect("written");
        said(&run(at, &line, b""), 2, &words);
    }
}

/// No verdict over no reading; no `null` for a figure without a value, and the reason beside it.
#[test]
fn figures_without_a_value() {
    let folder = folder();
    let at = folder.path();
    let line = ["verify", "sensor.toml", "--capture", "c.npy", "--json"];
    let all = codes(1e5);
    // A reading takes 319 samples, so two intervals of 160.
    for (frames, code) in [(319, 2), (320, 0)] {
        let header =
            format!("{{'descr': '<i4', 'fortran_order': False, 'shape': ({frames}, 2), }}\n");
        let file = npy("<i4", &header, &int32(&all[..2 * frames]));
        std::fs::write(at.join("c.npy"), file).expect("written");
        let output = run(at, &line, b"");
        let words: &[&str] = if code == 2 { &["c.npy", "319 samples", "320"] } else { &[] };
        said(&output, code, words);
        if code == 0 {
            let text = String::from_utf8(output.stdout).expect("text");
            assert!(!text.contains("null"), "{text}");
            let json: Value = serde_json::from_str(&text).expect("an object");
            let axis = &json["axes"][0];
            assert!(axis.get("rms_vs_truth").is_none());
            assert_eq!(axis["left_out"]["rms_vs_truth"], "a capture tells no truth");
        }
    }
}

/// Motion that grows without bounds, or whose spline does.
#[test]
fn motion_within_bounds() {
    let folder = folder();
    let at = folder.path();
    let rest = "0,0\n0.02,0\n0.04,0\n0.0400001,1e-3\n0.06,1e-3\n0.08,1e-3\n";
    for (motion, code, words) in [
        ("t_s,x_m\n0,0\n1,1\n", 0, vec![]),
        ("t_s,x_m\n0,0\n1,1.0000001\n", 2, vec!["m.csv:3", "x_m", "1.0000001", "-1 to 1"]),
        ("t_s,x_m\n0,0\n1,-1e300\n", 2, vec!["m.csv:3", "x_m", "-1e300"]),
        (&format!("t_s,x_m\n{rest}"), 2, vec!["m.csv", "x_m", "rows 1 and 2", "spline"]),
    ] {
        std::fs::write(at.join("m.csv"), motion).expect("written");
        let line = ["simulate", "sensor.toml", "--motion", "m.csv", "--seconds", "0.01"];
        let line = [&line[..], &["--out", "c.npy", "--truth", "t.csv"]].concat();
        said(&run(at, &line, b""), code, &words);
    }
    assert!(!std::fs::read_to_string(at.join("t.csv")).expect("a truth").contains("inf"));
}

/// A file that is not there is named with what it was to be; long and odd input makes no long message.
#[test]
fn messages() {
    let folder = folder();
    let at = folder.path();
    let capture = ["demodulate", "sensor.toml", "none.npy", "--out", "r.csv"];
    said(&run(at, &capture, b""), 2, &["none.npy", "capture"]);
    let sensor = ["demodulate", "none.toml", "c.npy", "--out", "r.csv"];
    said(&run(at, &sensor, b""), 2, &["none.toml", "sensor file"]);
    let motion = ["simulate", "sensor.toml", "--motion", "none.csv", "--out", "c.npy"];
    said(&run(at, &motion, b""), 2, &["none.csv", "motion file"]);
    let plan = fast_sensor().replace("[plan]", "[unused]");
    let plan = plan.split("[unused]").next().expect("text").to_owned();
    let plan = plan.replacen("schema = 1", "schema = 1\nplan_file = \"none-plan.toml\"", 1);
    std::fs::write(at.join("other.toml"), plan).expect("written");
    let other = ["demodulate", "other.toml", "c.npy", "--out", "r.csv"];
    said(&run(at, &other, b""), 2, &["none-plan.toml", "plan file"]);
    for odd in [
        format!("schema = \"{}\"", "x".repeat(100_000)),
        format!("\"{}\" = 1", "k\\u001b".repeat(10_000)),
        format!("schema = {}", "[".repeat(50_000)),
        "schema = 1\nname = \"a\\u202eb\"".to_owned(),
    ] {
        std::fs::write(at.join("other.toml"), odd).expect("written");
        let output = run(at, &other, b"");
        said(&output, 2, &["other.toml"]);
        let error = String::from_utf8(output.stderr).expect("text");
        assert!(!error.trim_end().chars().any(char::is_control), "{error:?}");
    }
}
