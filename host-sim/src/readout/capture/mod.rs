//! **Captures**: recorded converter codes, read as a stream so that memory stays flat; from a file or, as
//! `-`, from standard input.

pub mod npy;
pub mod wav;

use crate::error::{Error, Result};
use std::fs::File;
use std::io::{Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// How a code stands in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// 16 bits, little-endian.
    Int16,
    /// 24 bits, little-endian, packed.
    Int24,
    /// 32 bits, little-endian.
    Int32,
}

impl Word {
    /// Bytes of one code.
    #[must_use]
    pub const fn bytes(self) -> usize {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Int32 => 4,
        }
    }
}

/// Where the codes of a capture stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// First byte of the first code.
    pub start: u64,
    /// Frames in the file; `u64::MAX` where nothing tells.
    pub frames: u64,
    /// Channels in a frame.
    pub channels: usize,
    /// Word.
    pub word: Word,
    /// Sample rate, where the format tells it.
    pub rate_hz: Option<f64>,
    /// Codes stand at the top of their word (WAV); shift down to the converter's bits.
    pub left_aligned: bool,
}

/// What a capture has to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Channels in a frame.
    pub channels: usize,
    /// Bits of a code.
    pub bits: u32,
    /// Sample rate.
    pub rate_hz: f64,
    /// Right-aligned words that the user says it has: of npy, the same as its own; of anything else,
    /// words without a header.
    pub words: Option<Word>,
}

/// Standard input, and what was read of it to find the header.
#[derive(Debug)]
struct Pipe {
    head: Cursor<Vec<u8>>,
    rest: std::io::Stdin,
}

/// An opened capture.
#[derive(Debug)]
pub struct Capture {
    /// For messages.
    pub path: PathBuf,
    /// What the header says, checked against the file's length.
    pub layout: Layout,
    bits: u32,
    pipe: Option<Mutex<Pipe>>,
}

/// Bytes of a file that are read at a time: they stay in the processor's cache, and a call of the system costs time.
const BLOCK_BYTES: usize = 1 << 19;
/// Of a pipe, which may come as slowly as a converter's codes, and of a first look.
const SHORT_BLOCK_BYTES: usize = 1 << 16;

impl Capture {
    /// Opens a capture of `channels` channels of `bits`-bit codes; the format is told by its
    /// first bytes.
    ///
    /// # Errors
    /// Unreadable, unknown format, wrong type, shape or order, truncated, or a channel count,
    /// rate or width of words other than wanted.
    pub fn open(path: &Path, wanted: Wanted) -> Result<Self> {
        let fault = |message: String| Error::in_file(path, None, message);
        if path == Path::new("-") {
            return Self::from_pipe(path, wanted);
        }
        let mut file = File::open(path).map_err(|e| fault(format!("capture: {e}")))?;
        let metadata = file.metadata().map_err(|e| fault(e.to_string()))?;
        if !metadata.is_file() {
            let what = if metadata.is_dir() { "is a folder" } else { "is not a file" };
            return Err(fault(format!("{what}, where a capture is wanted")));
        }
        let length = metadata.len();
        if length < 4 && wanted.words.is_none() {
            return Err(fault(format!("{length} bytes are too short for a capture")));
        }
        let mut layout = layout(path, &mut file, wanted)?;
        let frame = (wanted.channels * layout.word.bytes()) as u64;
        if layout.frames == u64::MAX {
            layout.frames = length / frame;
            if length % frame != 0 || length == 0 {
                return Err(fault(format!("holds {length} bytes, not whole frames of {frame}")));
            }
        }
        let needed = layout.frames.checked_mul(frame).and_then(|n| n.checked_add(layout.start));
        if needed.is_none_or(|needed| length < needed) {
            let promised = needed.map_or("more than 2^64".to_owned(), |n| n.to_string());
            return Err(fault(format!(
                "is truncated: {length} bytes, its header promises {promised}"
            )));
        }
        Ok(Self { path: path.to_owned(), layout, bits: wanted.bits, pipe: None })
    }

    /// Standard input: its header within the first block.
    fn from_pipe(path: &Path, wanted: Wanted) -> Result<Self> {
        let path = if path == Path::new("-") { Path::new("standard input") } else { path };
        let mut rest = std::io::stdin();
        let mut head = Vec::new();
        (&mut rest)
            .take(SHORT_BLOCK_BYTES as u64)
            .read_to_end(&mut head)
            .map_err(|e| Error::in_file(path, None, e))?;
        let mut head = Cursor::new(head);
        let layout = layout(path, &mut head, wanted)?;
        head.set_position(layout.start);
        let pipe = Some(Mutex::new(Pipe { head, rest }));
        Ok(Self { path: path.to_owned(), layout, bits: wanted.bits, pipe })
    }

    /// Whether it can be read but once, from its start.
    #[must_use]
    pub fn is_pipe(&self) -> bool {
        self.pipe.is_some()
    }

    /// Hands on frames `first` to `end` in blocks of interleaved codes; a pipe from where it is.
    ///
    /// # Errors
    /// A failing read, or a pipe that ends before its header says or within a frame.
    pub fn read(&self, first: u64, end: u64, mut sink: impl FnMut(&[i32])) -> Result<()> {
        let fault = |e: std::io::Error| Error::in_file(&self.path, None, e);
        let frame = self.layout.channels * self.layout.word.bytes();
        let frames = end.min(self.layout.frames).saturating_sub(first);
        if let Some(pipe) = &self.pipe {
            let pipe = &mut *pipe.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            let mut source = (&mut pipe.head).chain(&mut pipe.rest);
            return self.blocks(&mut source, frames.saturating_mul(frame as u64), sink);
        }
        let mut file = File::open(&self.path).map_err(fault)?;
        file.seek(SeekFrom::Start(self.layout.start + first * frame as u64)).map_err(fault)?;
        self.blocks(&mut file, frames * frame as u64, &mut sink)
    }

    fn blocks(
        &self,
        source: &mut impl Read,
        mut left: u64,
        mut sink: impl FnMut(&[i32]),
    ) -> Result<()> {
        let fault = |e: &dyn std::fmt::Display| Error::in_file(&self.path, None, e);
        let word = self.layout.word;
        let frame = self.layout.channels * word.bytes();
        let most = if self.is_pipe() { SHORT_BLOCK_BYTES } else { BLOCK_BYTES };
        let block = (most / frame).max(1) * frame;
        let mut bytes = Vec::with_capacity(block);
        let mut codes = Vec::with_capacity(block / word.bytes());
        let shift = if self.layout.left_aligned { 8 * word.bytes() as u32 - self.bits } else { 0 };
        while left > 0 {
            bytes.clear();
            let take = left.min(block as u64);
            source.take(take).read_to_end(&mut bytes).map_err(|e| fault(&e))?;
            if bytes.len() % frame != 0 {
                return Err(fault(&format!("ends within a frame of {frame} bytes")));
            }
            // Words of this machine are looked at where they are.
            let own = word == Word::Int32 && shift == 0 && cfg!(target_endian = "little");
            match bytemuck::try_cast_slice(&bytes) {
                Ok(words) if own => sink(words),
                _ => {
                    codes.clear();
                    decode(&bytes, word, shift, &mut codes);
                    sink(&codes);
                }
            }
            left -= bytes.len() as u64;
            if (bytes.len() as u64) < take {
                if self.layout.frames == u64::MAX {
                    return Ok(());
                }
                let missing = left / frame as u64;
                return Err(fault(&format!("ends {missing} frames before its header says")));
            }
        }
        Ok(())
    }

    /// Channels whose codes never change, from 0. Reads until all others have changed, which of a live
    /// capture is one block; a pipe is not looked at.
    ///
    /// # Errors
    /// A failing read.
    pub fn unchanging(&self) -> Result<Vec<usize>> {
        let mut still: Vec<usize> = (0..self.layout.channels).collect();
        if self.is_pipe() {
            return Ok(Vec::new());
        }
        let mut first: Option<Vec<i32>> = None;
        let frame = (self.layout.channels * self.layout.word.bytes()) as u64;
        let step = (SHORT_BLOCK_BYTES as u64 / frame).max(1);
        let mut at = 0;
        while at < self.layout.frames && !still.is_empty() {
            self.read(at, at + step, |codes| {
                let first = first.get_or_insert_with(|| codes[..self.layout.channels].to_vec());
                still.retain(|c| {
                    codes[*c..].iter().step_by(self.layout.channels).all(|code| *code == first[*c])
                });
            })?;
            at += step;
        }
        // A frame alone tells nothing.
        Ok(if self.layout.frames > 1 { still } else { Vec::new() })
    }
}

/// The header's word, checked against what is wanted.
fn layout(path: &Path, source: &mut (impl Read + Seek), wanted: Wanted) -> Result<Layout> {
    let fault = |message: String| Error::in_file(path, None, message);
    let Wanted { channels, bits, rate_hz, words } = wanted;
    let mut magic = [0; 4];
    let known = source.read_exact(&mut magic).is_ok();
    source.rewind().map_err(|e| fault(e.to_string()))?;
    let layout = match (&magic, words) {
        (b"\x93NUM", _) => npy::layout(path, source)?,
        (b"RIFF" | b"RF64", _) => wav::layout(path, source)?,
        (_, Some(word)) => Layout {
            start: 0,
            frames: u64::MAX,
            channels,
            word,
            rate_hz: None,
            left_aligned: false,
        },
        _ if !known => return Err(fault("is too short for a capture".to_owned())),
        _ => {
            let message = "neither an npy nor a WAV/RF64 file (words without a header: --words)";
            return Err(fault(message.to_owned()));
        }
    };
    if layout.channels != channels {
        let given = layout.channels;
        return Err(fault(format!("has {given} channels, the sensor has {channels}")));
    }
    if let Some(given) = layout.rate_hz
        && (given - rate_hz).abs() > 0.5
    {
        return Err(fault(format!("is sampled at {given} Hz, the sensor at {rate_hz} Hz")));
    }
    let given = 8 * layout.word.bytes();
    if layout.left_aligned && bits as usize > given {
        let message = format!("has {given}-bit words, the sensor's converter {bits} bits");
        return Err(fault(message));
    }
    match words {
        Some(said) if said != layout.word || layout.left_aligned => {
            let (what, said) = (if layout.left_aligned { "WAV" } else { "npy" }, 8 * said.bytes());
            let message = format!("is {what} of {given}-bit words, --words says {said} bits");
            Err(fault(message))
        }
        // Codes of a wider converter may have been cut to their upper half: nothing tells.
        None if !layout.left_aligned && given < bits as usize => Err(fault(format!(
            "has {given}-bit words, the sensor's converter {bits} bits; if they are its codes as they \
             are: --words i{given}"
        ))),
        _ => Ok(layout),
    }
}

fn decode(bytes: &[u8], word: Word, shift: u32, codes: &mut Vec<i32>) {
    match word {
        Word::Int16 => codes.extend(
            bytes.as_chunks::<2>().0.iter().map(|b| i32::from(i16::from_le_bytes(*b)) >> shift),
        ),
        Word::Int24 => codes.extend(
            bytes
                .as_chunks::<3>()
                .0
                .iter()
                .map(|b| (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) >> shift),
        ),
        Word::Int32 => {
            codes.extend(bytes.as_chunks::<4>().0.iter().map(|b| i32::from_le_bytes(*b) >> shift));
        }
    }
}
