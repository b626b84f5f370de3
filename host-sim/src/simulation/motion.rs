//! **Motion**: what the proof mass does, as a table of times and axes, between them cubic
//! splines.

use crate::error::{Error, Result, nearest};
use crate::instrument::AXES;
use std::path::Path;

/// Position and rotation of the mass against time.
#[derive(Debug, Clone)]
pub struct Motion {
    times: Vec<f64>,
    /// Per axis of [`AXES`]: values and second derivatives at the times; none if at rest.
    splines: [Option<(Vec<f64>, Vec<f64>)>; 6],
    /// Where the last look-up was: the next is mostly near.
    hint: std::cell::Cell<usize>,
}

impl Motion {
    /// A motion from samples; `values[k]` belongs to axis k of [`AXES`], `None` rests.
    ///
    /// # Errors
    /// Fewer than two times, times that do not rise, values that are not numbers; the message
    /// names the row (from 1) and column.
    pub fn new(times: Vec<f64>, values: [Option<Vec<f64>>; 6]) -> Result<Self> {
        if times.len() < 2 {
            return Err(Error::new(format!("{} rows, allowed 2 or more", times.len())));
        }
        for (n, t) in times.iter().enumerate() {
            if !t.is_finite() {
                return Err(Error::new(format!("row {}: t_s is {t}, allowed a number", n + 1)));
            }
            if n > 0 && times[n - 1] >= *t {
                let before = times[n - 1];
                return Err(Error::new(format!(
                    "row {}: t_s is {t} after {before}, allowed rising times",
                    n + 1
                )));
            }
        }
        let mut splines: [Option<(Vec<f64>, Vec<f64>)>; 6] = Default::default();
        for (axis, column) in values.into_iter().enumerate() {
            let Some(column) = column else { continue };
            if let Some(n) = column.iter().position(|x| !x.is_finite()) {
                let (name, x) = (AXES[axis].1, column[n]);
                return Err(Error::new(format!("row {}: {name} is {x}, allowed a number", n + 1)));
            }
            let curvature = second_derivatives(&times, &column);
            splines[axis] = Some((column, curvature));
        }
        Ok(Self { times, splines, hint: std::cell::Cell::new(0) })
    }

    /// A mass at rest.
    #[must_use]
    pub fn rest() -> Self {
        Self { times: vec![0.0, 1.0], splines: Default::default(), hint: std::cell::Cell::new(0) }
    }

    /// Reads a motion file or readings: CSV with `t_s` and any of the axes' columns.
    ///
    /// # Errors
    /// Unreadable, a column that neither motion nor readings have, a cell that is not a number or beyond
    /// 1 m or 1 rad, a spline that leaves the values far behind.
    pub fn read(path: &Path) -> Result<Self> {
        let fault = |message: String| Error::in_file(path, None, message);
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .comment(Some(b'#'))
            .from_path(path)
            .map_err(|e| fault(format!("motion file: {e}")))?;
        let header = reader.headers().map_err(|e| fault(e.to_string()))?.clone();
        let header_line = header.position().map(|p| p.line() as usize);
        let fault_at = |line, message: String| Error::in_file(path, line, message);
        let time = header
            .iter()
            .position(|h| h == "t_s")
            .ok_or_else(|| fault_at(header_line, "has no column `t_s`".to_owned()))?;
        let mut columns = Vec::new();
        for (n, name) in header.iter().enumerate() {
            if header.iter().take(n).any(|before| before == name) {
                return Err(fault_at(header_line, format!("column `{name}` is given twice")));
            }
            match AXES.iter().position(|(_, column, _)| *column == name) {
                Some(axis) => columns.push((n, axis)),
                None if n == time || crate::readout::readings::is_beside_motion(name) => {}
                None => {
                    let known = AXES.iter().map(|(_, column, _)| *column);
                    let hint = nearest(name, known)
                        .map_or(String::new(), |k| format!("; nearest known column: `{k}`"));
                    return Err(fault_at(header_line, format!("unknown column `{name}`{hint}")));
                }
            }
        }
        let mut times: Vec<f64> = Vec::new();
        let mut values: [Option<Vec<f64>>; 6] = Default::default();
        for row in reader.records() {
            let row = row.map_err(|e| match e.kind() {
                csv::ErrorKind::UnequalLengths { pos, expected_len, len } => fault_at(
                    pos.as_ref().map(|p| p.line() as usize),
                    format!("{len} cells, allowed {expected_len} as in the header"),
                ),
                _ => fault(e.to_string()),
            })?;
            let line = row.position().map(|p| p.line() as usize);
            let number = |n: usize| -> Result<f64> {
                let cell = row.get(n).unwrap_or("");
                let value = cell.parse::<f64>().ok().filter(|x| x.is_finite());
                let name = header.get(n).unwrap_or("");
                match value {
                    Some(value) if n == time || value.abs() <= MOST => Ok(value),
                    Some(_) => {
                        let message = format!("{name} is {cell}, allowed -{MOST} to {MOST}");
                        Err(fault_at(line, message))
                    }
                    None => Err(fault_at(line, format!("{name} is `{cell}`, allowed a number"))),
                }
            };
            let t = number(time)?;
            if let Some(before) = times.last().filter(|before| **before >= t) {
                let message = format!("t_s is {t} after {before}, allowed rising times");
                return Err(fault_at(line, message));
            }
            times.push(t);
            for &(n, axis) in &columns {
                values[axis].get_or_insert_default().push(number(n)?);
            }
        }
        let motion = Self::new(times, values).map_err(|e| fault(e.to_string()))?;
        match motion.overshoot() {
            None => Ok(motion),
            Some((name, n)) => Err(fault(format!(
                "rows {n} and {}: between them the spline of {name} leaves all values by more than \
                 their whole range: too few or too uneven times",
                n + 1
            ))),
        }
    }

    /// The first interval (its row, from 1) in which a spline, named, is further beyond the values than they
    /// are from one another, or no number.
    fn overshoot(&self) -> Option<(&'static str, usize)> {
        self.splines.iter().zip(AXES).find_map(|(spline, (_, name, _))| {
            let (y, c) = spline.as_ref()?;
            let (low, high) =
                y.iter().fold((f64::MAX, f64::MIN), |(l, h), y| (l.min(*y), h.max(*y)));
            let allowed = low - (high - low)..=high + (high - low);
            let beyond = |k: &usize| {
                (1..16).any(|n| {
                    let value = between(&self.times, y, c, *k, f64::from(n) / 16.0);
                    !value.is_finite() || !allowed.contains(&value) && high > low
                })
            };
            (0..y.len() - 1).find(beyond).map(|k| (name, k + 1))
        })
    }

    /// Last time of the table.
    #[must_use]
    pub fn end_s(&self) -> f64 {
        *self.times.last().expect("at least two rows")
    }

    /// The six axes at time `t`; before the first and after the last time the end values hold.
    #[must_use]
    pub fn at(&self, t: f64) -> [f64; 6] {
        let last = self.times.len() - 2;
        let mut k = self.hint.get().min(last);
        if t < self.times[k] || t > self.times[k + 1] {
            k = if k < last && t > self.times[k + 1] && t <= self.times[k + 2] {
                k + 1
            } else {
                self.times.partition_point(|x| *x <= t).saturating_sub(1).min(last)
            };
            self.hint.set(k);
        }
        let h = self.times[k + 1] - self.times[k];
        let b = ((t - self.times[k]) / h).clamp(0.0, 1.0);
        let mut q = [0.0; 6];
        for (value, spline) in q.iter_mut().zip(&self.splines) {
            if let Some((y, c)) = spline {
                *value = between(&self.times, y, c, k, b);
            }
        }
        q
    }
}

/// Largest value of an axis, m or rad.
const MOST: f64 = 1.0;

/// The spline at the fraction `b` of interval `k`.
fn between(t: &[f64], y: &[f64], c: &[f64], k: usize, b: f64) -> f64 {
    let (h, a) = (t[k + 1] - t[k], 1.0 - b);
    a * y[k] + b * y[k + 1] + h * h / 6.0 * ((a * a * a - a) * c[k] + (b * b * b - b) * c[k + 1])
}

/// Second derivatives of the natural cubic spline: tridiagonal system, solved by elimination.
fn second_derivatives(t: &[f64], y: &[f64]) -> Vec<f64> {
    let n = t.len();
    let mut upper = vec![0.0; n];
    let mut c = vec![0.0; n];
    for k in 1..n - 1 {
        let (h0, h1) = (t[k] - t[k - 1], t[k + 1] - t[k]);
        let slope = (y[k + 1] - y[k]) / h1 - (y[k] - y[k - 1]) / h0;
        let pivot = 2.0 * (h0 + h1) - h0 * upper[k - 1];
        upper[k] = h1 / pivot;
        c[k] = (6.0 * slope - h0 * c[k - 1]) / pivot;
    }
    for k in (1..n - 1).rev() {
        c[k] -= upper[k] * c[k + 1];
    }
    c
}
