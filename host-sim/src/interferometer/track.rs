//! **Following** the balance and the ellipse through a record: fitted to frames spread evenly over stretches of
//! it, straight lines between the stretches' middles.

use super::balance;
use super::ellipse::{Ellipse, Fit, algebraic, geometric};
use crate::error::{Error, Result};
use crate::instrument::file::InterferometerFile;
use crate::readout::capture::Capture;

/// How the ellipse is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    /// By its conic, noise's part taken off.
    Algebraic,
    /// By the points' distances.
    Geometric,
    /// As the sensor file says.
    Given,
}

/// What turns four detectors into two signals, at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knot {
    /// Frames since the first.
    pub frame: f64,
    /// Gain of each detector over its complement's, in-phase and quadrature.
    pub balance: [f64; 2],
    /// Ellipse of the two signals.
    pub ellipse: Ellipse,
}

impl Knot {
    /// In-phase and quadrature signal of a frame's four detectors: differences over the light of both, half each,
    /// so that its noise moves both alike.
    #[must_use]
    pub fn signals(&self, [a, b, c, d]: [f64; 4]) -> [f64; 2] {
        let [g, h] = self.balance;
        let light = 0.5 * (a + g * b + c + h * d);
        [(a - g * b) / light, (c - h * d) / light]
    }

    fn between(&self, other: &Self, part: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * part;
        let (a, b) = (self.ellipse.numbers(), other.ellipse.numbers());
        Self {
            frame: mix(self.frame, other.frame),
            balance: std::array::from_fn(|k| mix(self.balance[k], other.balance[k])),
            ellipse: Ellipse::of_numbers(std::array::from_fn(|k| mix(a[k], b[k]))),
        }
    }
}

/// Knots of a beam in time, and what their fits tell.
#[derive(Debug, Clone)]
pub struct Track {
    /// At least one, rising.
    pub knots: Vec<Knot>,
    /// Of the stretches' fits: standard uncertainties of p, q, V, r, alpha and the points' scatter, root mean
    /// square over the stretches; none where the ellipse was given.
    pub told: Option<([f64; 5], f64)>,
}

impl Track {
    /// What holds at a frame.
    #[must_use]
    pub fn at(&self, frame: f64) -> Knot {
        let next = self.knots.partition_point(|knot| knot.frame <= frame);
        match (next.checked_sub(1).map(|n| &self.knots[n]), self.knots.get(next)) {
            (Some(a), Some(b)) => a.between(b, (frame - a.frame) / (b.frame - a.frame)),
            // Flat beyond both ends.
            (Some(only), None) | (None, Some(only)) => *only,
            (None, None) => unreachable!("a track has a knot"),
        }
    }
}

/// Frames looked at in a stretch.
const FRAMES: u64 = 2048;
/// Most stretches of a record: memory stays flat.
const STRETCHES: u64 = 1000;
/// Parts of a turn, all of which a stretch must show ...
const PARTS: usize = 16;
/// ... each so many times.
const EACH: usize = 8;

/// Finds the tracks of all beams; a stretch is `seconds` long, longer where the record is.
///
/// # Errors
/// A failing read; a beam whose light never moves through all of a fringe, and whose ellipse is not given.
pub fn tracks(
    capture: &Capture,
    file: &InterferometerFile,
    seconds: f64,
    manner: Manner,
) -> Result<Vec<Track>> {
    let frames = capture.layout.frames;
    let length = ((seconds * file.rate_hz) as u64).max(FRAMES).max(frames.div_ceil(STRETCHES));
    let mut found: Vec<Vec<(Knot, Option<Fit>)>> = vec![Vec::new(); file.beams.len()];
    // Frames of stretches that did not yet show a whole fringe.
    let mut waiting: Vec<(u64, Vec<[f64; 4]>)> = vec![(0, Vec::new()); file.beams.len()];
    let mut covered = vec![0; file.beams.len()];
    let mut from = 0;
    while from < frames {
        // What is left over at the end belongs to the last stretch.
        let end = if frames - from < 2 * length { frames } else { from + length };
        let looked = look(capture, file, from, end)?;
        for (n, points) in looked.into_iter().enumerate() {
            let (start, gathered) = &mut waiting[n];
            if gathered.is_empty() {
                *start = from;
            }
            gathered.extend(points);
            let parts = parts_shown(gathered);
            covered[n] = covered[n].max(parts);
            if parts < PARTS {
                thin(gathered);
                continue;
            }
            let middle = (*start + end) as f64 / 2.0;
            if let Some(knot) = knot(gathered, middle, manner) {
                found[n].push(knot);
            }
            gathered.clear();
        }
        from = end;
    }
    found
        .into_iter()
        .zip(&file.beams)
        .enumerate()
        .map(|(n, (fits, beam))| match (&beam.ellipse, manner) {
            (Some(given), _) if fits.is_empty() || manner == Manner::Given => {
                let balance = fits.first().map_or([1.0; 2], |(knot, _)| knot.balance);
                let ellipse = Ellipse::of(given);
                Ok(Track { knots: vec![Knot { frame: 0.0, balance, ellipse }], told: None })
            }
            (None, Manner::Given) => {
                let message = format!("beam {}: no ellipse is given in the sensor file", beam.name);
                Err(Error::new(message))
            }
            _ if fits.is_empty() => {
                let shown = covered[n] * 360 / PARTS;
                let message = format!(
                    "beam {}: its signals show {shown} of 360 degrees of a fringe: no ellipse can be fitted, \
                     allowed with `ellipse` in the sensor file",
                    beam.name
                );
                Err(Error::in_file(&capture.path, None, message))
            }
            _ => Ok(track(fits)),
        })
        .collect()
}

fn track(fits: Vec<(Knot, Option<Fit>)>) -> Track {
    let count = fits.iter().filter(|(_, fit)| fit.is_some()).count() as f64;
    let rms = |of: &dyn Fn(&Fit) -> f64| {
        (fits.iter().filter_map(|(_, fit)| fit.as_ref()).map(|f| of(f).powi(2)).sum::<f64>()
            / count)
            .sqrt()
    };
    let told = (count > 0.0)
        .then(|| (std::array::from_fn(|k| rms(&|f| f.uncertainty[k])), rms(&|f| f.scatter)));
    Track { knots: fits.into_iter().map(|(knot, _)| knot).collect(), told }
}

/// Frames of a stretch spread evenly over it, each beam's four detectors.
fn look(
    capture: &Capture,
    file: &InterferometerFile,
    from: u64,
    end: u64,
) -> Result<Vec<Vec<[f64; 4]>>> {
    let count = FRAMES.min(end - from);
    let mut beams = vec![Vec::with_capacity(count as usize); file.beams.len()];
    let channels = capture.layout.channels;
    let mut take = |frame: &[i32]| {
        for (points, beam) in beams.iter_mut().zip(&file.beams) {
            points.push(beam.channels.map(|c| f64::from(frame[usize::from(c)])));
        }
    };
    if end - from <= 32 * count {
        // Near each other: one read of all is less than many.
        let mut at = from;
        capture.read(from, end, |codes| {
            for frame in codes.chunks_exact(channels) {
                if (at - from) * count / (end - from) != (at + 1 - from) * count / (end - from) {
                    take(frame);
                }
                at += 1;
            }
        })?;
    } else {
        for n in 0..count {
            let at = from + n * (end - from) / count;
            capture.read(at, at + 1, &mut take)?;
        }
    }
    Ok(beams)
}

/// Parts of a turn in which there are frames enough, by the two differences about their middles.
fn parts_shown(points: &[[f64; 4]]) -> usize {
    let of = |p: &[f64; 4]| [p[0] - p[1], p[2] - p[3]];
    let range = points.iter().map(of).fold([[f64::MAX, f64::MIN]; 2], |r, d| {
        std::array::from_fn(|k| [r[k][0].min(d[k]), r[k][1].max(d[k])])
    });
    if range.iter().any(|r| r[1] <= r[0]) {
        return 0;
    }
    let mut counts = [0; PARTS];
    for d in points.iter().map(of) {
        let [x, y] =
            [0, 1].map(|k| (2.0 * d[k] - range[k][0] - range[k][1]) / (range[k][1] - range[k][0]));
        // A small motion's line, and noise, leave the middle of the range filled.
        if x.hypot(y) > 0.5 {
            let turn = y.atan2(x) / std::f64::consts::TAU + 1.0;
            counts[(turn * PARTS as f64) as usize % PARTS] += 1;
        }
    }
    counts.iter().filter(|n| **n >= EACH).count()
}

/// Every other frame, where there are more than a few stretches' worth.
fn thin(points: &mut Vec<[f64; 4]>) {
    if points.len() as u64 > 8 * FRAMES {
        let mut keep = false;
        points.retain(|_| {
            keep = !keep;
            keep
        });
    }
}

fn knot(points: &[[f64; 4]], frame: f64, manner: Manner) -> Option<(Knot, Option<Fit>)> {
    let balance = balance::of_both(points)?;
    let unit = Ellipse::of_numbers([0.0, 0.0, 1.0, 1.0, 0.0]);
    let knot = Knot { frame, balance, ellipse: unit };
    let signals: Vec<[f64; 2]> = points.iter().map(|p| knot.signals(*p)).collect();
    match manner {
        Manner::Given => Some((knot, None)),
        Manner::Algebraic => algebraic(&signals).map(|ellipse| (Knot { ellipse, ..knot }, None)),
        Manner::Geometric => {
            geometric(&signals).map(|fit| (Knot { ellipse: fit.ellipse, ..knot }, Some(fit)))
        }
    }
}
