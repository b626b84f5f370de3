//! **Fault matrix**: each fault of a bench and its board made in the simulator, run through intake, watch, chain and telemetry on the
//! host and on the emulated board, bit for bit alike. Which flag tells of it, how soon, what readings do meanwhile, and how they
//! recover: a table in `docs/faults.md` that this test writes (`QUIETGAP_REWRITE=1`) and holds.

mod faults;
mod host;
mod judge;
mod log;
mod normal;
mod recording;
#[path = "../benches/cortex-m/src/station.rs"]
#[allow(dead_code)]
mod station;

use crate::build::Core;
use crate::emulator;
use crate::logged;
use faults::{FAULTS, Sensing};
use quietgap_sim::instrument::Sensor;
use quietgap_telemetry::Message;
use recording::{Bench, FAULT, Recording};
use std::path::Path;

/// Where in an output interval a fault begins, in parts of it: early, in the middle, and so late that the reading is nearly made.
const INTO: [f64; 3] = [0.1, 0.5, 0.95];

#[test]
#[ignore = "minutes: long captures, and the boards' images; cargo test --workspace --tests -- --ignored"]
fn every_fault_is_told() {
    let mut table = String::new();
    for sensing in [Sensing::TwoBridges, Sensing::SixAxes] {
        let sensor = Sensor::load(sensing.name()).expect("built in");
        let bench = Bench::new(&sensor);
        let clean = host::run(&sensor, &bench.clean().blocks());
        assert!(clean.iter().skip(FAULT - 1).all(|r| r.health.is_ok()), "the bench is sound");
        for fault in FAULTS.iter().filter(|fault| fault.on == sensing) {
            let verdicts: Vec<judge::Verdict> = INTO
                .iter()
                .map(|into| {
                    let (recording, at) = bench.with(fault, *into);
                    judge::judge(
                        &sensor,
                        fault,
                        &at,
                        &host::run(&sensor, &recording.blocks()),
                        &clean,
                    )
                })
                .collect();
            table += &judge::row(fault, &verdicts);
        }
    }
    judge::hold(&table);
}

/// The boards, from the same blocks: the same messages, in order.
#[test]
#[ignore = "minutes: long captures, and the boards' images; cargo test --workspace --tests -- --ignored"]
fn the_boards_say_the_same() {
    for (sensing, image) in [(Sensing::TwoBridges, "line"), (Sensing::SixAxes, "line-six-axis")] {
        let sensor = Sensor::load(sensing.name()).expect("built in");
        let bench = Bench::new(&sensor);
        let image = Core::M7.build(false).join(image);
        for fault in FAULTS.iter().filter(|fault| fault.on == sensing) {
            let (recording, _) = bench.with(fault, INTO[1]);
            let blocks = recording.blocks();
            let (board, logged) = on_board(&image, &blocks);
            assert_eq!(board, host::messages(&sensor, &blocks), "{}", fault.name);
            // The log says it, too, in words.
            let expected = log::expected(sensing.name(), &board);
            assert_eq!(log::comparable(&logged), expected, "{}: {logged:#?}", fault.name);
        }
    }
}

/// Messages that came over its line, lines of its log.
fn on_board(image: &Path, blocks: &[recording::Block]) -> (Vec<Message>, Vec<String>) {
    let folder = tempfile::tempdir().expect("a folder");
    Recording::write(blocks, &folder.path().join("blocks.bin"));
    let ports = ["file:line.frames", "file:line.log"];
    emulator::finish(Core::M7.with_serial(image, folder.path(), &ports));
    let bytes = std::fs::read(folder.path().join("line.frames")).expect("frames");
    (host::decoded(&bytes), logged::lines(image, &folder.path().join("line.log")))
}
