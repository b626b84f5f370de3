//! WAV and RF64 captures: PCM of 16, 24 or 32 bits, channels interleaved, codes left-aligned.
//!
//! Sources: IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0
//! (1991) for RIFF/WAVE; EBU Tech 3306 for RF64, whose `ds64` chunk carries 64-bit lengths.

use super::{Layout, Word};
use crate::error::{Error, Result};
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

const PCM: u16 = 1;
const EXTENSIBLE: u16 = 0xfffe;
/// Length that says "see ds64".
const ELSEWHERE: u32 = u32::MAX;

/// Walks the chunks up to the data, leaves what they say.
///
/// # Errors
/// Not WAVE, not PCM, no format before the data, no data, or a width that is not 16, 24 or 32.
pub fn layout(path: &Path, file: &mut (impl Read + Seek)) -> Result<Layout> {
    let fault = |message: &str| Error::in_file(path, None, message);
    let truncated = |_| fault("ends within its WAV header");
    let mut head = [0; 12];
    file.read_exact(&mut head).map_err(truncated)?;
    if &head[8..] != b"WAVE" {
        return Err(fault("is a RIFF file but not WAVE"));
    }
    let mut format = None;
    let mut long_data = None;
    loop {
        let mut chunk = [0; 8];
        file.read_exact(&mut chunk).map_err(|_| fault("has no data chunk"))?;
        let length = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]);
        match &chunk[..4] {
            b"data" => {
                let start = file.stream_position().map_err(truncated)?;
                let (channels, rate_hz, word): (usize, f64, Word) =
                    format.ok_or(fault("has data before its format"))?;
                let bytes = match (length, long_data) {
                    (ELSEWHERE, Some(long)) => long,
                    _ => length.into(),
                };
                let frame = (channels * word.bytes()) as u64;
                if bytes % frame != 0 {
                    let message =
                        format!("holds {bytes} bytes of data, not whole frames of {frame}");
                    return Err(fault(&message));
                }
                return Ok(Layout {
                    start,
                    frames: bytes / frame,
                    channels,
                    word,
                    rate_hz: Some(rate_hz),
                    left_aligned: true,
                });
            }
            b"fmt " | b"ds64" => {
                let mut body = vec![0; (length as usize).min(64)];
                file.read_exact(&mut body).map_err(truncated)?;
                if &chunk[..4] == b"ds64" {
                    let bytes =
                        body.get(8..16).ok_or(fault("has a ds64 chunk that is too short"))?;
                    long_data = Some(u64::from_le_bytes(bytes.try_into().expect("eight bytes")));
                } else {
                    format = Some(parse_format(&body).map_err(|m| fault(&m))?);
                }
                skip(file, i64::from(length) - body.len() as i64 + i64::from(length % 2))
                    .map_err(truncated)?;
            }
            _ => skip(file, i64::from(length) + i64::from(length % 2)).map_err(truncated)?,
        }
    }
}

fn skip(file: &mut (impl Read + Seek), bytes: i64) -> std::io::Result<()> {
    file.seek(SeekFrom::Current(bytes)).map(|_| ())
}

fn parse_format(body: &[u8]) -> std::result::Result<(usize, f64, Word), String> {
    if body.len() < 16 {
        return Err("has a format chunk that is too short".to_owned());
    }
    let short = |at: usize| u16::from_le_bytes([body[at], body[at + 1]]);
    let mut tag = short(0);
    if tag == EXTENSIBLE && body.len() >= 26 {
        // The first two bytes of the sub-format are the plain tag.
        tag = short(24);
    }
    if tag != PCM {
        return Err(format!("has format tag {tag}, allowed 1 (PCM)"));
    }
    let channels = usize::from(short(2));
    if channels == 0 {
        return Err("has no channels".to_owned());
    }
    let rate = u32::from_le_bytes([body[4], body[5], body[6], body[7]]);
    let word = match short(14) {
        16 => Word::Int16,
        24 => Word::Int24,
        32 => Word::Int32,
        bits => return Err(format!("has {bits}-bit samples, allowed 16, 24 and 32")),
    };
    if usize::from(short(12)) != channels * word.bytes() {
        return Err(format!(
            "has frames of {} bytes, expected {}",
            short(12),
            channels * word.bytes()
        ));
    }
    Ok((channels, f64::from(rate), word))
}
