//! **Log**: a record that grows on the disk row by row and is whole at any moment.
//!
//! Rows go to CSV, which needs no end: what is there is read as any record. A record of another format is kept as CSV beside its
//! place and becomes what it shall be when the line ends; what ends the program before leaves the CSV.

use crate::error::{Error, Result};
use crate::readout::readings::health_bits;
use crate::records::Format;
use crate::records::meta::Meta;
use crate::records::write::{Cell, Kind, Writer, beside, line};
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Longest that a row waits: half of what may be lost.
const WAITS: Duration = Duration::from_millis(500);
/// Bytes that wait at most.
const HELD: usize = 1 << 20;

/// A record that grows.
#[derive(Debug)]
pub struct Log {
    file: BufWriter<File>,
    disk: Disk,
    /// The growing file, and what it shall become where that is another.
    path: PathBuf,
    becomes: Option<PathBuf>,
    columns: Vec<(String, Kind)>,
    kinds: Vec<Kind>,
    meta: Meta,
    /// When the oldest row came that is not on the disk.
    waiting: Option<Instant>,
    rows: u64,
}

/// Puts what is written on the disk, on a thread of its own: a disk that is busy holds up no row that comes meanwhile.
#[derive(Debug)]
struct Disk {
    asks: Option<SyncSender<()>>,
    works: Option<JoinHandle<std::io::Result<()>>>,
}

impl Disk {
    fn new(file: &File) -> std::io::Result<Self> {
        let file = file.try_clone()?;
        // One that is not begun holds for all that is written before it.
        let (asks, asked) = sync_channel(1);
        let works = std::thread::spawn(move || asked.iter().try_for_each(|()| file.sync_data()));
        Ok(Self { asks: Some(asks), works: Some(works) })
    }

    /// Asks for all that is written; fails where it failed before.
    fn ask(&mut self) -> std::io::Result<()> {
        match self.asks.as_ref().map(|asks| asks.try_send(())) {
            Some(Err(TrySendError::Disconnected(()))) | None => self.end(),
            Some(Ok(()) | Err(TrySendError::Full(()))) => Ok(()),
        }
    }

    /// Waits until all that was asked for is done.
    fn end(&mut self) -> std::io::Result<()> {
        self.asks = None;
        let Some(works) = self.works.take() else { return Ok(()) };
        works.join().unwrap_or_else(|_| Err(std::io::Error::other("the thread ended early")))
    }
}

impl Log {
    /// Starts a record. One that is there is never written over.
    ///
    /// # Errors
    /// The file, or the CSV that it grows in, is there or cannot be written.
    pub fn create(path: &Path, columns: Vec<(String, Kind)>, meta: Meta) -> Result<Self> {
        let becomes = (Format::of(path) != Format::Csv).then(|| path.to_owned());
        let growing = if becomes.is_some() { grows_in(path) } else { path.to_owned() };
        refuse_existing(path)?;
        let open = OpenOptions::new().write(true).create_new(true).open(&growing);
        let file = open.map_err(|e| fault(&growing, &e))?;
        let names: Vec<&str> = columns.iter().map(|(name, _)| name.as_str()).collect();
        beside(&growing, &names, &meta)?.finish()?;
        let mut file = BufWriter::with_capacity(HELD, file);
        writeln!(file, "{}", names.join(",")).map_err(|e| fault(&growing, &e))?;
        let kinds = columns.iter().map(|(_, kind)| *kind).collect();
        let disk = Disk::new(file.get_ref()).map_err(|e| fault(&growing, &e))?;
        let path = growing;
        let mut log =
            Self { file, disk, path, becomes, columns, kinds, meta, waiting: None, rows: 0 };
        log.keep()?;
        Ok(log)
    }

    /// Where it grows.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Adds a row.
    ///
    /// # Errors
    /// A failing write.
    pub fn push(&mut self, row: &[Cell]) -> Result<()> {
        let mut text = line(row, &self.kinds);
        text.push('\n');
        // Whole rows alone reach the file.
        if self.file.buffer().len() + text.len() > HELD {
            self.file.flush().map_err(|e| fault(&self.path, &e))?;
        }
        self.file.write_all(text.as_bytes()).map_err(|e| fault(&self.path, &e))?;
        self.waiting.get_or_insert_with(Instant::now);
        self.rows += 1;
        self.keep_in_time()
    }

    /// Puts rows on the disk that have waited long enough; to be called several times a second.
    ///
    /// # Errors
    /// A failing write.
    pub fn keep_in_time(&mut self) -> Result<()> {
        if self.waiting.is_some_and(|since| since.elapsed() >= WAITS) {
            return self.keep();
        }
        Ok(())
    }

    fn keep(&mut self) -> Result<()> {
        self.waiting = None;
        let done = self.file.flush().and_then(|()| self.disk.ask());
        done.map_err(|e| fault(&self.path, &e))
    }

    /// Ends the record; its rows.
    ///
    /// # Errors
    /// A failing write.
    pub fn finish(mut self) -> Result<u64> {
        self.keep()?;
        self.disk.end().map_err(|e| fault(&self.path, &e))?;
        let Some(becomes) = self.becomes else { return Ok(self.rows) };
        let mut writer = Writer::create(&becomes, &self.columns, &self.meta)?;
        let read = |e: &dyn std::fmt::Display| {
            Error::in_file(&self.path, None, format!("cannot be read again: {e}"))
        };
        let file = File::open(&self.path).map_err(|e| read(&e))?;
        for text in BufReader::new(file).lines().skip(1) {
            let text = text.map_err(|e| read(&e))?;
            let cells = text.split(',').zip(&self.columns).map(|(cell, (_, kind))| match kind {
                Kind::Text => Ok(Cell::Text(cell.to_owned(), f64::from(health_bits(cell)))),
                _ if cell.is_empty() => Ok(Cell::Number(f64::NAN)),
                _ => cell.parse().map(Cell::Number).map_err(|e| read(&e)),
            });
            writer.push(&cells.collect::<Result<Vec<_>>>()?)?;
        }
        writer.finish()?;
        for done in [Meta::path_beside(&self.path), self.path.clone()] {
            std::fs::remove_file(&done).map_err(|e| fault(&done, &e))?;
        }
        Ok(self.rows)
    }
}

/// A record that is there, or one that was left growing, is never written over.
///
/// # Errors
/// It is there.
pub fn refuse_existing(path: &Path) -> Result<()> {
    let growing = grows_in(path);
    match [path, growing.as_path()].into_iter().find(|path| path.exists()) {
        Some(there) => Err(Error::in_file(there, None, "is there already, allowed a new record")),
        None => Ok(()),
    }
}

/// The CSV that a record of another format grows in.
fn grows_in(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".growing.csv");
    PathBuf::from(name)
}

fn fault(path: &Path, e: &std::io::Error) -> Error {
    Error::in_file(path, None, format!("cannot write: {e}"))
}
