//! `quietgap stand-in`.

use super::recorded::RecordedOptions;
use clap::Args;
use quietgap_core::HealthCounts;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::output::AtomicFile;
use quietgap_sim::readout::capture::Capture;
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::readout::run::{Source, feed};
use quietgap_telemetry::frame::Sender;
use quietgap_telemetry::message;
use quietgap_telemetry::message::{Counts, Message, Settings, TimeMark};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    #[command(flatten)]
    recorded: RecordedOptions,
    /// Frames to write; - for standard output
    #[arg(long, value_name = "FRAMES")]
    out: PathBuf,
    /// What the board's clock is off, in parts of a million
    #[arg(long, value_name = "PPM", default_value_t = 0.0, allow_negative_numbers = true)]
    clock_ppm: f64,
}

/// Readings between two counts of faults, and between settings.
const COUNTS: u64 = 100;

/// Frames numbered in order.
struct Speaker<W> {
    out: W,
    sender: Sender,
}

impl<W: Write> Speaker<W> {
    fn say(&mut self, message: Message) -> std::io::Result<()> {
        let wire = self.sender.wire(&message).expect("a message of these capacities fits");
        self.out.write_all(&wire)
    }
}

pub(super) fn run(options: &Options) -> Result<bool> {
    let sensor = options.recorded.sensor()?;
    super::record::in_range("--clock-ppm", options.clock_ppm, -1e4, 1e4)?;
    let capture = options.recorded.capture(&sensor)?;
    options.recorded.distinct_from(&sensor, &options.out)?;
    let fault =
        |e: &std::io::Error| Error::new(format!("{}: cannot write: {e}", options.out.display()));
    if options.out == Path::new("-") {
        let spoken = speak(options, &sensor, &capture, BufWriter::new(std::io::stdout()))?;
        return match spoken {
            // Nobody listens any more.
            Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Ok(true),
            Err(e) => Err(fault(&e)),
            Ok(_) => Ok(true),
        };
    }
    let file = AtomicFile::create(&options.out)?;
    speak(options, &sensor, &capture, file)?.map_err(|e| fault(&e))?.finish()?;
    Ok(true)
}

/// Settings, then readings with counts and time marks among them; a failing read, or a failing write.
fn speak<W: Write>(
    options: &Options,
    sensor: &Sensor,
    capture: &Capture,
    out: W,
) -> Result<std::io::Result<W>> {
    let mut chain = Chain::new(&sensor.settings).map_err(|e| Error::new(e.to_string()))?;
    let mut speaker = Speaker { out, sender: Sender::default() };
    let settings = settings(sensor, &chain);
    let mut said = Ok(());
    // The board's clock runs fast by so much: more of its samples fit into a second.
    let samples_per_edge = sensor.rate_hz() * (1.0 + options.clock_ppm * 1e-6);
    let (mut counts, mut edge) = (HealthCounts::NONE, 0u32);
    let push = |block: &[i32]| {
        chain.push(block, |reading| {
            let mut say = |message| {
                if said.is_ok() {
                    said = speaker.say(message);
                }
            };
            // Whoever begins to listen later, or has lost them, gets them again.
            if counts.readings().is_multiple_of(COUNTS)
                && let Some(settings) = &settings
            {
                say(Message::Settings(settings.clone()));
            }
            while f64::from(edge) * samples_per_edge < reading.half_samples.max(0) as f64 / 2.0 {
                say(Message::TimeMark(mark(edge, samples_per_edge)));
                edge += 1;
            }
            counts.count(reading.health);
            say(Message::Reading(message::Reading::from(reading)));
            if counts.readings().is_multiple_of(COUNTS) {
                say(Message::Counts(Counts::from(&counts)));
            }
        });
    };
    feed(Source::Capture(capture), sensor.channels(), push, |_| {})?;
    Ok(said.and_then(|()| speaker.out.flush()).map(|()| speaker.out))
}

/// What a board with this sensor's plan says of itself; `None` where it could not be said.
fn settings(sensor: &Sensor, chain: &Chain) -> Option<Settings> {
    let mut name = plain(&sensor.file.name);
    name.truncate(message::NAME);
    Some(Settings {
        name: name.as_str().try_into().ok()?,
        rate_millihertz: (sensor.rate_hz() * 1e3).round() as u64,
        interval: sensor.settings.interval(),
        axes: sensor.axes().iter().filter_map(|a| u8::try_from(*a).ok()).collect(),
        bridges: u8::try_from(sensor.file.bridges.len()).ok()?,
        checksum: chain.checksum(),
        starts: 1,
    })
}

/// A name in letters that a cut leaves whole.
fn plain(name: &str) -> String {
    name.chars().map(|c| if c.is_ascii_graphic() { c } else { '-' }).collect()
}

fn mark(edge: u32, samples_per_edge: f64) -> TimeMark {
    let at = f64::from(edge) * samples_per_edge;
    // The nearest part of a sample; the last of them may be the next sample.
    let parts = (at * 65536.0).round() as u64;
    TimeMark { edge, sample: parts >> 16, fraction: (parts & 0xFFFF) as u16 }
}
