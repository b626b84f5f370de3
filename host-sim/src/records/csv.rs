//! CSV records: names in the first line that is no comment (`#`), then numbers; an empty cell and `nan` are
//! no number.

use super::{Picked, Row};
use crate::error::{Error, Result};
use std::fs::File;
use std::path::Path;

fn reader(path: &Path) -> Result<(csv::Reader<File>, u64)> {
    let fault = |e: std::io::Error| Error::in_file(path, None, format!("record: {e}"));
    let file = File::open(path).map_err(fault)?;
    let bytes = file.metadata().map_err(fault)?;
    if bytes.is_dir() {
        return Err(Error::in_file(path, None, "record: is a folder"));
    }
    let reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .buffer_capacity(1 << 18)
        .from_reader(file);
    Ok((reader, bytes.len()))
}

/// Names of the columns.
pub(super) fn columns(path: &Path) -> Result<Vec<String>> {
    let (mut reader, _) = reader(path)?;
    let header = reader.headers().map_err(|e| Error::in_file(path, None, e))?;
    let names: Vec<String> = header.iter().map(str::to_owned).collect();
    if names.iter().all(String::is_empty) {
        return Err(Error::in_file(
            path,
            None,
            "is empty, allowed a line of names and rows of numbers",
        ));
    }
    if let Some(name) = names.iter().find(|name| name.parse::<f64>().is_ok()) {
        let message =
            format!("`{name}` stands where a column's name is wanted: the first line names them");
        return Err(Error::in_file(path, Some(1), message));
    }
    let mut sorted = names.clone();
    sorted.sort_unstable();
    if let Some(pair) = sorted.windows(2).find(|pair| pair[0] == pair[1]) {
        return Err(Error::in_file(path, Some(1), format!("two columns are named `{}`", pair[0])));
    }
    Ok(names)
}

/// Hands on every row.
pub(super) fn rows(
    path: &Path,
    picked: &Picked,
    take: &mut dyn FnMut(&Row<'_>) -> Result<()>,
    progress: &dyn Fn(f64),
) -> Result<()> {
    let (mut reader, bytes) = reader(path)?;
    let names = reader.headers().map_err(|e| Error::in_file(path, None, e))?.clone();
    let mut row = csv::ByteRecord::new();
    let mut values = vec![0.0; picked.values.len()];
    let mut count = 0u64;
    loop {
        match reader.read_byte_record(&mut row) {
            Ok(true) => {}
            Ok(false) => return Ok(()),
            Err(e) => {
                let line = e.position().map(|p| p.line() as usize);
                let message = match e.kind() {
                    csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
                        format!("{len} cells, allowed {expected_len} as in the header")
                    }
                    _ => e.to_string(),
                };
                return Err(Error::in_file(path, line, message));
            }
        }
        let line = row.position().map_or(0, csv::Position::line);
        let cell = |n: usize| -> Result<f64> {
            let text = std::str::from_utf8(&row[n]).unwrap_or("?");
            if text.is_empty() {
                return Ok(f64::NAN);
            }
            text.parse().map_err(|_| {
                let name = names.get(n).unwrap_or_default();
                let message = format!("{name} is `{text}`, allowed a number, nan or nothing");
                Error::in_file(path, usize::try_from(line).ok(), message)
            })
        };
        for (value, n) in values.iter_mut().zip(&picked.values) {
            *value = cell(*n)?;
        }
        let flagged =
            picked.health.is_some_and(|n| !matches!(&row[n], b"ok" | b"0" | b"0.0" | b"0e0"));
        take(&Row { line, time_s: picked.time.map(cell).transpose()?, flagged, values: &values })?;
        count += 1;
        if count.is_multiple_of(1 << 16) {
            progress(row.position().map_or(0, csv::Position::byte) as f64 / bytes.max(1) as f64);
        }
    }
}
