//! `quietgap listen`.

use super::say;
use crate::live::{Live, channels, screen::Screen};
use clap::Args;
use quietgap_acquisition::Faults;
use quietgap_sim::error::{Error, Result};
use quietgap_sim::telemetry::board::Board;
use quietgap_sim::telemetry::log::{Log, refuse_existing};
use quietgap_sim::telemetry::outbox::{Fate, Outbox};
use quietgap_sim::telemetry::source::{Back, Piece, Source};
use quietgap_telemetry::message::{Message, Outcome, Reading, TimeMark};
use quietgap_telemetry::{Decoder, stream::Met};
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// - for standard input; tcp:HOST:PORT; a file, a pipe or a device, such as a serial port that is set up (stty raw)
    source: String,
    /// Record to write: CSV as it comes; npy or Parquet when the line ends, CSV until then
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Ends after so long; when the line ends, or never, when absent
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    seconds: Option<f64>,
    /// Ends when a connection or device ends: it is not opened again
    #[arg(long)]
    once: bool,
    /// A line of JSON for every message on standard output
    #[arg(long)]
    json: bool,
    /// Shows the board in the terminal: axes, densities, a strip chart; q ends
    #[arg(long, conflicts_with = "json")]
    live: bool,
    /// Command to the board, sent until it is answered; several one after the other. start, stop, mark:LABEL,
    /// injection:PART of full scale, calibration:FILE. Without --out, ends with the last answer
    #[arg(long, value_name = "COMMAND")]
    send: Vec<String>,
}

/// Longest that nothing is looked at.
const LOOK: Duration = Duration::from_millis(100);
/// Readings that wait for the board's settings, which come once a minute.
const EARLY: usize = 100_000;

/// A listener at work.
struct Listener<'a> {
    options: &'a Options,
    decoder: Decoder,
    board: Option<Board>,
    log: Option<Log>,
    /// Readings and time marks from before the settings.
    early: Vec<Early>,
    /// Records that were ended as the board began anew, or said that it is another.
    ended: u32,
    rows: u64,
    flagged: u64,
    /// Readings that could not be told: too early, or unlike the settings.
    untold: u64,
    interrupted: u64,
    outbox: Outbox,
    back: Option<Back>,
    /// Commands that were not carried out.
    undone: u64,
    live: Option<Live>,
    unsaid: String,
}

enum Early {
    Reading(Reading),
    Mark(TimeMark),
}

pub(super) fn run(options: &Options) -> Result<bool> {
    if let Some(seconds) = options.seconds {
        super::record::in_range("--seconds", seconds, 0.1, 1e9)?;
    }
    if let Some(out) = &options.out {
        if out == Path::new("-") {
            return Err(Error::new("--out -: allowed a file; --json writes to standard output"));
        }
        super::distinct(&[Path::new(&options.source)], &[out])?;
        // Told now, not when the first reading comes.
        refuse_existing(out)?;
    }
    let outbox = Outbox::new(&options.send)?;
    let back = (!outbox.is_empty()).then(Back::default);
    let pieces = Source::of(&options.source).read(!options.once, back.clone())?;
    let mut listener = Listener {
        options,
        decoder: Decoder::new(),
        board: None,
        log: None,
        early: Vec::new(),
        ended: 0,
        rows: 0,
        flagged: 0,
        untold: 0,
        interrupted: 0,
        outbox,
        back,
        undone: 0,
        live: None,
        unsaid: String::new(),
    };
    let mut screen = options.live.then(Screen::take).transpose()?;
    let until = options.seconds.map(|s| Instant::now() + Duration::from_secs_f64(s));
    let mut ended = Ok(());
    while until.is_none_or(|until| Instant::now() < until) {
        listener.send();
        if listener.back.is_some() && options.out.is_none() && listener.outbox.is_empty() {
            break;
        }
        match pieces.recv_timeout(LOOK) {
            Ok(Piece::Bytes(bytes)) => {
                for byte in bytes {
                    if let Some(frame) = listener.decoder.push(byte) {
                        listener.hear(frame.message)?;
                    }
                }
            }
            Ok(Piece::Again) => listener.interrupted += 1,
            Ok(Piece::End(end)) => {
                ended = end;
                break;
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if let Some(log) = &mut listener.log {
            log.keep_in_time()?;
        }
        if let Some(screen) = &mut screen {
            let lost = listener.decoder.met().missing;
            if !screen.show(listener.live.as_mut(), lost)? {
                break;
            }
        }
    }
    // The terminal is given back before anything is said.
    drop(screen);
    listener.finish()?;
    ended.map(|()| listener.is_whole())
}

impl Listener<'_> {
    fn hear(&mut self, message: Message) -> Result<()> {
        match message {
            Message::Settings(settings) => {
                if self.board.as_ref().is_some_and(|board| *board.settings() == settings) {
                    return Ok(());
                }
                let told = json!({
                    "kind": "settings", "name": settings.name.as_str(), "interval": settings.interval,
                    "sample_rate_hz": settings.rate_millihertz as f64 / 1e3, "bridges": settings.bridges,
                    "board_checksum": format!("{:#010x}", settings.checksum), "starts": settings.starts,
                });
                self.tell(&told);
                // Another board, another plan, another start: another record.
                if self.log.is_some() {
                    self.end_log()?;
                    self.ended += 1;
                }
                self.board = Board::new(settings);
                self.live = self.board.as_ref().filter(|_| self.options.live).map(Live::new);
                for early in std::mem::take(&mut self.early) {
                    match early {
                        Early::Reading(reading) => self.reading(&reading)?,
                        Early::Mark(mark) => self.mark(mark),
                    }
                }
            }
            Message::Reading(reading) if self.board.is_some() => self.reading(&reading)?,
            Message::Reading(reading) => self.wait(Early::Reading(reading)),
            Message::TimeMark(mark) if self.board.is_some() => self.mark(mark),
            Message::TimeMark(mark) => self.wait(Early::Mark(mark)),
            Message::Counts(counts) => {
                let names = quietgap_core::Health::NAMES.iter().map(|(_, name)| *name);
                let faults: Map<String, Value> =
                    names.zip(&counts.faults).map(|(n, c)| (n.to_owned(), (*c).into())).collect();
                self.tell(&json!({
                    "kind": "counts", "readings": counts.readings, "faults": faults,
                    "lost_blocks": counts.lost_blocks, "refused_commands": counts.refused_commands,
                }));
            }
            Message::Gap(gap) => self.tell(&json!({
                "kind": "gap", "from_sample": gap.from_sample, "to_sample": gap.to_sample,
            })),
            Message::Acquisition(told) => {
                if let (Some(live), Some(board)) = (&mut self.live, &self.board) {
                    live.acquisition(&told, board.rate_hz());
                }
                let names: Vec<&str> = Faults::from_bits(told.faults).names().collect();
                let channels: Vec<u32> = channels(told.channels).collect();
                self.tell(&json!({
                    "kind": "acquisition", "sample": told.sample, "faults": names, "channels": channels,
                }));
            }
            Message::Answer(answer) => {
                self.tell(&json!({
                    "kind": "answer", "command": answer.command, "sample": answer.sample,
                    "outcome": named(answer.outcome),
                }));
                if let Some(fate) = self.outbox.answered(&answer) {
                    self.ended(&fate);
                }
            }
            // Another host's, on a line that both hear.
            Message::Command(_) => {}
        }
        Ok(())
    }

    /// Sends what is due.
    fn send(&mut self) {
        let Some(back) = self.back.clone() else { return };
        match self.outbox.due(Instant::now()) {
            Some(Ok(wire)) => back.send(&wire),
            Some(Err(fate)) => self.ended(&fate),
            None => {}
        }
    }

    fn ended(&mut self, fate: &Fate) {
        self.undone += u64::from(!fate.is_done());
        let outcome = fate.outcome.map_or("unanswered".to_owned(), named);
        self.tell(&json!({
            "kind": "command", "command": fate.text, "number": fate.number, "tries": fate.tries, "outcome": outcome,
        }));
        let text = format!("{}: {outcome}, sent {} times\n", fate.text, fate.tries);
        if self.options.live {
            // The terminal is taken: said when it is given back.
            self.unsaid.push_str(&text);
        } else {
            say(self.options.json, &text);
        }
    }

    fn wait(&mut self, early: Early) {
        if self.early.len() < EARLY {
            self.early.push(early);
        } else {
            self.untold += 1;
        }
    }

    fn mark(&mut self, mark: TimeMark) {
        let Some(board) = &mut self.board else { return };
        board.mark(mark);
        let rate = board.clock().rate_hz();
        self.tell(&json!({
            "kind": "time_mark", "edge": mark.edge, "sample": mark.sample, "fraction": mark.fraction,
            "measured_rate_hz": rate,
        }));
    }

    fn reading(&mut self, reading: &Reading) -> Result<()> {
        let Some(row) = self.board.as_ref().and_then(|board| board.row(reading)) else {
            self.untold += 1;
            return Ok(());
        };
        if let (Some(live), Some(board)) = (&mut self.live, &self.board) {
            live.reading(reading, board.rate_hz());
        }
        self.rows += 1;
        self.flagged += u64::from(reading.health != 0);
        if self.options.json
            && let Some(board) = &self.board
        {
            self.tell(&board.json(&row));
        }
        if let Some(out) = &self.options.out {
            if self.log.is_none() {
                let Some(board) = &self.board else { return Ok(()) };
                let path = if self.ended == 0 { out.clone() } else { numbered(out, self.ended) };
                self.log = Some(Log::create(&path, board.columns().to_vec(), board.meta())?);
            }
            if let Some(log) = &mut self.log {
                log.push(&row)?;
            }
        }
        Ok(())
    }

    /// A line of JSON, where they are wanted.
    fn tell(&self, value: &Value) {
        if self.options.json {
            use std::io::Write;
            let text = quietgap_sim::output::without_nulls(value);
            let mut out = std::io::stdout().lock();
            // Who does not read any more hears nothing; the record goes on.
            let _ = writeln!(out, "{text}").and_then(|()| out.flush());
        }
    }

    fn end_log(&mut self) -> Result<()> {
        self.log.take().map_or(Ok(0), Log::finish).map(|_| ())
    }

    /// Whether nothing was lost on the line, and all that was asked for is done.
    fn is_whole(&self) -> bool {
        let met = self.decoder.met();
        let heard = met.missing == 0 && met.refused() == 0 && self.untold == 0;
        heard && self.undone == 0 && self.outbox.is_empty()
    }

    fn finish(&mut self) -> Result<()> {
        self.end_log()?;
        self.untold += self.early.len() as u64;
        let Met { frames, missing, repeats, restarts, length, check, version, message } =
            *self.decoder.met();
        self.tell(&json!({
            "kind": "end", "schema": 1, "command": "listen", "frames": frames, "rows": self.rows,
            "flagged": self.flagged, "missing": missing, "repeats": repeats, "restarts": restarts, "untold": self.untold,
            "interrupted": self.interrupted, "undone": self.undone + u64::from(!self.outbox.is_empty()),
            "refused": { "length": length, "check": check, "version": version, "message": message },
        }));
        let text = format!(
            "{}: {frames} frames, {} readings ({} flagged); missing {missing}, refused {} ({length} length, {check} check, \
             {version} version, {message} message), untold {}, restarts {restarts}, interruptions {}\n",
            self.options.source,
            self.rows,
            self.flagged,
            self.decoder.met().refused(),
            self.untold,
            self.interrupted,
        );
        say(self.options.json, &format!("{}{text}", self.unsaid));
        Ok(())
    }
}

fn named(outcome: Outcome) -> String {
    format!("{outcome:?}").to_lowercase()
}

/// A further record's name: `r.csv`, `r-2.csv`.
fn numbered(path: &Path, ended: u32) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let end = path.extension().map_or(String::new(), |e| format!(".{}", e.to_string_lossy()));
    path.with_file_name(format!("{stem}-{}{end}", ended + 1))
}
