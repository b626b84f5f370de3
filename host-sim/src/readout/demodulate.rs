//! **Demodulation** of a capture: the core over recorded codes, on one thread or more.
//!
//! Nearly all the work is in the front end, and its memory is short: a capture can be cut, a
//! front end that starts N R M samples before its part gives the words that one pass gives,
//! and the rest of the chain takes them in order. So threads never change a bit.

use crate::error::{Error, Result};
use crate::instrument::Sensor;
use crate::readout::capture::Capture;
use crate::readout::chain::Chain;
use crate::readout::ideal::Twin;
use crate::readout::readings::{Row, Writer};
use crate::readout::run::{Source, feed, settling};
use quietgap_core::HealthCounts;
use quietgap_core::front_end::Interval;
use quietgap_core::phasor::Phasor;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;
use std::sync::Mutex;
use std::sync::mpsc::channel;
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
    let mut counts = HealthCounts::NONE;
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
    let source = Source::Capture(capture);
    if options.ideal {
        let mut twin = Twin::new(sensor);
        feed(source, sensor.channels(), |block| twin.push(block, &mut take), progress)?;
    } else if options.threads == 1 {
        let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
        let push = |block: &[i32]| chain.push(block, |reading| take(&Row::of(reading)));
        feed(source, sensor.channels(), push, progress)?;
    } else {
        in_parts(sensor, capture, options.threads, &mut take, progress)?;
    }
    failure?;
    writer.finish()?;
    let codes = frames * sensor.channels() as u64;
    Ok(Outcome { rows, counts, wall_time: started.elapsed(), codes })
}

/// Frames of a part, about: a millisecond of work or some.
const PART_FRAMES: u64 = 1 << 18;
/// Parts that are worked at or wait for those before them, for each thread.
const AHEAD: u64 = 4;

/// Phasors of all channels of a part, interval by interval, and what each interval told.
type Part = (Vec<Phasor>, Vec<Interval>);

/// Front ends on `threads` threads, each over the part of the capture that is next; the rest of the
/// chain, which is little work, in order on this one.
fn in_parts(
    sensor: &Sensor,
    capture: &Capture,
    threads: usize,
    mut take: impl FnMut(&Row),
    progress: impl Fn(u64),
) -> Result<()> {
    let frames = capture.layout.frames;
    let ratio = u64::from(sensor.settings.front_end.ratio);
    let length = (PART_FRAMES / ratio).max(1) * ratio;
    let parts = frames.div_ceil(length);
    let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    let ended = || Error::new("a thread of the front end ended early");
    // A part may be begun when its number is handed out, with memory that was used before: that stays flat.
    let (begin, begun) = channel::<(u64, Part)>();
    let begun = Mutex::new(begun);
    let (done, parts_done) = channel();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (begun, done, mut chain) = (&begun, done.clone(), chain.clone());
            scope.spawn(move || {
                let next = || begun.lock().ok()?.recv().ok();
                while let Some((part, into)) = next() {
                    let frames = part * length..frames.min((part + 1) * length);
                    let made = front_end(&mut chain, sensor, capture, frames, into);
                    if done.send((part, made)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(done);
        // Within the scope, so that threads end with it, after an error too.
        let begin = begin;
        let ahead = AHEAD * threads as u64;
        for part in 0..ahead.min(parts) {
            begin.send((part, Part::default())).map_err(|_| ended())?;
        }
        let mut early = BTreeMap::new();
        for part in 0..parts {
            let (mut phasors, intervals) = loop {
                if let Some(made) = early.remove(&part) {
                    break made;
                }
                let (number, made) = parts_done.recv().map_err(|_| ended())?;
                early.insert(number, made?);
            };
            for (frame, interval) in phasors.chunks_exact_mut(sensor.channels()).zip(&intervals) {
                chain.push_phasors(frame, *interval, |reading| take(&Row::of(reading)));
            }
            if part + ahead < parts {
                begin.send((part + ahead, (phasors, intervals))).map_err(|_| ended())?;
            }
            progress(frames.min((part + 1) * length));
        }
        Ok(())
    })
}

/// The front end over some frames, from a whole number of its intervals on, after a warm-up; what it gives takes the place
/// of what was in `into`.
fn front_end(
    chain: &mut Chain,
    sensor: &Sensor,
    capture: &Capture,
    frames: Range<u64>,
    into: Part,
) -> Result<Part> {
    let config = &sensor.settings.front_end;
    let ratio = u64::from(config.ratio);
    // N R M samples hold all that the front end remembers, rounding included.
    let memory = u64::from(config.order) * u64::from(config.differential_delay);
    let warm_up = memory.min(frames.start / ratio);
    let start = frames.start - warm_up * ratio;
    chain.seek(start);
    let (mut phasors, mut intervals) = into;
    phasors.clear();
    intervals.clear();
    let mut skip = warm_up;
    capture.read(start, frames.end, |block| {
        chain.decimate(block, |frame, interval| {
            if skip > 0 {
                skip -= 1;
                return;
            }
            phasors.extend_from_slice(frame);
            intervals.push(interval);
        });
    })?;
    Ok((phasors, intervals))
}
