//! `stand-in` and `listen`: readings over a line are those of `demodulate`, whatever the line does nothing else is written, and
//! what was read is on the disk when the program is killed.

use crate::bench::quietgap;
use crate::line::Bench;
use quietgap_telemetry::message::{Message, Reading, Settings};
use quietgap_telemetry::{Decoder, Frame};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::Write;
use std::net::TcpListener;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

/// A capture of some seconds, its readings and the frames that a board would send.
fn spoken(bench: &Bench) {
    bench.put("m.csv", "t_s,x_m,phi_rad\n0,0,0\n12,1e-5,1e-5\n");
    bench.ends(0, "simulate vault-two-bridge --motion m.csv --seconds 12 --out c.npy");
    bench.ends(0, "demodulate vault-two-bridge c.npy --settling --out d.csv");
    bench.ends(0, "stand-in vault-two-bridge c.npy --clock-ppm 20 --out f.frames");
}

/// Rows of a record by sample: all columns but the pulse's, whose names differ by the sensor's own names of bridges.
fn rows(bench: &Bench, file: &str) -> BTreeMap<String, Vec<String>> {
    let text = bench.text(file);
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let sample = names.iter().position(|n| *n == "sample").unwrap();
    lines
        .map(|line| {
            let cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            assert_eq!(cells.len(), names.len(), "{file}: {line}");
            (cells[sample].clone(), cells[..sample].to_vec())
        })
        .collect()
}

#[test]
fn readings_come_over_the_line() {
    let bench = Bench::new();
    spoken(&bench);
    let said = bench.ends(0, "listen f.frames --out l.csv --json");
    assert_eq!(rows(&bench, "l.csv"), rows(&bench, "d.csv"));
    let lines: Vec<Value> = String::from_utf8(said.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let of = |kind: &str| lines.iter().filter(|l| l["kind"] == kind).collect::<Vec<_>>();
    assert_eq!(of("settings")[0]["name"], "vault-two-bridge");
    assert_eq!(of("reading").len(), rows(&bench, "d.csv").len());
    let end = of("end")[0];
    assert_eq!(end["rows"], of("reading").len());
    assert_eq!((&end["missing"], &end["untold"]), (&Value::from(0), &Value::from(0)));
    // A clock 20 parts in a million fast: the marks tell it, to a part of 65536 of a sample a second.
    let marks = of("time_mark");
    assert!(marks.len() >= 10 && marks[0].get("measured_rate_hz").is_none());
    let rate = marks.last().unwrap()["measured_rate_hz"].as_f64().unwrap();
    assert!((rate - 800_016.0).abs() < 2.0 / 65536.0, "{rate}");
    let last = &of("reading")[of("reading").len() - 1];
    let [time, pulse] = ["t_s", "pulse_s"].map(|name| last[name].as_f64().unwrap());
    assert!((pulse - time / 1.00002).abs() < 1e-9, "{pulse} {time}");
    // As any record; in another format, the same, and nothing is left beside it.
    bench.ends(0, "listen f.frames --out l.parquet");
    bench.ends(0, "listen f.frames --out l.npy");
    assert!(!bench.path("l.parquet.growing.csv").exists());
    let tail = |file: &str| bench.json(0, &format!("events {file} --column x_m --flagged"));
    let [csv, parquet] = ["l.csv", "l.parquet"].map(|file| tail(file)["seconds"].clone());
    assert_eq!(csv, parquet);
    // Never over what is there.
    let before = bench.bytes("l.csv");
    let refused = bench.ends(2, "listen f.frames --out l.csv");
    assert!(String::from_utf8_lossy(&refused.stderr).contains("is there already"));
    assert_eq!(bench.bytes("l.csv"), before);
    bench.ends(2, "listen none.frames --out n.csv");
    bench.ends(2, "listen f.frames --out -");
    bench.ends(2, "listen tcp:127.0.0.1:1 --out n.csv");
    assert!(!bench.path("n.csv").exists());
}

/// One byte in a hundred is lost, added or changed: readings are fewer, and none is another; all of it is counted.
#[test]
fn a_bad_line_yields_no_wrong_reading() {
    let bench = Bench::new();
    spoken(&bench);
    let good = bench.bytes("f.frames");
    let want = rows(&bench, "d.csv");
    let mut state = 7u64;
    let mut next = |n: u64| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    let mut found = 0;
    for k in 0..20 {
        let mut bad = Vec::new();
        for byte in &good {
            match next(300) {
                0 => {}
                1 => bad.extend([next(256) as u8, *byte]),
                2 => bad.push(byte ^ (1 << next(8))),
                _ => bad.push(*byte),
            }
        }
        std::fs::write(bench.path("bad.frames"), &bad).unwrap();
        let name = format!("bad-{k}.csv");
        let said = bench.ends(1, &format!("listen bad.frames --out {name} --json"));
        let text = String::from_utf8(said.stdout).unwrap();
        let end: Value = serde_json::from_str(text.lines().last().unwrap()).unwrap();
        assert!(end["missing"].as_u64().unwrap() > 0, "{end}");
        if !bench.path(&name).exists() {
            continue;
        }
        let got = rows(&bench, &name);
        found += got.len();
        for (sample, cells) in got {
            assert_eq!(want.get(&sample), Some(&cells), "{name}");
        }
    }
    assert!(found > 20 * want.len() / 4, "{found} readings of 20 times {}", want.len());
}

fn settings(starts: u32) -> Frame {
    let axes = heapless_axes(&[0, 5]);
    let settings = Settings {
        name: "vault".try_into().unwrap(),
        rate_millihertz: 800_000_000,
        interval: 80_000,
        axes,
        bridges: 2,
        checksum: 1,
        starts,
    };
    Frame { number: 0, message: Message::Settings(settings) }
}

fn heapless_axes<T: Clone, V: FromIterator<T>>(items: &[T]) -> V {
    items.iter().cloned().collect()
}

fn reading(number: u32) -> Frame {
    let half = 160_000 * i64::from(number);
    let reading = Reading {
        half_samples: half,
        axes: heapless_axes(&[half * 7, -half]),
        quadratures: heapless_axes(&[1, 2]),
        ..Reading::default()
    };
    Frame { number, message: Message::Reading(reading) }
}

/// A connection that breaks is made again; a board that begins anew gets another record.
#[test]
fn a_connection_comes_back() {
    let bench = Bench::new();
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("tcp:{}", server.local_addr().unwrap());
    let child = listen(&bench, &[&address, "--out", "l.csv", "--seconds", "4"], Stdio::piped());
    for starts in 1..=2 {
        let (mut line, _) = server.accept().unwrap();
        line.write_all(&settings(starts).wire().unwrap()).unwrap();
        for n in 1..=10 {
            line.write_all(&reading(n).wire().unwrap()).unwrap();
        }
    }
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("20 readings"), "{said}");
    for file in ["l.csv", "l-2.csv"] {
        assert_eq!(bench.column(file, "sample").len(), 10, "{file}: {said}");
    }
}

fn listen(bench: &Bench, arguments: &[&str], stdout: Stdio) -> Child {
    quietgap()
        .current_dir(bench.path("l.csv").parent().unwrap())
        .arg("listen")
        .args(arguments)
        .stdout(stdout)
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Killed at a moment: rows are whole, in order, none is missing among them, and the last is of the last second.
fn killed(after: Duration) {
    let bench = Bench::new();
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("tcp:{}", server.local_addr().unwrap());
    let mut child = listen(&bench, &[&address, "--out", "l.csv"], Stdio::null());
    let (mut line, _) = server.accept().unwrap();
    line.write_all(&settings(1).wire().unwrap()).unwrap();
    let (begun, mut sent) = (Instant::now(), Vec::new());
    for n in 1.. {
        if begun.elapsed() >= after {
            break;
        }
        line.write_all(&reading(n).wire().unwrap()).unwrap();
        sent.push(begun.elapsed());
        std::thread::sleep(Duration::from_micros(500));
    }
    child.kill().unwrap();
    let ended = begun.elapsed();
    child.wait().unwrap();
    // What a busy machine held up before the listener could read it is in neither.
    let due = sent.iter().filter(|at| **at + Duration::from_secs(1) < ended).count();
    let text = if bench.path("l.csv").exists() { bench.text("l.csv") } else { String::new() };
    assert!(text.is_empty() || text.ends_with('\n'), "a row is cut");
    let samples: Vec<f64> =
        text.lines().skip(1).map(|row| row.split(',').nth(7).unwrap().parse().unwrap()).collect();
    assert!(samples.len() >= due, "{after:?}: {} of {due} rows", samples.len());
    assert!(samples.iter().zip(1..).all(|(s, n)| *s == 80_000.0 * f64::from(n)));
}

#[test]
fn a_kill_loses_a_second_at_most() {
    for ms in [100, 700, 1300, 1900, 2600] {
        killed(Duration::from_millis(ms));
    }
}

/// The same at two hundred moments.
#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn two_hundred_kills() {
    // Most of it is waiting: eight at a time.
    std::thread::scope(|scope| {
        for first in 0..8u64 {
            scope.spawn(move || {
                for k in (first..200).step_by(8) {
                    killed(Duration::from_millis(50 + k * 7919 % 1950));
                }
            });
        }
    });
}

/// A board that says what makes no sense, and readings unlike its settings: counted, never written.
#[test]
fn what_makes_no_sense_is_not_written() {
    let bench = Bench::new();
    let frames = |change: &dyn Fn(&mut Settings)| {
        let Frame { message: Message::Settings(mut settings), .. } = settings(1) else {
            panic!("settings")
        };
        change(&mut settings);
        let first = Frame { number: 0, message: Message::Settings(settings) };
        [first, reading(1)].iter().flat_map(|f| f.wire().unwrap().to_vec()).collect::<Vec<u8>>()
    };
    type Change<'a> = &'a dyn Fn(&mut Settings);
    let cases: [(Change, i32); 6] = [
        (&|_| {}, 0),
        (&|s| s.rate_millihertz = 0, 1),
        (&|s| s.interval = 0, 1),
        (&|s| s.axes = heapless_axes(&[0, 6]), 1),
        (&|s| s.axes = heapless_axes(&[5, 5]), 1),
        (&|s| s.bridges = 3, 1),
    ];
    for (n, (change, code)) in cases.into_iter().enumerate() {
        std::fs::write(bench.path("f.frames"), frames(change)).unwrap();
        bench.ends(code, &format!("listen f.frames --out l-{n}.csv"));
        assert_eq!(bench.path(&format!("l-{n}.csv")).exists(), code == 0, "{n}");
    }
    let mut decoder = Decoder::new();
    let frames = frames(&|_| {});
    assert_eq!(frames.iter().filter_map(|b| decoder.push(*b)).count(), 2);
}
