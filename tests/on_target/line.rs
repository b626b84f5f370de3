//! The loop from codes to the host's end of the line: an image runs the chain over a capture and sends its readings out of the
//! emulated serial port.

use crate::build::Core;
use crate::emulator::finish;
use quietgap_core::Health;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::simulation::plant::{Parts, Plant};
use quietgap_sim::simulation::scenario;
use quietgap_telemetry::message::{Message, Reading};
use quietgap_telemetry::{Decoder, Frame};
use std::io::Write;

/// A minute of the vault sensor on an M7, five seconds on the others: no frame is lost, and the readings' bits are those of the
/// host's chain over the same codes.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace -- --ignored"]
fn readings_over_the_emulated_line() {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    for (core, seconds) in [(Core::M7, 60.0), (Core::M4, 5.0), (Core::M33, 5.0)] {
        let folder = tempfile::tempdir().expect("a folder");
        let motion = scenario::vault(&sensor, seconds, 5);
        let mut plant = Plant::new(&sensor, motion, Parts::ALL, 5);
        let mut chain = Chain::new(&sensor.settings).expect("a good plan");
        let mut readings: Vec<Reading> = Vec::new();
        let file = std::fs::File::create(folder.path().join("codes.bin")).expect("written");
        let mut file = std::io::BufWriter::new(file);
        let (mut codes, mut left) = (Vec::new(), (seconds * sensor.rate_hz()) as usize * 2);
        while left > 0 {
            codes.clear();
            plant.chunk(&mut codes);
            codes.truncate(left);
            left -= codes.len();
            codes.iter().for_each(|code| file.write_all(&code.to_le_bytes()).expect("written"));
            chain.push(&codes, |reading| readings.push(Reading::from(reading)));
        }
        file.flush().expect("written");
        drop(file);
        assert!(readings.iter().filter(|r| r.health == Health::OK.bits()).count() > 10);

        let image = core.build(false).join("line");
        let text = finish(core.with_serial(&image, folder.path(), "file:line.frames"));
        let mut decoder = Decoder::new();
        let bytes = std::fs::read(folder.path().join("line.frames")).expect("frames");
        let frames: Vec<Frame> = bytes.iter().filter_map(|byte| decoder.push(*byte)).collect();
        let met = decoder.met();
        assert_eq!((met.missing, met.refused(), met.restarts), (0, 0, 0), "{core:?}: {met:?}");
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
