//! Files: read as a command would read them, and used as far as nothing is computed for long.

use quietgap_sim::campaign::list::Campaign;
use quietgap_sim::error::Error;
use quietgap_sim::filter::spec::Spec;
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::capture::{Capture, Wanted, Word};
use quietgap_sim::records::Source;
use quietgap_sim::simulation::motion::Motion;
use quietgap_sim::simulation::phasor::experiment::Experiment;
use quietgap_sim::telemetry::board::Board;
use quietgap_telemetry::{Decoder, Frame, Message};
use std::io::Write;
use std::path::Path;
use tempfile::NamedTempFile;

/// A refusal says something, in one line that a terminal shows as it is.
fn refused(error: &Error) {
    let said = error.to_string();
    assert!(!said.is_empty() && said.chars().count() <= 300, "{said}");
    assert!(!said.contains(char::is_control), "{said:?}");
}

fn text(data: &[u8], read: impl FnOnce(&str) -> Result<(), Error>) {
    if let Ok(text) = std::str::from_utf8(data)
        && let Err(error) = read(text)
    {
        refused(&error);
    }
}

/// A sensor file, its plan with it.
pub fn sensor(data: &[u8]) {
    text(data, |text| {
        let sensor = Sensor::parse(Path::new("sensor.toml"), text)?;
        assert!(sensor.rate_hz() > 0.0 && sensor.output_rate_hz() > 0.0);
        assert!(sensor.settings.span() > 0);
        Ok(())
    });
}

/// A plan file.
pub fn plan(data: &[u8]) {
    text(data, |text| {
        let plan = Subject::parse(Path::new("plan.toml"), text, None)?;
        assert!(plan.delay_s().is_finite() && plan.output_rate_hz() > 0.0);
        Ok(())
    });
}

/// A specification: read, not searched for.
pub fn specification(data: &[u8]) {
    text(data, |text| {
        let spec = Spec::parse(Path::new("spec.toml"), text)?;
        assert!(spec.interval().is_none_or(|n| n > 0));
        Ok(())
    });
}

fn file(data: &[u8]) -> NamedTempFile {
    let mut file = NamedTempFile::new().expect("a file");
    file.write_all(data).expect("written");
    file
}

/// A motion file, or readings taken as motion: what it gives between its rows is bounded as they are.
pub fn motion(data: &[u8]) {
    match Motion::read(file(data).path()) {
        Ok(motion) => {
            for part in 0..=16 {
                let at = motion.at(motion.end_s() * f64::from(part) / 16.0);
                assert!(at.iter().all(|x| x.abs() < 1e6), "{at:?}");
            }
        }
        Err(error) => refused(&error),
    }
}

/// Drives of an experiment.
pub fn drives(data: &[u8]) {
    if let Err(error) = Experiment::read(file(data).path()) {
        refused(&error);
    }
}

/// A campaign: read, not run. What it names is of the campaign, and every command is one.
pub fn campaign(data: &[u8]) {
    match Campaign::read(file(data).path()) {
        Ok(campaign) => {
            for analysis in &campaign.analyses {
                assert!(!analysis.run.is_empty() && !analysis.name.contains(['/', '.', '{']));
            }
        }
        Err(error) => refused(&error),
    }
}

/// Bytes of a line: each stretch between zeros as it came, and again with the check that it should have had, so that
/// what lies behind the check is reached.
pub fn telemetry(data: &[u8]) {
    let (mut decoder, mut board) = (Decoder::new(), None);
    let mut hear = |frame: Frame| {
        assert_eq!(
            Frame::parse(frame.wire().expect("it came").split_last().expect("a zero").1),
            Ok(frame.clone())
        );
        match frame.message {
            Message::Settings(settings) => board = Board::new(settings),
            Message::TimeMark(mark) => board.iter_mut().for_each(|b: &mut Board| b.mark(mark)),
            Message::Reading(reading) => {
                if let Some(board) = &board {
                    let row = board.row(&reading);
                    assert!(row.is_none_or(|row| row.len() == board.columns().len()));
                }
            }
            _ => {}
        }
    };
    for stretch in data.split(|byte| *byte == 0) {
        let check = quietgap_telemetry::check::digits(stretch);
        let bytes = stretch.iter().chain(&[0]).chain(stretch).chain(&check).chain(&[0]);
        bytes.filter_map(|byte| decoder.push(*byte)).for_each(&mut hear);
    }
}

/// A capture: the first byte says what is wanted of the others.
fn capture(data: &[u8], words: Option<Word>) {
    let Some((first, data)) = data.split_first() else { return };
    let wanted = Wanted {
        channels: 1 + usize::from(first & 3),
        bits: [16, 24, 8, 32][usize::from(first >> 2 & 3)],
        rate_hz: 8e5,
        words,
    };
    let file = file(data);
    let read = || -> Result<(), Error> {
        let capture = Capture::open(file.path(), wanted)?;
        let mut codes = 0u64;
        capture.read(0, u64::MAX, |block| codes += block.len() as u64)?;
        assert_eq!(codes, capture.layout.frames * wanted.channels as u64);
        assert!(capture.unchanging()?.len() <= wanted.channels);
        Ok(())
    };
    if let Err(error) = read() {
        refused(&error);
    }
}

/// An npy capture.
pub fn npy(data: &[u8]) {
    capture(data, None);
}

/// A WAV capture.
pub fn wav(data: &[u8]) {
    capture(data, None);
}

/// Words without a header.
pub fn words(data: &[u8]) {
    let word = data.first().map_or(0, |first| first >> 4) % 3;
    capture(data, Some([Word::Int16, Word::Int24, Word::Int32][usize::from(word)]));
}

/// A record: the first byte says which of its formats.
pub fn record(data: &[u8]) {
    let Some((first, data)) = data.split_first() else { return };
    let suffix = [".csv", ".npy", ".parquet"][usize::from(first % 3)];
    let mut file = tempfile::Builder::new().suffix(suffix).tempfile().expect("a file");
    file.write_all(data).expect("written");
    let read = || -> Result<(), Error> {
        let source = Source::open(file.path(), (suffix == ".npy").then_some(10.0))?;
        let names: Vec<String> = source.names().map(str::to_owned).collect();
        let record = source.read(&names, first & 4 != 0, &|_| {})?;
        // Runs rise, do not touch but at their ends, and lie within the rows.
        let mut end = 0;
        for run in &record.runs {
            assert!(run.start >= end && run.end > run.start, "{:?}", record.runs);
            end = run.end;
        }
        assert!(record.columns.iter().all(|column| column.len() >= end));
        assert!(record.rate_hz > 0.0, "{}", record.rate_hz);
        Ok(())
    };
    if let Err(error) = read() {
        refused(&error);
    }
}
