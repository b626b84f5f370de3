//! npy records: numbers of one or two dimensions, rows of columns; names come from the file beside it.

use super::meta::Meta;
use super::{Picked, Row};
use crate::error::{Error, Result};
use crate::readout::capture::npy::check_header;
use npyz::{NpyFile, Order, TypeChar};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

fn open(path: &Path) -> Result<(NpyFile<BufReader<File>>, usize)> {
    let fault = |message: String| Error::in_file(path, None, message);
    let mut file = File::open(path).map_err(|e| fault(format!("record: {e}")))?;
    check_header(&mut file).map_err(fault)?;
    let reader = BufReader::with_capacity(1 << 18, file);
    let npy =
        NpyFile::new(reader).map_err(|e| fault(format!("its npy header does not parse: {e}")))?;
    let columns = match npy.shape() {
        [_] => 1,
        [_, columns] if *columns >= 1 && *columns <= 4096 => *columns as usize,
        other => {
            return Err(fault(format!("has shape {other:?}, allowed (rows) and (rows, columns)")));
        }
    };
    if npy.order() != Order::C && npy.shape().len() > 1 {
        return Err(fault("is in Fortran order, allowed C order".to_owned()));
    }
    Ok((npy, columns))
}

/// Names of the columns: those told beside the file, or `c0`, `c1`, ...
pub(super) fn columns(path: &Path, meta: &Meta) -> Result<Vec<String>> {
    let (_, count) = open(path)?;
    match meta.columns() {
        Some(names) if names.len() == count => Ok(names),
        Some(names) => {
            let message = format!("has {count} columns, {} are named beside it", names.len());
            Err(Error::in_file(path, None, message))
        }
        None => Ok((0..count).map(|n| format!("c{n}")).collect()),
    }
}

/// Hands on every row.
pub(super) fn rows(
    path: &Path,
    picked: &Picked,
    take: &mut dyn FnMut(&Row<'_>) -> Result<()>,
    progress: &dyn Fn(f64),
) -> Result<()> {
    let (npy, columns) = open(path)?;
    let descr = npy.dtype().descr();
    let fault = |message: String| Error::in_file(path, None, message);
    let total = npy.shape()[0];
    let unknown =
        || fault(format!("has type {descr}, allowed floats and integers of 2 to 8 bytes"));
    let npyz::DType::Plain(kind) = npy.dtype() else { return Err(unknown()) };
    let size = kind.size_field();
    macro_rules! as_f64 {
        ($type:ty) => {{
            let values = npy.data::<$type>().map_err(|e| fault(e.to_string()))?;
            let mut values = values.map(|x| x.map(|x| x as f64));
            each(total, columns, &mut values, path, picked, take, progress)
        }};
    }
    match (kind.type_char(), size) {
        (TypeChar::Float, 8) => as_f64!(f64),
        (TypeChar::Float, 4) => as_f64!(f32),
        (TypeChar::Int, 8) => as_f64!(i64),
        (TypeChar::Int, 4) => as_f64!(i32),
        (TypeChar::Int, 2) => as_f64!(i16),
        _ => Err(unknown()),
    }
}

fn each(
    total: u64,
    columns: usize,
    values: &mut dyn Iterator<Item = std::io::Result<f64>>,
    path: &Path,
    picked: &Picked,
    take: &mut dyn FnMut(&Row<'_>) -> Result<()>,
    progress: &dyn Fn(f64),
) -> Result<()> {
    let mut cells = vec![0.0; columns];
    let mut chosen = vec![0.0; picked.values.len()];
    for n in 0..total {
        for cell in &mut cells {
            *cell = match values.next() {
                Some(Ok(x)) => x,
                _ => {
                    let message = format!("is truncated: {n} whole rows of {total}");
                    return Err(Error::in_file(path, None, message));
                }
            };
        }
        chosen.iter_mut().zip(&picked.values).for_each(|(to, n)| *to = cells[*n]);
        let flagged = picked.health.is_some_and(|n| cells[n] != 0.0);
        let time_s = picked.time.map(|n| cells[n]);
        take(&Row { line: n + 1, time_s, flagged, values: &chosen })?;
        if n.is_multiple_of(1 << 16) {
            progress(n as f64 / total as f64);
        }
    }
    Ok(())
}
