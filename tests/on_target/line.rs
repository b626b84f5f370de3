//! The loop from codes to the host's end of the line: an image takes a capture's blocks as a DMA's, runs intake and chain over them and
//! sends its readings out of the emulated serial port; and what that costs beside the chain.

use crate::build::Core;
use crate::emulator::{Run, finish};
use quietgap_core::Health;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::simulation::plant::{Parts, Plant};
use quietgap_sim::simulation::scenario;
use quietgap_telemetry::message::{Message, Reading};
use quietgap_telemetry::{Decoder, Frame};
use std::io::Write;

/// Frames of a block.
const FRAMES: usize = 1024;

/// A minute of the vault sensor on an M7, five seconds on the others: no frame is lost, and the readings' bits are those of the
/// host's chain over the same codes.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn readings_over_the_emulated_line() {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    for (core, seconds) in [(Core::M7, 60.0), (Core::M4, 5.0), (Core::M33, 5.0)] {
        let folder = tempfile::tempdir().expect("a folder");
        let motion = scenario::vault(&sensor, seconds, 5);
        let mut plant = Plant::new(&sensor, motion, Parts::ALL, 5);
        let mut chain = Chain::new(&sensor.settings).expect("a good plan");
        let mut readings: Vec<Reading> = Vec::new();
        let file = std::fs::File::create(folder.path().join("blocks.bin")).expect("written");
        let mut file = std::io::BufWriter::new(file);
        let (mut codes, mut stamp) = (Vec::new(), 0u32);
        for _ in 0..(seconds * sensor.rate_hz()) as usize / FRAMES {
            codes.clear();
            while codes.len() < 2 * FRAMES {
                plant.chunk(&mut codes);
            }
            // A block without anything that happens in it (`benches/cortex-m/src/line.rs`), and its time.
            stamp = stamp.wrapping_add(250 * FRAMES as u32);
            let words = [0, stamp.cast_signed()].into_iter().chain(codes.iter().copied());
            words.for_each(|word| file.write_all(&word.to_le_bytes()).expect("written"));
            chain.push(&codes, |reading| readings.push(Reading::from(reading)));
        }
        file.flush().expect("written");
        drop(file);
        assert!(readings.iter().filter(|r| r.health == Health::OK.bits()).count() > 10);

        let image = core.build(false).join("line");
        let text = finish(core.with_serial(&image, folder.path(), &["file:line.frames"]));
        let mut decoder = Decoder::new();
        let bytes = std::fs::read(folder.path().join("line.frames")).expect("frames");
        let frames: Vec<Frame> = bytes.iter().filter_map(|byte| decoder.push(*byte)).collect();
        let met = decoder.met();
        assert_eq!((met.missing, met.refused(), met.restarts), (0, 0, 0), "{core:?}: {met:?}");
        let found =
            |frame: &Frame| matches!(frame.message, Message::Gap(_) | Message::Acquisition(_));
        assert!(!frames.iter().any(found), "{core:?}: nothing was wrong");
        assert!(text.contains(&format!("line frames={}", frames.len())), "{core:?}: {text}");
        assert!(
            matches!(&frames[0].message, Message::Settings(s) if s.interval == sensor.settings.interval())
        );
        let sent: Vec<&Reading> = frames
            .iter()
            .filter_map(|frame| match &frame.message {
                Message::Reading(reading) => Some(reading),
                _ => None,
            })
            .collect();
        assert_eq!(sent.len(), readings.len(), "{core:?}");
        assert!(sent.iter().zip(&readings).all(|(sent, own)| *sent == own), "{core:?}: other bits");
    }
}

/// Instructions that acquisition and telemetry add to the chain, a sample and channel.
const ADDED: f64 = 0.8;

/// Exchange, intake, watch and frames beside the chain alone over the same codes, at blocks of 512 frames with two bridges, and with
/// six axes at blocks of 88, as small as their memory wants them.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn what_surrounds_the_chain_costs_little() {
    for core in Core::ALL {
        let folder = tempfile::tempdir().expect("a folder");
        let text = finish(core.emulator(&core.build(false).join("overhead"), folder.path()));
        let runs: Vec<Run> =
            text.lines().filter(|line| line.starts_with("overhead")).map(Run::of).collect();
        assert_eq!(runs.len(), 2, "{text}");
        for run in runs {
            let [chain, whole, samples] =
                ["chain", "whole", "samples"].map(|key| run.number(key) as f64);
            let added = (whole - chain) / samples;
            println!("{core:?} {}: {added:.3} added to {:.3}", run.text("name"), chain / samples);
            assert!(run.number("readings") > 0 && run.number("frames") >= run.number("readings"));
            assert!(added > 0.0 && added < ADDED, "{core:?}, {}: {added}", run.text("name"));
        }
    }
}
