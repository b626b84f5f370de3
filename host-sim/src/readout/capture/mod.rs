//! **Captures**: recorded converter codes, read as a stream so that memory stays flat.

pub mod npy;
pub mod wav;

use crate::error::{Error, Result};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

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
    /// Frames in the file.
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

/// An opened capture.
#[derive(Debug)]
pub struct Capture {
    /// For messages.
    pub path: PathBuf,
    /// What the header says, checked against the file's length.
    pub layout: Layout,
    bits: u32,
}

/// Codes handed on at a time: small reads stay in the processor's cache.
const BLOCK_BYTES: usize = 1 << 16;

impl Capture {
    /// Opens a capture of `channels` channels of `bits`-bit codes; the format is told by its
    /// first bytes.
    ///
    /// # Errors
    /// Unreadable, unknown format, wrong type, shape or order, truncated, or a channel count or
    /// rate other than the sensor's.
    pub fn open(path: &Path, channels: usize, bits: u32, rate_hz: f64) -> Result<Self> {
        let fault = |message: String| Error::in_file(path, None, message);
        let mut file = File::open(path).map_err(|e| fault(e.to_string()))?;
        let metadata = file.metadata().map_err(|e| fault(e.to_string()))?;
        if !metadata.is_file() {
            let what = if metadata.is_dir() { "is a folder" } else { "is not a file" };
            return Err(fault(what.to_owned()));
        }
        let length = metadata.len();
        let mut magic = [0; 4];
        file.read_exact(&mut magic)
            .map_err(|_| fault(format!("{length} bytes are too short for a capture")))?;
        file.rewind().map_err(|e| fault(e.to_string()))?;
        let layout = match &magic {
            b"\x93NUM" => npy::layout(path, &mut file)?,
            b"RIFF" | b"RF64" => wav::layout(path, &mut file)?,
            _ => return Err(fault("neither an npy nor a WAV/RF64 file".to_owned())),
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
        if layout.left_aligned && bits as usize > 8 * layout.word.bytes() {
            let given = 8 * layout.word.bytes();
            return Err(fault(format!(
                "has {given}-bit words, the sensor's converter {bits} bits"
            )));
        }
        let frame = (channels * layout.word.bytes()) as u64;
        let needed = layout.frames.checked_mul(frame).and_then(|n| n.checked_add(layout.start));
        if needed.is_none_or(|needed| length < needed) {
            let promised = needed.map_or("more than 2^64".to_owned(), |n| n.to_string());
            return Err(fault(format!(
                "is truncated: {length} bytes, its header promises {promised}"
            )));
        }
        Ok(Self { path: path.to_owned(), layout, bits })
    }

    /// Hands on frames `first` to `end` in blocks of interleaved codes.
    ///
    /// # Errors
    /// A failing read.
    pub fn read(&self, first: u64, end: u64, mut sink: impl FnMut(&[i32])) -> Result<()> {
        let fault = |e: std::io::Error| Error::in_file(&self.path, None, e);
        let frame = self.layout.channels * self.layout.word.bytes();
        let mut file = File::open(&self.path).map_err(fault)?;
        file.seek(SeekFrom::Start(self.layout.start + first * frame as u64)).map_err(fault)?;
        let mut left = (end.min(self.layout.frames).saturating_sub(first)) as usize * frame;
        let block = (BLOCK_BYTES / frame).max(1) * frame;
        let mut bytes = vec![0; block];
        let mut codes = Vec::with_capacity(block / self.layout.word.bytes());
        let shift = if self.layout.left_aligned {
            8 * self.layout.word.bytes() as u32 - self.bits
        } else {
            0
        };
        while left > 0 {
            let take = block.min(left);
            file.read_exact(&mut bytes[..take]).map_err(fault)?;
            codes.clear();
            decode(&bytes[..take], self.layout.word, shift, &mut codes);
            sink(&codes);
            left -= take;
        }
        Ok(())
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
