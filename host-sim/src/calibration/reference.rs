//! **Reference**: where a stage says that the mass was, row by row.

use crate::error::{Error, Result, nearest};
use crate::instrument::AXES;
use std::path::Path;

/// Largest place, m and rad.
const MOST: f64 = 1.0;

/// Times and places (a value for each of `axes`, 0 for one that has no column) of a CSV with `t_s` and columns of axes.
///
/// # Errors
/// Unreadable, a column that is no axis of the sensor, a cell that is no number or beyond 1 m or 1 rad, times that do
/// not rise.
pub fn read(path: &Path, axes: &[usize]) -> Result<Vec<(f64, Vec<f64>)>> {
    let fault = |line: Option<usize>, message: String| Error::in_file(path, line, message);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_path(path)
        .map_err(|e| fault(None, format!("reference: {e}")))?;
    let header = reader.headers().map_err(|e| fault(None, e.to_string()))?.clone();
    let line = header.position().map(|p| p.line() as usize);
    let known: Vec<&str> = axes.iter().map(|a| AXES[*a].1).collect();
    let mut columns = Vec::new();
    for (n, name) in header.iter().enumerate() {
        if header.iter().take(n).any(|before| before == name) {
            return Err(fault(line, format!("column `{name}` is given twice")));
        }
        match known.iter().position(|k| *k == name) {
            Some(axis) => columns.push((n, axis)),
            None if name == "t_s" => {}
            None => {
                let hint = nearest(name, known.iter().copied())
                    .map_or(String::new(), |k| format!("; nearest: `{k}`"));
                let allowed = known.join(", ");
                return Err(fault(
                    line,
                    format!("unknown column `{name}`{hint}; allowed t_s, {allowed}"),
                ));
            }
        }
    }
    let time = header.iter().position(|h| h == "t_s");
    let time = time.ok_or_else(|| fault(line, "has no column `t_s`".to_owned()))?;
    let mut rows: Vec<(f64, Vec<f64>)> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| fault(None, e.to_string()))?;
        let line = record.position().map(|p| p.line() as usize);
        let number = |n: usize| {
            let cell = record.get(n).unwrap_or("");
            let value = cell.parse::<f64>().ok().filter(|x| x.is_finite());
            value.ok_or_else(|| {
                let name = header.get(n).unwrap_or("");
                fault(line, format!("{name} is `{cell}`, allowed a number"))
            })
        };
        let t = number(time)?;
        if let Some((before, _)) = rows.last().filter(|(before, _)| *before >= t) {
            return Err(fault(line, format!("t_s is {t} after {before}, allowed rising times")));
        }
        let mut place = vec![0.0; axes.len()];
        for (n, axis) in &columns {
            let value = number(*n)?;
            if value.abs() > MOST {
                let name = header.get(*n).unwrap_or("");
                return Err(fault(
                    line,
                    format!("{name} is {value}, allowed -{MOST} to {MOST}: metres and radians"),
                ));
            }
            place[*axis] = value;
        }
        rows.push((t, place));
    }
    if rows.len() < 2 {
        return Err(fault(None, format!("{} places, allowed 2 or more", rows.len())));
    }
    Ok(rows)
}
