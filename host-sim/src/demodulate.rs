//! **Demodulation** of a capture: the core over recorded codes, on one or two threads.
//!
//! Every stage has finite memory, so a capture can be cut: the second part starts a warm-up
//! before its first reading and then gives the bits that one pass gives.

use crate::capture::Capture;
use crate::chain::Chain;
use crate::error::{Error, Result};
use crate::ideal::Twin;
use crate::readings::{Row, Writer};
use crate::run::settling;
use crate::sensor::Sensor;
use quietgap_core::HealthCounts;
use std::path::Path;
use std::time::{Duration, Instant};

/// How a demodulation went.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Readings written.
    pub rows: u64,
    /// Faults of all readings, those that settle included.
    pub counts: HealthCounts,
    /// Time from opening to the last reading.
    pub wall_time: Duration,
    /// Codes taken.
    pub codes: u64,
}

/// Options of a run.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// The f64 twin instead of the core.
    pub ideal: bool,
    /// Write readings that still settle, too.
    pub settling: bool,
    /// 1 or more threads.
    pub threads: usize,
}

/// Demodulates `capture` into `out`.
///
/// # Errors
/// A failing read or write.
pub fn run(
    sensor: &Sensor,
    capture: &Capture,
    out: &Path,
    options: Options,
    progress: impl Fn(u64),
) -> Result<Outcome> {
    let started = Instant::now();
    let mut writer = Writer::create(out, sensor)?;
    let mut counts = HealthCounts::default();
    let mut rows = 0;
    let mut write = |row: &Row| {
        counts.count(row.health);
        if options.settling || !settling(row) {
            rows += 1;
            return writer.push(row);
        }
        Ok(())
    };
    let frames = capture.layout.frames;
    let mut failure = Ok(());
    let mut take = |row: &Row| {
        if failure.is_ok() {
            failure = write(row);
        }
    };
    if options.ideal {
        let mut twin = Twin::new(sensor);
        let mut done = 0;
        capture.read(0, frames, |block| {
            twin.push(block, &mut take);
            done += (block.len() / sensor.channels()) as u64;
            progress(done);
        })?;
    } else {
        let cuts = cuts(sensor, frames, options.threads)?;
        if let [_] = cuts.as_slice() {
            core_part(sensor, capture, 0, frames, 0, &mut take, progress)?;
        } else {
            // The first part streams; later ones keep their rows, which are few beside the codes.
            let parts: Vec<Result<Vec<Row>>> = std::thread::scope(|scope| {
                let later: Vec<_> = cuts[1..]
                    .iter()
                    .map(|&(start, end, first)| {
                        scope.spawn(move || {
                            let mut kept = Vec::new();
                            core_part(
                                sensor,
                                capture,
                                start,
                                end,
                                first,
                                |row| kept.push(row.clone()),
                                |_| (),
                            )?;
                            Ok(kept)
                        })
                    })
                    .collect();
                let (start, end, first) = cuts[0];
                let head = core_part(sensor, capture, start, end, first, &mut take, &progress)
                    .map(|()| Vec::new());
                let joined =
                    later.into_iter().map(|t| t.join().expect("a part's thread does not panic"));
                std::iter::once(head).chain(joined).collect()
            });
            for part in parts {
                part?.iter().for_each(&mut take);
            }
        }
    }
    failure?;
    writer.finish()?;
    let codes = frames * sensor.channels() as u64;
    Ok(Outcome { rows, counts, wall_time: started.elapsed(), codes })
}

/// Parts of a capture: first frame with warm-up, end, number of the first reading kept.
fn cuts(sensor: &Sensor, frames: u64, threads: usize) -> Result<Vec<(u64, u64, u64)>> {
    let chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    let (interval, span) = (chain.interval(), chain.span());
    // Faults hold for a span, and the filters reach back another: two spans settle everything.
    let warm_up = (2 * span).div_ceil(interval) + 1;
    let readings = frames / interval;
    let parts = (threads as u64).min(readings / (4 * warm_up)).max(1);
    let mut cuts = Vec::new();
    for part in 0..parts {
        let first = readings * part / parts;
        let last = readings * (part + 1) / parts;
        let start = if part == 0 { 0 } else { (first - warm_up) * interval };
        let end = if part + 1 == parts { frames } else { last * interval };
        cuts.push((start, end, first));
    }
    Ok(cuts)
}

/// Runs the core over frames `start` to `end` and hands on readings from number `first` on.
fn core_part(
    sensor: &Sensor,
    capture: &Capture,
    start: u64,
    end: u64,
    first: u64,
    mut take: impl FnMut(&Row),
    progress: impl Fn(u64),
) -> Result<()> {
    let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    chain.seek(start);
    let mut number = start / chain.interval();
    let mut done = start;
    capture.read(start, end, |block| {
        chain.push(block, |reading| {
            if number >= first {
                take(&Row::of(reading));
            }
            number += 1;
        });
        done += (block.len() / sensor.channels()) as u64;
        progress(done);
    })
}
