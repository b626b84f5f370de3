//! What a converter sends: codes of a simulated bench, with the true time of every frame, as blocks.

use super::faults::{Fault, Made};
use quietgap_sim::instrument::{Sensor, SensorFile};
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::plant::{Parts, Plant};

/// Frames of a block; ticks of the board's clock a frame.
pub const FRAMES: usize = 1024;
const TICKS: f64 = 250.0;
/// Output intervals of a run; the fault begins in that numbered `FAULT`.
const INTERVALS: usize = 72;
pub const FAULT: usize = 32;
/// Output intervals that a fault lasts where it lasts.
const LASTS: usize = 6;

/// What a block is on the board (`benches/cortex-m/src/line.rs`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Plain = 0,
    HeldUp = 1,
    Anew = 2,
}

#[derive(Debug)]
pub struct Block {
    pub kind: Kind,
    pub stamp: u32,
    pub codes: Vec<i32>,
}

/// Frames, each with the number that it truly has, and what the board does.
#[derive(Clone, Debug)]
pub struct Recording {
    pub channels: usize,
    pub codes: Vec<i32>,
    pub numbers: Vec<u64>,
    /// How far the converter's clock is off from a frame on, in parts of a million.
    pub ppm: Vec<(u64, f64)>,
    /// Kinds of the blocks in which frames fall.
    pub kinds: Vec<(u64, Kind)>,
}

/// When a fault was, in true frames.
#[derive(Clone, Copy, Debug)]
pub struct At {
    pub from: u64,
    pub to: u64,
}

impl Recording {
    pub fn blocks(&self) -> Vec<Block> {
        let frames = self.codes.chunks_exact(FRAMES * self.channels);
        let numbers = self.numbers.as_chunks::<FRAMES>().0;
        let (mut late, mut time, mut reached) = (7u32, 0.0, 0u64);
        frames
            .zip(numbers)
            .map(|(codes, numbers)| {
                let [first, .., last] = numbers;
                // The clock's time of the last frame's end.
                while reached <= *last {
                    let ppm =
                        self.ppm.iter().rfind(|(from, _)| *from <= reached).map_or(0.0, |p| p.1);
                    time += TICKS * (1.0 - ppm * 1e-6);
                    reached += 1;
                }
                // An interrupt takes some ticks, now and then many.
                late = late.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let delay = if (late >> 16).is_multiple_of(10) {
                    (late >> 8) % 2000
                } else {
                    (late >> 8) % 8
                };
                let within = |at: &u64| (*first..=*last).contains(at);
                let kind =
                    self.kinds.iter().find(|(at, _)| within(at)).map_or(Kind::Plain, |k| k.1);
                Block {
                    kind,
                    stamp: (time as u64 as u32).wrapping_add(delay),
                    codes: codes.to_vec(),
                }
            })
            .collect()
    }

    /// As the emulated board reads them.
    pub fn write(blocks: &[Block], path: &std::path::Path) {
        let mut bytes = Vec::new();
        for block in blocks {
            bytes.extend((block.kind as u32).to_le_bytes());
            bytes.extend(block.stamp.to_le_bytes());
            block.codes.iter().for_each(|code| bytes.extend(code.to_le_bytes()));
        }
        std::fs::write(path, bytes).expect("written");
    }
}

/// A simulated bench, sound: the mass off its centre, moving as in the vault, all noise at work.
pub struct Bench<'a> {
    sensor: &'a Sensor,
    clean: Recording,
}

impl<'a> Bench<'a> {
    pub fn new(sensor: &'a Sensor) -> Self {
        let frames = INTERVALS * sensor.settings.interval() as usize;
        let codes = codes(sensor, &sensor.file, frames);
        let numbers = (0..frames as u64).collect();
        let channels = sensor.channels();
        Self {
            sensor,
            clean: Recording { channels, codes, numbers, ppm: Vec::new(), kinds: Vec::new() },
        }
    }

    pub fn clean(&self) -> &Recording {
        &self.clean
    }

    /// The same bench with a fault that begins so far into an output interval.
    pub fn with(&self, fault: &Fault, into: f64) -> (Recording, At) {
        let interval = self.sensor.settings.interval();
        let from = FAULT as u64 * interval + (into * interval as f64) as u64;
        let at =
            At { from, to: if fault.lasts { from + LASTS as u64 * interval } else { from + 1 } };
        let mut recording = self.clean.clone();
        match fault.made {
            Made::OfCodes(change) => change(&mut recording, at),
            Made::OfBench(change) => {
                let mut file = self.sensor.file.clone();
                change(&mut file);
                let wrong = codes(self.sensor, &file, recording.numbers.len());
                let places =
                    at.from as usize * recording.channels..at.to as usize * recording.channels;
                recording.codes[places.clone()].copy_from_slice(&wrong[places]);
            }
        }
        (recording, at)
    }
}

/// Codes of a bench that is as `file` says; its noise and motion do not depend on that.
fn codes(sensor: &Sensor, file: &SensorFile, frames: usize) -> Vec<i32> {
    let mut bench = sensor.clone();
    bench.file = file.clone();
    let seconds = frames as f64 / sensor.rate_hz();
    // 40 um and 0.3 mrad off the centre, and a slow sway.
    let times: Vec<f64> = (0..(seconds * 20.0) as usize + 4).map(|n| n as f64 / 20.0).collect();
    let axes = std::array::from_fn(|axis| {
        let [rest, sway] = if axis < 3 { [4e-5, 2e-6] } else { [3e-4, 1e-5] };
        let of = |t: &f64| rest * (1.0 + 0.2 * axis as f64) + sway * (0.4 * t + axis as f64).sin();
        sensor.axes().contains(&axis).then(|| times.iter().map(of).collect())
    });
    let motion = Motion::new(times, axes).expect("a motion");
    let mut plant = Plant::new(&bench, motion, Parts::ALL, 3);
    let mut codes = Vec::new();
    while codes.len() < frames * sensor.channels() {
        plant.chunk(&mut codes);
    }
    codes.truncate(frames * sensor.channels());
    codes
}
