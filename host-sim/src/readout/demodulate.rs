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
use std::collections::{BTreeMap, VecDeque};
use std::ops::Range;
use std::path::Path;
use std::sync::mpsc::channel;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
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

/// Frames of a part, about, at most: a millisecond of work or less.
const MOST_FRAMES: u64 = 1 << 17;
/// And at least, of a short capture: so many times what a front end takes to warm up.
const WARM_UPS: u64 = 16;
/// Parts for each thread of a short capture: threads are not equally fast.
const SHARES: u64 = 4;
/// Parts that are worked at or wait for those before them, for each thread.
const AHEAD: u64 = 2;

/// Phasors of all channels of a part, interval by interval, and what each interval told.
type Part = (Vec<Phasor>, Vec<Interval>);

/// Parts that may be begun, each with memory that was used before: that stays flat.
#[derive(Default)]
struct Open {
    parts: Mutex<Option<VecDeque<(u64, Part)>>>,
    changed: Condvar,
}

impl Open {
    fn parts(&self) -> MutexGuard<'_, Option<VecDeque<(u64, Part)>>> {
        self.parts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn put(&self, part: u64, memory: Part) {
        self.parts().get_or_insert_default().push_back((part, memory));
        self.changed.notify_one();
    }

    /// The next one, if there is one.
    fn take(&self) -> Option<(u64, Part)> {
        self.parts().as_mut()?.pop_front()
    }

    /// The next one, when there is one; `None` when no more will come.
    fn wait(&self) -> Option<(u64, Part)> {
        let is_empty =
            |parts: &mut Option<VecDeque<_>>| parts.as_ref().is_some_and(VecDeque::is_empty);
        let parts = self.changed.wait_while(self.parts(), is_empty);
        parts.unwrap_or_else(PoisonError::into_inner).as_mut()?.pop_front()
    }
}

/// No more will come.
struct Closes<'a>(&'a Open);

impl Drop for Closes<'_> {
    fn drop(&mut self) {
        *self.0.parts() = None;
        self.0.changed.notify_all();
    }
}

/// Front ends on `threads` threads, this one among them, each over the part of the capture that is next; the rest of the
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
    let share = frames / (SHARES * threads as u64);
    let least = WARM_UPS * memory(sensor) * ratio;
    let length = share.clamp(least, least.max(MOST_FRAMES)).div_ceil(ratio) * ratio;
    let parts = frames.div_ceil(length);
    let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    let make = |chain: &mut Chain, part: u64, memory: Part| {
        let frames = part * length..frames.min((part + 1) * length);
        front_end(chain, sensor, capture, frames, memory)
    };
    let open = Open::default();
    let ahead = AHEAD * threads as u64;
    (0..ahead.min(parts)).for_each(|part| open.put(part, Part::default()));
    let (done, parts_done) = channel();
    std::thread::scope(|scope| {
        let _closes = Closes(&open);
        for _ in 1..threads {
            let (open, done, make, mut chain) = (&open, done.clone(), &make, chain.clone());
            scope.spawn(move || {
                while let Some((part, memory)) = open.wait() {
                    if done.send((part, make(&mut chain, part, memory))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(done);
        let mut own = chain.clone();
        let mut early = BTreeMap::new();
        for part in 0..parts {
            let (mut phasors, intervals) = loop {
                early.extend(parts_done.try_iter());
                if let Some(made) = early.remove(&part) {
                    break made?;
                }
                if let Some((part, memory)) = open.take() {
                    early.insert(part, make(&mut own, part, memory));
                    continue;
                }
                let ended = |_| Error::new("a thread of the front end ended early");
                early.extend([parts_done.recv().map_err(ended)?]);
            };
            for (frame, interval) in phasors.chunks_exact_mut(sensor.channels()).zip(&intervals) {
                chain.push_phasors(frame, *interval, |reading| take(&Row::of(reading)));
            }
            if part + ahead < parts {
                open.put(part + ahead, (phasors, intervals));
            }
            progress(frames.min((part + 1) * length));
        }
        Ok(())
    })
}

/// Intervals that hold all that a front end remembers, rounding included: N M, of R samples each.
fn memory(sensor: &Sensor) -> u64 {
    let config = &sensor.settings.front_end;
    u64::from(config.order) * u64::from(config.differential_delay)
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
    let ratio = u64::from(sensor.settings.front_end.ratio);
    let warm_up = memory(sensor).min(frames.start / ratio);
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
