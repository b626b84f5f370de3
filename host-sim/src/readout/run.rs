//! **Runs**: the plant or a capture through the core and, beside it, its twin.

use crate::error::{Error, Result};
use crate::instrument::Sensor;
use crate::readout::capture::Capture;
use crate::readout::chain::Chain;
use crate::readout::ideal::Twin;
use crate::readout::readings::Row;
use crate::simulation::plant::{CHUNK, Plant};
use quietgap_core::HealthCounts;
use std::collections::VecDeque;
use std::sync::mpsc::sync_channel;
use std::time::{Duration, Instant};

/// Chunks handed on at a time by the plant.
const CHUNKS_PER_BLOCK: usize = 128;

/// What a comparison hands on with each reading.
#[derive(Debug)]
pub struct Compared<'a> {
    /// The core's reading.
    pub core: &'a Row,
    /// The twin's.
    pub ideal: &'a Row,
}

/// How a run went.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Frames taken.
    pub samples: u64,
    /// The core's fault counts.
    pub counts: HealthCounts,
    /// Time in the core alone.
    pub core_time: Duration,
    /// Time of the whole run.
    pub wall_time: Duration,
}

impl Outcome {
    /// Channels x samples through the core alone, millions a second.
    #[must_use]
    pub fn msamples_per_s(&self, channels: usize) -> f64 {
        self.samples as f64 * channels as f64 / self.core_time.as_secs_f64().max(1e-9) / 1e6
    }
}

/// Where codes come from.
#[derive(Debug)]
pub enum Source<'a> {
    /// Simulated, this many frames.
    Plant(Box<Plant>, u64),
    /// Recorded.
    Capture(&'a Capture),
}

/// Feeds blocks of frames to `sink`, made on a second thread. `progress` hears frames done.
///
/// # Errors
/// A failing read.
pub fn feed(
    source: Source<'_>,
    channels: usize,
    mut sink: impl FnMut(&[i32]),
    progress: impl Fn(u64),
) -> Result<u64> {
    match source {
        Source::Capture(capture) => {
            let mut done = 0;
            capture.read(0, u64::MAX, |block| {
                sink(block);
                done += (block.len() / channels) as u64;
                progress(done);
            })?;
            Ok(done)
        }
        Source::Plant(mut plant, frames) => {
            let (full, blocks) = sync_channel::<Vec<i32>>(4);
            let (empty, spare) = sync_channel::<Vec<i32>>(8);
            std::thread::scope(|scope| {
                scope.spawn(move || {
                    let mut made = 0;
                    while made < frames {
                        let mut block = spare.try_recv().unwrap_or_default();
                        block.clear();
                        for _ in 0..CHUNKS_PER_BLOCK {
                            plant.chunk(&mut block);
                        }
                        let count = (frames - made).min((CHUNKS_PER_BLOCK * CHUNK) as u64);
                        block.truncate(count as usize * channels);
                        made += count;
                        if full.send(block).is_err() {
                            return;
                        }
                    }
                });
                let mut done = 0;
                for block in blocks {
                    sink(&block);
                    done += (block.len() / channels) as u64;
                    progress(done);
                    let _ = empty.try_send(block);
                }
                Ok(done)
            })
        }
    }
}

/// Runs core and twin over the same codes; `sink` gets each settled pair of readings.
///
/// # Errors
/// A failing read, or a reading that one side has and the other has not.
pub fn compare(
    sensor: &Sensor,
    source: Source<'_>,
    mut sink: impl FnMut(&Compared<'_>),
    progress: impl Fn(u64),
) -> Result<Outcome> {
    let started = Instant::now();
    let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    let mut twin = Twin::new(sensor);
    let mut core_time = Duration::ZERO;
    let (mut cores, mut ideals) = (VecDeque::new(), VecDeque::new());
    let mut mismatch = None;
    let samples = feed(
        source,
        sensor.channels(),
        |block| {
            let begin = Instant::now();
            chain.push(block, |reading| cores.push_back(Row::of(reading)));
            core_time += begin.elapsed();
            twin.push(block, |row| ideals.push_back(row.clone()));
            while let (Some(core), Some(ideal)) = (cores.front(), ideals.front()) {
                if core.half_samples != ideal.half_samples {
                    mismatch.get_or_insert((core.half_samples, ideal.half_samples));
                }
                if !settling(core) {
                    sink(&Compared { core, ideal });
                }
                cores.pop_front();
                ideals.pop_front();
            }
        },
        progress,
    )?;
    if let Some((core, ideal)) = mismatch {
        return Err(Error::new(format!(
            "time stamps differ: core {core}, twin {ideal} half samples"
        )));
    }
    Ok(Outcome { samples, counts: *chain.counts(), core_time, wall_time: started.elapsed() })
}

/// Whether a reading's filters still hold the time before the start.
#[must_use]
pub fn settling(row: &Row) -> bool {
    row.health.has(quietgap_core::Health::SETTLING)
}
