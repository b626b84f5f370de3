//! **Writing records**: rows to CSV, npy or Parquet; a file appears whole, with what is told of it inside
//! (Parquet) or beside (CSV, npy).

use super::Format;
use super::meta::{COLUMNS, Meta};
use crate::error::{Error, Result};
use crate::output::{AtomicFile, Output};
use parquet::basic::Compression;
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;

/// How a column is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A number, in text with an exponent.
    Number,
    /// A time or a count, in text without.
    Plain,
    /// Text, in npy the number beside it.
    Text,
}

/// A cell of a row: a number, or text and the number that stands for it.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Of a column of numbers.
    Number(f64),
    /// Of a column of text.
    Text(String, f64),
}

/// A record being written.
#[derive(Debug)]
pub struct Writer {
    kinds: Vec<Kind>,
    form: Form,
    /// The file beside it and its text.
    beside: Option<AtomicFile>,
}

#[derive(Debug)]
enum Form {
    Csv(Output),
    Npy(AtomicFile, u64),
    Parquet(Box<Groups>),
}

/// Rows of a Parquet group before they are written, column by column.
struct Groups {
    writer: SerializedFileWriter<AtomicFile>,
    columns: Vec<Block>,
    rows: usize,
}

#[derive(Debug)]
enum Block {
    Numbers(Vec<f64>),
    Texts(Vec<ByteArray>),
}

impl std::fmt::Debug for Groups {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Groups").field("rows", &self.rows).finish_non_exhaustive()
    }
}

/// Rows of a group: a column of a month is 26 groups' pages, each in memory alone.
const GROUP: usize = 1 << 17;

/// Bytes of an npy header: room for any count of rows.
const NPY_HEADER: usize = 128;

impl Writer {
    /// Starts a record with its columns; `meta` goes inside or beside it (nowhere for standard output).
    ///
    /// # Errors
    /// The path is not writable.
    pub fn create(path: &Path, columns: &[(String, Kind)], meta: &Meta) -> Result<Self> {
        let names: Vec<&str> = columns.iter().map(|(name, _)| name.as_str()).collect();
        let kinds: Vec<Kind> = columns.iter().map(|(_, kind)| *kind).collect();
        let form = match Format::of(path) {
            Format::Csv => {
                let mut out = Output::create(path)?;
                out.write(format_args!("{}\n", names.join(",")))?;
                Form::Csv(out)
            }
            Format::Npy => {
                let mut file = AtomicFile::create(path)?;
                file.write(|out| out.write_all(&[0; NPY_HEADER]))?;
                Form::Npy(file, 0)
            }
            Format::Parquet => Form::Parquet(Box::new(Groups::create(path, columns, meta)?)),
        };
        let beside = match &form {
            Form::Parquet(_) | Form::Csv(Output::Standard(_)) => None,
            _ => Some(beside(path, &names, meta)?),
        };
        Ok(Self { kinds, form, beside })
    }

    /// Adds a row, a cell for each column.
    ///
    /// # Errors
    /// A failing write.
    pub fn push(&mut self, row: &[Cell]) -> Result<()> {
        assert_eq!(row.len(), self.kinds.len());
        match &mut self.form {
            Form::Csv(out) => out.write(format_args!("{}\n", line(row, &self.kinds))),
            Form::Npy(file, rows) => {
                *rows += 1;
                file.write(|out| {
                    row.iter().try_for_each(|cell| {
                        let (Cell::Number(x) | Cell::Text(_, x)) = cell;
                        out.write_all(&x.to_le_bytes())
                    })
                })
            }
            Form::Parquet(groups) => groups.push(row),
        }
    }

    /// Puts the file, and what stands beside it, in their places.
    ///
    /// # Errors
    /// A path that is not writable.
    pub fn finish(self) -> Result<()> {
        match self.form {
            Form::Csv(out) => out.finish()?,
            Form::Npy(mut file, rows) => {
                let columns = self.kinds.len();
                file.write(|out| {
                    out.seek(SeekFrom::Start(0))?;
                    out.write_all(&npy_header(rows, columns))
                })?;
                file.finish()?;
            }
            Form::Parquet(groups) => groups.finish()?,
        }
        self.beside.map_or(Ok(()), AtomicFile::finish)
    }
}

/// The file that says of a CSV or npy record what a Parquet file says inside; not yet in its place.
///
/// # Errors
/// The path is not writable.
pub fn beside(path: &Path, names: &[&str], meta: &Meta) -> Result<AtomicFile> {
    let mut meta = meta.clone();
    meta.set(COLUMNS, names.join(","));
    let text = serde_json::to_string_pretty(&meta.json()).expect("texts");
    let mut file = AtomicFile::create(&Meta::path_beside(path))?;
    file.write(|out| writeln!(out, "{text}"))?;
    Ok(file)
}

/// A row as a line of CSV, without its end.
#[must_use]
pub fn line(row: &[Cell], kinds: &[Kind]) -> String {
    use std::fmt::Write;
    let mut line = String::with_capacity(row.len() * 24);
    for (n, (cell, kind)) in row.iter().zip(kinds).enumerate() {
        line += if n == 0 { "" } else { "," };
        // Writing to a string does not fail; what has no value is an empty cell.
        let _ = match (cell, kind) {
            (Cell::Number(x), _) if x.is_nan() => Ok(()),
            (Cell::Number(x), Kind::Plain) => write!(line, "{x}"),
            (Cell::Number(x), _) => write!(line, "{x:e}"),
            (Cell::Text(text, _), _) => write!(line, "{text}"),
        };
    }
    line
}

/// Version 1.0 of NumPy's format (NumPy Enhancement Proposal 1), f64, rows of columns.
fn npy_header(rows: u64, columns: usize) -> [u8; NPY_HEADER] {
    let text =
        format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({rows}, {columns}), }}");
    let mut header = [b' '; NPY_HEADER];
    header[..8].copy_from_slice(b"\x93NUMPY\x01\x00");
    header[8..10].copy_from_slice(&(NPY_HEADER as u16 - 10).to_le_bytes());
    header[10..10 + text.len()].copy_from_slice(text.as_bytes());
    header[NPY_HEADER - 1] = b'\n';
    header
}

fn fault(e: &parquet::errors::ParquetError) -> Error {
    Error::new(format!("Parquet file: cannot write: {e}"))
}

impl Groups {
    fn create(path: &Path, columns: &[(String, Kind)], meta: &Meta) -> Result<Self> {
        let fields: Vec<String> = columns
            .iter()
            .map(|(name, kind)| match kind {
                Kind::Text => format!("required binary {name} (STRING);"),
                _ => format!("required double {name};"),
            })
            .collect();
        let message = format!("message record {{ {} }}", fields.join(" "));
        let schema = Arc::new(parse_message_type(&message).map_err(|e| fault(&e))?);
        let pairs = meta.iter().map(|(k, v)| KeyValue::new(k.to_owned(), v.to_owned())).collect();
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_key_value_metadata(Some(pairs))
            .build();
        let file = AtomicFile::create(path)?;
        let writer = SerializedFileWriter::new(file, schema, Arc::new(properties));
        let block = |kind: &Kind| match kind {
            Kind::Text => Block::Texts(Vec::new()),
            _ => Block::Numbers(Vec::new()),
        };
        Ok(Self {
            writer: writer.map_err(|e| fault(&e))?,
            columns: columns.iter().map(|(_, kind)| block(kind)).collect(),
            rows: 0,
        })
    }

    fn push(&mut self, row: &[Cell]) -> Result<()> {
        for (block, cell) in self.columns.iter_mut().zip(row) {
            match (block, cell) {
                (Block::Numbers(numbers), Cell::Number(x) | Cell::Text(_, x)) => numbers.push(*x),
                (Block::Texts(texts), Cell::Text(text, _)) => texts.push(text.as_str().into()),
                (Block::Texts(texts), Cell::Number(x)) => texts.push(x.to_string().as_str().into()),
            }
        }
        self.rows += 1;
        if self.rows == GROUP { self.write().map_err(|e| fault(&e)) } else { Ok(()) }
    }

    fn write(&mut self) -> parquet::errors::Result<()> {
        let mut group = self.writer.next_row_group()?;
        for block in &mut self.columns {
            let mut column = group.next_column()?.expect("as many columns as in the schema");
            match block {
                Block::Numbers(x) => {
                    column.typed::<DoubleType>().write_batch(x, None, None)?;
                    x.clear();
                }
                Block::Texts(x) => {
                    column.typed::<ByteArrayType>().write_batch(x, None, None)?;
                    x.clear();
                }
            }
            column.close()?;
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }

    fn finish(mut self) -> Result<()> {
        if self.rows > 0 {
            self.write().map_err(|e| fault(&e))?;
        }
        self.writer.into_inner().map_err(|e| fault(&e))?.finish()
    }
}
