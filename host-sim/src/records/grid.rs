//! **Times to runs**: rows that follow each other by one interval, and what lies between.

use super::LeftOut;
use crate::error::{Error, Result};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Rows that are looked at for the interval before the first run ends.
const FIRST: usize = 64;

/// Largest distance of a row from its place, in intervals: recorders round their times.
const UNEVEN: f64 = 0.2;

/// Takes rows' times as they come.
#[derive(Debug)]
pub(super) struct Grid {
    path: PathBuf,
    given_hz: Option<f64>,
    interval_s: Option<f64>,
    /// Rows before the interval is known.
    waiting: Vec<Seen>,
    rows: usize,
    last: Option<(f64, u64)>,
    open: Option<(usize, f64)>,
    runs: Vec<(Range<usize>, f64, f64)>,
    left_out: LeftOut,
}

#[derive(Debug, Clone, Copy)]
struct Seen {
    line: u64,
    time_s: Option<f64>,
    flagged: bool,
    known: bool,
}

/// The runs of a whole file.
#[derive(Debug)]
pub(super) struct Runs {
    pub runs: Vec<Range<usize>>,
    pub starts_s: Vec<f64>,
    pub rate_hz: f64,
    pub left_out: LeftOut,
}

impl Grid {
    pub fn new(path: &Path, given_hz: Option<f64>) -> Self {
        Self {
            path: path.to_owned(),
            given_hz,
            interval_s: given_hz.map(f64::recip),
            waiting: Vec::new(),
            rows: 0,
            last: None,
            open: None,
            runs: Vec::new(),
            left_out: LeftOut::default(),
        }
    }

    pub fn push(
        &mut self,
        line: u64,
        time_s: Option<f64>,
        flagged: bool,
        known: bool,
    ) -> Result<()> {
        let seen = Seen { line, time_s, flagged, known };
        if self.interval_s.is_some() {
            return self.place(seen);
        }
        self.waiting.push(seen);
        if self.waiting.len() >= FIRST { self.begin() } else { Ok(()) }
    }

    /// The median of the first differences is the interval.
    fn begin(&mut self) -> Result<()> {
        let times: Vec<f64> = self.waiting.iter().filter_map(|seen| seen.time_s).collect();
        let mut steps: Vec<f64> =
            times.windows(2).map(|t| t[1] - t[0]).filter(|step| *step > 0.0).collect();
        steps.sort_unstable_by(f64::total_cmp);
        // Steps that do not rise are told with their line, by `place`.
        self.interval_s = Some(steps.get(steps.len() / 2).copied().unwrap_or(1.0));
        for seen in std::mem::take(&mut self.waiting) {
            self.place(seen)?;
        }
        Ok(())
    }

    fn place(&mut self, seen: Seen) -> Result<()> {
        let interval = self.interval_s.expect("`begin` or a given rate comes first");
        let row = self.rows;
        self.rows += 1;
        let time = seen.time_s.unwrap_or(row as f64 * interval);
        let fault =
            |message| Err(Error::in_file(&self.path, usize::try_from(seen.line).ok(), message));
        if !time.is_finite() {
            return fault(format!("{} is {time}, allowed a number", super::TIME));
        }
        if let Some((before, line)) = self.last {
            let step = (time - before) / interval;
            if step <= 0.0 {
                let name = super::TIME;
                return fault(format!(
                    "{name} is {time} after {before} of line {line}, allowed rising times"
                ));
            }
            if (step - step.round()).abs() > UNEVEN && step < 1000.0 || step < 0.5 {
                return fault(format!(
                    "{time} s is {step:.3} intervals of {interval} s after the row before, allowed whole ones \
                     to {UNEVEN}: rows must be evenly spaced"
                ));
            }
            if step > 1.5 {
                self.left_out.gaps += 1;
                self.close(row, before);
            }
        }
        if seen.flagged || !seen.known {
            // One count a row: a fault explains a missing number.
            *(if seen.flagged {
                &mut self.left_out.flagged
            } else {
                &mut self.left_out.missing
            }) += 1;
            if let Some((before, _)) = self.last {
                self.close(row, before);
            }
        } else if self.open.is_none() {
            self.open = Some((row, time));
        }
        self.last = Some((time, seen.line));
        Ok(())
    }

    fn close(&mut self, end: usize, end_s: f64) {
        if let Some((start, start_s)) = self.open.take() {
            self.runs.push((start..end, start_s, end_s));
        }
    }

    pub fn finish(mut self) -> Result<Runs> {
        if self.interval_s.is_none() {
            self.begin()?;
        }
        if let Some((last, _)) = self.last {
            self.close(self.rows, last);
        }
        // Times are rounded to some digits: the longest run tells the rate best.
        let longest = self.runs.iter().max_by_key(|(run, ..)| run.len());
        let Some((run, start_s, end_s)) = longest.filter(|(run, ..)| run.len() > 1) else {
            let what = self.left_out.text();
            let what = if what.is_empty() { what } else { format!(" ({what})") };
            let message = format!("{} rows, none two of which follow each other{what}", self.rows);
            return Err(Error::in_file(&self.path, None, message));
        };
        let told = (run.len() - 1) as f64 / (end_s - start_s);
        let rate_hz = match self.given_hz {
            Some(given) if (told / given - 1.0).abs() > 0.01 => {
                let message = format!(
                    "a rate of {given} Hz is given, its times tell {told} Hz, allowed 1 % apart"
                );
                return Err(Error::in_file(&self.path, None, message));
            }
            Some(given) => given,
            None => nearest_even(told, run.len()),
        };
        Ok(Runs {
            rate_hz,
            starts_s: self.runs.iter().map(|(_, start, _)| *start).collect(),
            runs: self.runs.into_iter().map(|(run, ..)| run).collect(),
            left_out: self.left_out,
        })
    }
}

/// A rate as a person would have chosen it, where rounding of the times allows it: four digits of it or of
/// its interval.
fn nearest_even(told_hz: f64, rows: usize) -> f64 {
    let short = |x: f64| {
        let scale = 10f64.powi(3 - x.log10().floor() as i32);
        (x * scale).round() / scale
    };
    let allowed = (UNEVEN / rows as f64).min(1e-5);
    [short(told_hz), 1.0 / short(1.0 / told_hz)]
        .into_iter()
        .find(|even| (even / told_hz - 1.0).abs() < allowed)
        .unwrap_or(told_hz)
}
