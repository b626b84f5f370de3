//! Parquet records: flat columns of numbers; texts are read of the column of faults alone.

use super::footer::claims;
use super::{Picked, Row};
use crate::error::{Error, Result};
use bytes::Bytes;
use parquet::basic::Type;
use parquet::column::page::{Page, PageMetadata, PageReader};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl, get_column_reader};
use parquet::data_type::{ByteArray, DataType};
use parquet::errors::ParquetError;
use parquet::file::reader::{ChunkReader, FileReader, Length, SerializedFileReader};
use std::cell::Cell;
use std::fs::File;
use std::io::{BufReader, ErrorKind, Read, Seek, SeekFrom};
use std::panic::{self, AssertUnwindSafe};
use std::path::Path;
use std::sync::Once;

/// Rows taken of each column at a time.
const BLOCK: usize = 1 << 14;

type Checked<T> = std::result::Result<T, ParquetError>;

/// A file whose end is an error to those who read on: the library goes through lists as long as a damaged page's header
/// claims, asking for every element.
struct Ending(File);

impl Length for Ending {
    fn len(&self) -> u64 {
        Length::len(&self.0)
    }
}

impl ChunkReader for Ending {
    type T = Until;

    fn get_read(&self, start: u64) -> Checked<Until> {
        self.0.get_read(start).map(Until)
    }

    fn get_bytes(&self, start: u64, length: usize) -> Checked<Bytes> {
        self.0.get_bytes(start, length)
    }
}

/// See [`Ending`].
struct Until(BufReader<File>);

impl Read for Until {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(into) {
            Ok(0) if !into.is_empty() => Err(ErrorKind::UnexpectedEof.into()),
            read => read,
        }
    }
}

fn open(path: &Path) -> Result<SerializedFileReader<Ending>> {
    let mut file =
        File::open(path).map_err(|e| Error::in_file(path, None, format!("record: {e}")))?;
    if let Some(claim) = footer(&mut file).ok().and_then(|footer| claims(&footer)) {
        return Err(Error::in_file(path, None, format!("is no Parquet file: {claim}")));
    }
    guarded(|| SerializedFileReader::new(Ending(file))).map_err(|e| {
        Error::in_file(path, None, format!("is no Parquet file that can be read: {e}"))
    })
}

/// The footer's bytes: before the last eight, which hold its length and the mark of the format.
fn footer(file: &mut File) -> std::io::Result<Vec<u8>> {
    let mut end = [0; 8];
    file.seek(SeekFrom::End(-8))?;
    file.read_exact(&mut end)?;
    let [a, b, c, d, ..] = end;
    let length = u32::from_le_bytes([a, b, c, d]);
    file.seek(SeekFrom::End(-8 - i64::from(length)))?;
    let mut bytes = vec![0; length as usize];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// What the library answers. At some damaged files it panics where it should refuse: that is a refusal, too. Whatever
/// `call` had hold of is not to be used after one.
fn guarded<T>(call: impl FnOnce() -> Checked<T>) -> Checked<T> {
    thread_local! {
        static WITHIN: Cell<bool> = const { Cell::new(false) };
    }
    static QUIET: Once = Once::new();
    // A panic that becomes a refusal is not told as a panic; all others are told as before.
    QUIET.call_once(|| {
        let told = panic::take_hook();
        panic::set_hook(Box::new(move |panic| {
            if !WITHIN.get() {
                told(panic);
            }
        }));
    });
    WITHIN.set(true);
    let answer = panic::catch_unwind(AssertUnwindSafe(call));
    WITHIN.set(false);
    answer.unwrap_or_else(|_| {
        Err(ParquetError::General("pages that contradict themselves: the file is damaged".into()))
    })
}

/// Keys and texts that a file tells of itself.
type Told = Vec<(String, String)>;

/// Names of the columns, and what the file tells.
pub(super) fn columns(path: &Path) -> Result<(Vec<String>, Told)> {
    let reader = open(path)?;
    let meta = reader.metadata().file_metadata();
    let schema = meta.schema_descr();
    let mut names = Vec::new();
    for column in schema.columns() {
        if column.max_rep_level() > 0 || column.path().parts().len() > 1 {
            let message = format!("column {} is nested, allowed flat columns", column.path());
            return Err(Error::in_file(path, None, message));
        }
        names.push(column.name().to_owned());
    }
    let told = meta.key_value_metadata().into_iter().flatten();
    let told = told.filter_map(|pair| Some((pair.key.clone(), pair.value.clone()?)));
    Ok((names, told.collect()))
}

/// Hands on every row.
pub(super) fn rows(
    path: &Path,
    picked: &Picked,
    take: &mut dyn FnMut(&Row<'_>) -> Result<()>,
    progress: &dyn Fn(f64),
) -> Result<()> {
    let reader = open(path)?;
    let fault = |e: ParquetError| Error::in_file(path, None, e);
    let total = reader.metadata().file_metadata().num_rows().max(1);
    let mut line = 0u64;
    for group in 0..reader.num_row_groups() {
        let group = reader.get_row_group(group).map_err(fault)?;
        let column = |n: usize| -> Result<Column> {
            let chunk = group.metadata().column(n);
            let levels = chunk.column_descr().max_def_level();
            let reader = guarded(|| {
                let pages = Box::new(Sound(group.get_column_page_reader(n)?));
                Ok(get_column_reader(chunk.column_descr_ptr(), pages))
            });
            Ok(Column { reader: reader.map_err(fault)?, levels })
        };
        let mut time = picked.time.map(column).transpose()?;
        let mut health = picked.health.map(column).transpose()?;
        let mut values = picked.values.iter().map(|n| column(*n)).collect::<Result<Vec<_>>>()?;
        let mut left = usize::try_from(group.metadata().num_rows()).unwrap_or(0);
        while left > 0 {
            let count = left.min(BLOCK);
            left -= count;
            let name = |n: usize| group.metadata().column(n).column_descr().name().to_owned();
            let times = match (&mut time, picked.time) {
                (Some(column), Some(n)) => Some(column.numbers(count, path, &name(n))?),
                _ => None,
            };
            let flags = match (&mut health, picked.health) {
                (Some(column), Some(n)) => Some(column.flags(count, path, &name(n))?),
                _ => None,
            };
            let mut blocks = Vec::new();
            for (column, n) in values.iter_mut().zip(&picked.values) {
                blocks.push(column.numbers(count, path, &name(*n))?);
            }
            let mut row = vec![0.0; blocks.len()];
            for k in 0..count {
                row.iter_mut().zip(&blocks).for_each(|(x, block)| *x = block[k]);
                line += 1;
                take(&Row {
                    line,
                    time_s: times.as_ref().map(|t| t[k]),
                    flagged: flags.as_ref().is_some_and(|f| f[k]),
                    values: &row,
                })?;
            }
            progress(line as f64 / total as f64);
        }
    }
    Ok(())
}

/// Pages whose dictionaries hold no more values than bytes: the library makes room for as many as a damaged page
/// claims.
struct Sound(Box<dyn PageReader>);

fn sound(page: Option<Page>) -> Checked<Option<Page>> {
    match &page {
        Some(Page::DictionaryPage { buf, num_values, .. }) if *num_values as usize > buf.len() => {
            Err(ParquetError::General(format!(
                "a dictionary of {num_values} values in {} bytes: the file is damaged",
                buf.len()
            )))
        }
        _ => Ok(page),
    }
}

impl Iterator for Sound {
    type Item = Checked<Page>;

    fn next(&mut self) -> Option<Self::Item> {
        self.get_next_page().transpose()
    }
}

impl PageReader for Sound {
    fn get_next_page(&mut self) -> Checked<Option<Page>> {
        self.0.get_next_page().and_then(sound)
    }

    fn peek_next_page(&mut self) -> Checked<Option<PageMetadata>> {
        self.0.peek_next_page()
    }

    fn skip_next_page(&mut self) -> Checked<()> {
        self.0.skip_next_page()
    }

    fn supports_deferred_dictionary(&self) -> bool {
        self.0.supports_deferred_dictionary()
    }

    fn take_deferred_dictionary(&mut self) -> Checked<Option<Page>> {
        self.0.take_deferred_dictionary().and_then(sound)
    }

    fn at_record_boundary(&mut self) -> Checked<bool> {
        self.0.at_record_boundary()
    }
}

struct Column {
    reader: ColumnReader,
    levels: i16,
}

impl Column {
    /// Numbers; what is null is no number.
    fn numbers(&mut self, count: usize, path: &Path, name: &str) -> Result<Vec<f64>> {
        let levels = self.levels;
        match &mut self.reader {
            ColumnReader::DoubleColumnReader(r) => block(r, count, levels, path, |x| *x),
            ColumnReader::FloatColumnReader(r) => block(r, count, levels, path, |x| f64::from(*x)),
            ColumnReader::Int32ColumnReader(r) => block(r, count, levels, path, |x| f64::from(*x)),
            ColumnReader::Int64ColumnReader(r) => block(r, count, levels, path, |x| *x as f64),
            other => {
                let message = format!("column {name} is {}, allowed numbers", kind(other));
                Err(Error::in_file(path, None, message))
            }
        }
    }

    /// Whether each row has a fault: text beside `ok`, or a number beside zero.
    fn flags(&mut self, count: usize, path: &Path, name: &str) -> Result<Vec<bool>> {
        if let ColumnReader::ByteArrayColumnReader(r) = &mut self.reader {
            let flag = |text: &ByteArray| f64::from(u8::from(text.data() != b"ok"));
            let flags = block(r, count, self.levels, path, flag)?;
            return Ok(flags.into_iter().map(|x| x != 0.0).collect());
        }
        Ok(self.numbers(count, path, name)?.into_iter().map(|x| x != 0.0).collect())
    }
}

fn kind(reader: &ColumnReader) -> Type {
    match reader {
        ColumnReader::BoolColumnReader(_) => Type::BOOLEAN,
        ColumnReader::Int96ColumnReader(_) => Type::INT96,
        ColumnReader::FixedLenByteArrayColumnReader(_) => Type::FIXED_LEN_BYTE_ARRAY,
        _ => Type::BYTE_ARRAY,
    }
}

/// A block of one column, nulls in their places.
fn block<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    count: usize,
    levels: i16,
    path: &Path,
    to_f64: impl Fn(&T::T) -> f64,
) -> Result<Vec<f64>> {
    let fault = |message: String| Error::in_file(path, None, message);
    let (mut values, mut defined) = (Vec::with_capacity(count), Vec::new());
    let mut rows = 0;
    while rows < count {
        let with_nulls = (levels > 0).then_some(&mut defined);
        let (read, ..) =
            guarded(|| reader.read_records(count - rows, with_nulls, None, &mut values))
                .map_err(|e| fault(e.to_string()))?;
        if read == 0 {
            return Err(fault(format!("is truncated: {rows} rows of {count} in a block")));
        }
        rows += read;
    }
    if levels == 0 {
        return Ok(values.iter().map(to_f64).collect());
    }
    let mut values = values.iter();
    let mut next = || values.next().map_or(f64::NAN, &to_f64);
    Ok(defined.iter().map(|level| if *level == levels { next() } else { f64::NAN }).collect())
}
