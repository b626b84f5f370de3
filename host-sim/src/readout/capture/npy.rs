//! npy captures: version 1.0 or 2.0, little-endian int32 or int16, C order, (samples, channels).
//!
//! Source of the format: NumPy Enhancement Proposal 1 and `numpy.lib.format`.

use super::{Layout, Word};
use crate::error::{Error, Result};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

/// Reads the header, leaves what it says.
///
/// # Errors
/// A header that does not parse, Fortran order, a type or shape that is not a capture.
pub fn layout(path: &Path, file: &mut (impl Read + Seek)) -> Result<Layout> {
    let fault = |message: String| Error::in_file(path, None, message);
    check_header(file).map_err(fault)?;
    let mut reader = std::io::BufReader::new(&mut *file);
    let header = npyz::NpyHeader::from_reader(&mut reader)
        .map_err(|e| fault(format!("its npy header does not parse: {e}")))?;
    let start = reader.stream_position().map_err(|e| fault(e.to_string()))?;
    let dtype = header.dtype().descr();
    let word = match dtype.trim_matches('\'') {
        "<i4" => Word::Int32,
        "<i2" => Word::Int16,
        other => return Err(fault(format!("has type {other}, allowed '<i4' and '<i2'"))),
    };
    let shape = header.shape();
    if shape.len() != 2 || shape[1] == 0 {
        return Err(fault(format!("has shape {shape:?}, allowed (samples, channels)")));
    }
    if header.order() != npyz::Order::C {
        return Err(fault("is in Fortran order, allowed C order".to_owned()));
    }
    let channels = usize::try_from(shape[1]).map_err(|e| fault(e.to_string()))?;
    Ok(Layout { start, frames: shape[0], channels, word, rate_hz: None, left_aligned: false })
}

/// Longest header, bytes, and most braces and brackets in it: a capture's has some hundred, one and one. The
/// parser takes three times as long for each brace within another, twice for each bracket.
const MOST_BYTES: usize = 4096;
const MOST_BRACES: usize = 1;
const MOST_BRACKETS: usize = 8;

/// Refuses a header that no capture has before anything is made of it.
pub(crate) fn check_header(file: &mut (impl Read + Seek)) -> std::result::Result<(), String> {
    let short = |_| "is truncated within its npy header".to_owned();
    let mut head = [0; 12];
    file.read_exact(&mut head).map_err(short)?;
    let (start, length) = match head[6] {
        1 => (10, usize::from(u16::from_le_bytes([head[8], head[9]]))),
        _ => (12, u32::from_le_bytes([head[8], head[9], head[10], head[11]]) as usize),
    };
    if length > MOST_BYTES {
        return Err(format!("has an npy header of {length} bytes, allowed {MOST_BYTES}"));
    }
    let mut header = vec![0; length];
    file.seek(SeekFrom::Start(start)).map_err(short)?;
    file.read_exact(&mut header).map_err(short)?;
    file.rewind().map_err(short)?;
    for (what, signs, most) in
        [("braces", &b"{"[..], MOST_BRACES), ("brackets", &b"(["[..], MOST_BRACKETS)]
    {
        let count = header.iter().filter(|b| signs.contains(b)).count();
        if count > most {
            return Err(format!("has {count} {what} in its npy header, allowed {most}"));
        }
    }
    Ok(())
}

/// Writes the header of an int32 capture.
///
/// # Errors
/// A failing write.
pub fn write_header(out: &mut impl Write, frames: u64, channels: usize) -> std::io::Result<()> {
    let mut header =
        format!("{{'descr': '<i4', 'fortran_order': False, 'shape': ({frames}, {channels}), }}");
    // Magic, version and length take 10 bytes; the whole is padded to 64 with a final newline.
    while !(10 + header.len() + 1).is_multiple_of(64) {
        header.push(' ');
    }
    header.push('\n');
    out.write_all(b"\x93NUMPY\x01\x00")?;
    out.write_all(&(header.len() as u16).to_le_bytes())?;
    out.write_all(header.as_bytes())
}

/// Writes interleaved codes.
///
/// # Errors
/// A failing write.
pub fn write_codes(out: &mut impl Write, codes: &[i32]) -> std::io::Result<()> {
    let mut bytes = Vec::with_capacity(4 * codes.len());
    codes.iter().for_each(|c| bytes.extend(c.to_le_bytes()));
    out.write_all(&bytes)
}
