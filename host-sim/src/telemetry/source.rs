//! **Sources** of bytes: standard input, a file or pipe, a device such as a serial port, a TCP connection. A thread of its own
//! reads, so that what was read is kept in time however long the line is silent.

use crate::error::{Error, Result};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// Between two attempts to reach a line that is gone.
const AGAIN: Duration = Duration::from_millis(500);
/// Most bytes of a piece.
const PIECE: usize = 1 << 16;
/// Pieces that may wait.
const WAITING: usize = 64;

/// Where bytes come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// `-`.
    Standard,
    /// `tcp:HOST:PORT`.
    Tcp(String),
    /// A path.
    Path(PathBuf),
}

/// What comes.
#[derive(Debug)]
pub enum Piece {
    /// Bytes.
    Bytes(Vec<u8>),
    /// The line was lost, and is there again.
    Again,
    /// It ended.
    End(Result<()>),
}

/// The other way of a line.
#[derive(Clone, Default)]
pub struct Back(Arc<Mutex<Option<Box<dyn Write + Send>>>>);

impl Back {
    fn set(&self, line: Box<dyn Write + Send>) {
        if let Ok(mut back) = self.0.lock() {
            *back = Some(line);
        }
    }

    /// Sends bytes. A line that is gone takes none: who sent them hears no answer.
    pub fn send(&self, bytes: &[u8]) {
        if let Ok(mut back) = self.0.lock()
            && let Some(line) = back.as_mut()
        {
            let _ = line.write_all(bytes).and_then(|()| line.flush());
        }
    }
}

impl Source {
    /// From its name.
    #[must_use]
    pub fn of(name: &str) -> Self {
        match name.strip_prefix("tcp:") {
            _ if name == "-" => Self::Standard,
            Some(address) => Self::Tcp(address.to_owned()),
            None => Self::Path(PathBuf::from(name)),
        }
    }

    /// Opens it, and where it `answers` the way back.
    fn open(&self, back: Option<&Back>) -> Result<Box<dyn Read + Send>> {
        match self {
            Self::Standard => Ok(Box::new(std::io::stdin())),
            Self::Tcp(address) => {
                let fault = |e| Error::new(format!("tcp:{address}: cannot be reached: {e}"));
                let stream = TcpStream::connect(address).map_err(fault)?;
                if let Some(back) = back {
                    back.set(Box::new(stream.try_clone().map_err(fault)?));
                }
                Ok(Box::new(stream))
            }
            Self::Path(path) => {
                let fault = |e| Error::in_file(path, None, format!("cannot be opened: {e}"));
                let mut options = std::fs::OpenOptions::new();
                let file = options.read(true).write(back.is_some()).open(path).map_err(fault)?;
                if let Some(back) = back {
                    back.set(Box::new(file.try_clone().map_err(fault)?));
                }
                Ok(Box::new(file))
            }
        }
    }

    /// Whether it is worth waiting for when it ends: a connection, or a device.
    fn returns(&self) -> bool {
        match self {
            Self::Standard => false,
            Self::Tcp(_) => true,
            #[cfg(unix)]
            Self::Path(path) => {
                use std::os::unix::fs::FileTypeExt;
                path.metadata().is_ok_and(|m| m.file_type().is_char_device())
            }
            #[cfg(not(unix))]
            Self::Path(_) => false,
        }
    }

    /// Opens it, and reads on until the receiver is gone. With `wait`, a connection or device that ends is opened again. With `back`,
    /// what is written there goes the other way.
    ///
    /// # Errors
    /// It cannot be opened at first; `back` of what has no other way.
    pub fn read(self, wait: bool, back: Option<Back>) -> Result<Receiver<Piece>> {
        if back.is_some() && !self.returns() {
            let message = "--send: allowed to a tcp:HOST:PORT or a device, which hear what is sent";
            return Err(Error::new(message));
        }
        let first = self.open(back.as_ref())?;
        let returns = wait && self.returns();
        let (to, from) = sync_channel(WAITING);
        std::thread::spawn(move || self.pump(first, returns, back.as_ref(), &to));
        Ok(from)
    }

    fn pump(
        &self,
        mut line: Box<dyn Read + Send>,
        returns: bool,
        back: Option<&Back>,
        to: &SyncSender<Piece>,
    ) {
        let mut piece = vec![0; PIECE];
        loop {
            let ended = match line.read(&mut piece) {
                Ok(0) => Ok(()),
                Ok(count) => {
                    if to.send(Piece::Bytes(piece[..count].to_vec())).is_err() {
                        return;
                    }
                    continue;
                }
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
                Err(e) => Err(Error::new(format!("the line: cannot be read: {e}"))),
            };
            if !returns {
                let _ = to.send(Piece::End(ended));
                return;
            }
            line = loop {
                std::thread::sleep(AGAIN);
                if let Ok(line) = self.open(back) {
                    break line;
                }
            };
            if to.send(Piece::Again).is_err() {
                return;
            }
        }
    }
}
