//! A board's loop on the host: the same blocks through the same exchange, intake, chain and frames.

use super::recording::{Block, FRAMES, Kind};
use super::station::{self, Station};
use quietgap_acquisition::Faults;
use quietgap_acquisition::blocks::Exchange;
use quietgap_core::Health;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::chain::Chain;
use quietgap_telemetry::{Decoder, Message, Wire};

/// A reading as it came over the line.
#[derive(Clone, Debug)]
pub struct Told {
    pub half_samples: i64,
    pub axes: Vec<i64>,
    pub health: Health,
    pub faults: Faults,
    /// Starts of the board before it.
    pub starts: u32,
}

/// Readings of some blocks.
pub fn run(sensor: &Sensor, blocks: &[Block]) -> Vec<Told> {
    let (mut starts, mut faults) = (1, Faults::NONE);
    let mut readings = Vec::new();
    for message in messages(sensor, blocks) {
        match message {
            Message::Settings(settings) => starts = settings.starts,
            Message::Acquisition(told) => faults = Faults::from_bits(told.faults),
            Message::Reading(r) => readings.push(Told {
                half_samples: r.half_samples,
                axes: r.axes.to_vec(),
                health: Health::from_bits(r.health),
                faults: std::mem::take(&mut faults),
                starts,
            }),
            _ => {}
        }
    }
    readings
}

/// Messages of some blocks.
pub fn messages(sensor: &Sensor, blocks: &[Block]) -> Vec<Message> {
    match sensor.channels() {
        2 => all::<2>(sensor, blocks),
        7 => all::<7>(sensor, blocks),
        n => panic!("{n} channels"),
    }
}

fn all<const CHANNELS: usize>(sensor: &Sensor, blocks: &[Block]) -> Vec<Message> {
    let mut buffers: [Vec<i32>; 4] = std::array::from_fn(|_| vec![0; FRAMES * CHANNELS]);
    let buffers = buffers.each_mut().map(Vec::as_mut_slice);
    let mut exchange = Exchange::<4>::new();
    let (mut filler, mut taker) = exchange.split(buffers, CHANNELS).expect("buffers");
    let new = || Chain::new(&sensor.settings).expect("a plan");
    let (mut chain, mut bytes, mut starts) = (new(), Vec::new(), 1);
    let mut line = |wire: &Wire| bytes.extend_from_slice(wire);
    let mut station: Station<CHANNELS> = Station::new(station::settings(FRAMES));
    station.say(&settings(sensor, starts), &mut line);
    for block in blocks {
        filler.begin()[0].copy_from_slice(&block.codes);
        if block.kind == Kind::Anew {
            filler.restart();
        }
        filler.done(block.stamp);
        if block.kind == Kind::Anew {
            starts += 1;
            chain = new();
            station = Station::new(station::settings(FRAMES));
            station.say(&settings(sensor, starts), &mut line);
        }
        while block.kind != Kind::HeldUp
            && let Some(block) = taker.take()
        {
            station.take(&block, &mut chain, Chain::counts, &mut line);
            taker.give_back(block);
        }
    }
    decoded(&bytes)
}

fn settings(sensor: &Sensor, starts: u32) -> Message {
    Message::Settings(quietgap_telemetry::message::Settings {
        name: sensor.file.name.as_str().try_into().expect("short"),
        rate_millihertz: (sensor.rate_hz() * 1e3) as u64,
        interval: sensor.settings.interval(),
        axes: sensor.axes().iter().map(|axis| *axis as u8).collect(),
        bridges: sensor.file.bridges.len() as u8,
        checksum: 0,
        starts,
    })
}

/// Messages of a line that lost nothing; but for the checksum, which is of the board's own type.
pub fn decoded(bytes: &[u8]) -> Vec<Message> {
    let mut decoder = Decoder::new();
    let mut messages: Vec<Message> =
        bytes.iter().filter_map(|byte| decoder.push(*byte)).map(|frame| frame.message).collect();
    let met = decoder.met();
    assert_eq!((met.missing, met.refused()), (0, 0));
    for message in &mut messages {
        if let Message::Settings(settings) = message {
            settings.checksum = 0;
        }
    }
    messages
}
