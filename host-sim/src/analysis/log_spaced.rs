//! **Densities at frequencies evenly spaced on a logarithmic axis**, each from segments as long as suits
//! it: many short ones at high frequencies, few long ones at low (M. Tröbs, G. Heinzel, Measurement 39
//! (2006) 120).
//!
//! Every frequency is a single-bin Fourier transform of windowed segments. Short segments are worked out as it is
//! defined: two products a value, tables of window times cosine and sine shared by all segments of a frequency.
//! Long ones, whose carrier turns slowly, by sums of blocks of values (`blocks.rs`), the same within 1e-9 of the power,
//! and the less to do the lower the frequency.

use super::blocks::Blocks;
use super::density::{Bin, Cross, Density, Detrend, degrees_of_freedom};
use super::series::Series;
use super::smooth::Smooth;
use super::tables;
use super::vector::Products;
use super::window::{Curve, Window};
use rayon::prelude::*;
use realfft::num_complex::Complex64;
use std::collections::BTreeMap;
use std::ops::Range;

/// One frequency and its segment length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pitch {
    /// Frequency.
    pub frequency_hz: f64,
    /// Values of a segment.
    pub length: usize,
}

/// What is wanted of the frequencies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// Lowest.
    pub from_hz: f64,
    /// Highest, at most half the rate.
    pub to_hz: f64,
    /// Frequencies, about: fewer where segments as long as the record are too short for them.
    pub count: usize,
    /// Segments averaged, as far as the record is long enough.
    pub averages: usize,
    /// Overlap of segments, 0 to below 1.
    pub overlap: f64,
    /// Bins that a frequency is away from zero at least: half the window's main lobe.
    pub lobe: f64,
}

/// Frequencies and segment lengths for a record of `longest` values without a gap, after section 3 of
/// Tröbs and Heinzel: the resolution is that of even spacing where the record gives the averages for it,
/// the geometric mean of both where it gives more than one, and the record's own below.
#[must_use]
pub fn pitches(longest: usize, rate_hz: f64, wish: &Wish) -> Vec<Pitch> {
    let step = (wish.to_hz / wish.from_hz).powf(1.0 / (wish.count.max(2) - 1) as f64) - 1.0;
    let finest = rate_hz / longest as f64;
    let averaged = finest * (1.0 + (1.0 - wish.overlap) * (wish.averages.max(1) - 1) as f64);
    let mut out = Vec::new();
    let mut frequency_hz = wish.from_hz;
    // A hair beyond the end, as the sum of the steps rounds.
    while frequency_hz <= wish.to_hz * (1.0 + 1e-12) {
        let even = frequency_hz * step;
        let resolution = if even >= averaged { even } else { (even * averaged).sqrt().max(finest) };
        let resolution = resolution.min(frequency_hz / wish.lobe);
        let length = ((rate_hz / resolution).round() as usize).clamp(2, longest);
        out.push(Pitch { frequency_hz, length });
        // By the resolution that the whole length gives.
        frequency_hz += rate_hz / length as f64;
    }
    out
}

/// How segments of all lengths are cut and weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighing {
    /// Weights.
    pub window: Window,
    /// Overlap of segments, 0 to below 1.
    pub overlap: f64,
    /// What is taken off first.
    pub detrend: Detrend,
}

impl Weighing {
    /// Starts of the segments of a run of `count` values, spread evenly over all of it, as near to the
    /// overlap as whole segments allow.
    #[must_use]
    pub fn starts(&self, count: usize, length: usize) -> Vec<usize> {
        let Some(room) = count.checked_sub(length) else { return Vec::new() };
        let last =
            (room as f64 / ((1.0 - self.overlap) * length as f64)).round_ties_even() as usize;
        let last = last.min(room);
        let hop = room as f64 / last.max(1) as f64;
        tables::rounded_multiples(hop, last + 1)
    }
}

/// The density of a series; frequencies whose segments no run holds are left out.
#[must_use]
pub fn auto(series: &Series<'_>, pitches: &[Pitch], weighing: Weighing) -> Density {
    let record = Record::new(series, pitches, weighing);
    let shapes = Shapes::new(weighing);
    let group = |pitches: &[Pitch]| -> Vec<(Bin, f64)> {
        let new = |pitch: &Pitch| Some((Line::new(series, *pitch, &shapes, &record.blocks)?, 0.0));
        let mut lines: Vec<(Line<'_>, f64)> = pitches.iter().filter_map(new).collect();
        let mut from = 0;
        while from < series.values.len() {
            for (line, power) in &mut lines {
                *power += line.power(&record, from..from + STRETCH);
            }
            from += STRETCH;
        }
        let done = |(line, power): &(Line<'_>, f64)| (line.bin, power * line.scale);
        lines.iter().map(done).collect()
    };
    let groups: Vec<&[Pitch]> = pitches.chunk_by(|a, b| a.length.max(b.length) <= SHORT).collect();
    let groups: Vec<&[Pitch]> = groups.into_iter().flat_map(|group| group.chunks(GROUP)).collect();
    // Groups first, which take longest: threads that run out of work then wait for a short one.
    let numbered = groups.iter().enumerate().rev().par_bridge();
    let mut found: Vec<_> = numbered.map(|(n, pitches)| (n, group(pitches))).collect();
    found.sort_unstable_by_key(|(n, _)| *n);
    let (bins, power) = found.into_iter().flat_map(|(_, lines)| lines).unzip();
    Density { bins, power, window: weighing.window }
}

/// Frequencies of short segments are worked out together, a stretch of the record at a time: it stays near the
/// processor while all of them read it.
const GROUP: usize = 8;
const SHORT: usize = 1 << 11;
const STRETCH: usize = 1 << 15;

/// Densities of two series of the same times, and the cross density; `None` where their times differ.
#[must_use]
pub fn cross(
    x: &Series<'_>,
    y: &Series<'_>,
    pitches: &[Pitch],
    weighing: Weighing,
) -> Option<Cross> {
    if !super::density::match_in_time(x, y) {
        return None;
    }
    let records = [x, y].map(|series| Record::new(series, pitches, weighing));
    let shapes = Shapes::new(weighing);
    let one = |pitch: &Pitch| {
        let line = Line::new(x, *pitch, &shapes, &records[0].blocks)?;
        let starts = line.starts.concat();
        let [mut a, mut b] = [Vec::new(), Vec::new()];
        line.each(&records[0], &starts, |z| a.push(z));
        line.each(&records[1], &starts, |z| b.push(z));
        let powers = [&a, &b].map(|z| z.iter().map(Complex64::norm_sqr).sum::<f64>());
        let product: Complex64 = a.iter().zip(&b).map(|(a, b)| a.conj() * b).sum();
        let scale = line.scale;
        Some((line.bin, [powers[0] * scale, powers[1] * scale], product * scale))
    };
    let found: Vec<_> = pitches.par_iter().filter_map(one).collect();
    let bins: Vec<Bin> = found.iter().map(|(bin, ..)| *bin).collect();
    let [x, y] = [0, 1].map(|n| Density {
        bins: bins.clone(),
        power: found.iter().map(|(_, powers, _)| powers[n]).collect(),
        window: weighing.window,
    });
    Some(Cross { x, y, cross: found.into_iter().map(|(.., z)| z).collect() })
}

/// A series' values without their mean, so that no digits are lost to an offset; with it where no trend is taken off.
struct Record {
    values: Vec<f64>,
    blocks: Blocks,
}

impl Record {
    fn new(series: &Series<'_>, pitches: &[Pitch], weighing: Weighing) -> Self {
        let mean = if weighing.detrend == Detrend::None { 0.0 } else { series.mean() };
        let values: Vec<f64> = series.values.par_iter().map(|x| x - mean).collect();
        let lengths =
            pitches.iter().filter_map(|p| block_length(*p, series.rate_hz, weighing.window));
        let blocks = Blocks::new(&values, lengths.max().unwrap_or(0));
        Self { values, blocks }
    }
}

/// Values of the blocks that a frequency's segments are looked at by, where they are.
fn block_length(pitch: Pitch, rate_hz: f64, window: Window) -> Option<usize> {
    let Pitch { frequency_hz, length } = pitch;
    // The fastest of what values are multiplied with: the window's last term turns beside the carrier.
    let cycles = frequency_hz / rate_hz + window.lobe_bins() / length as f64;
    Blocks::length(cycles, length)
}

/// What all lines share of a weighing.
struct Shapes {
    weighing: Weighing,
    curve: Curve,
    /// Samples that stand for those of a window however long, as it turns little from one to the next.
    samples: Vec<f64>,
    /// Sums of more samples, of their squares and fourth powers, each over their number.
    means: [f64; 3],
}

impl Shapes {
    fn new(weighing: Weighing) -> Self {
        let Weighing { window, .. } = weighing;
        let many = 1 << 14;
        let means = tables::powers(&window.samples(many)).map(|sum| sum / many as f64);
        Self { weighing, curve: window.curve(), samples: window.samples(1 << 11), means }
    }
}

/// One frequency at work.
struct Line<'a> {
    starts: Vec<Vec<usize>>,
    bin: Bin,
    products: Factors<'a>,
    /// One-sided mean density over the sum of |z|^2.
    scale: f64,
}

/// Window times cosine and times minus sine, without the trend that is taken off the values: taking a trend off the
/// values and multiplying is multiplying with products that have their own trend taken off: once, and not for every
/// segment.
enum Factors<'a> {
    /// Each value's.
    Tables([Vec<f64>; 2]),
    /// Of blocks.
    Smooth(Box<Smooth<'a>>),
}

impl<'a> Line<'a> {
    fn new(series: &Series<'_>, pitch: Pitch, shapes: &'a Shapes, blocks: &Blocks) -> Option<Self> {
        let Pitch { frequency_hz, length } = pitch;
        let weighing = shapes.weighing;
        let in_run = |run: &Range<usize>| -> Vec<usize> {
            let starts = weighing.starts(run.len(), length);
            starts.into_iter().map(|start| run.start + start).collect()
        };
        let starts: Vec<Vec<usize>> = series.runs.iter().map(in_run).collect();
        let segments: usize = starts.iter().map(Vec::len).sum();
        if segments == 0 || length < 2 {
            return None;
        }
        let cycles = frequency_hz / series.rate_hz;
        // At half the rate, and at zero, there is one side.
        let sides = if 2.0 * cycles >= 1.0 || cycles == 0.0 { 1.0 } else { 2.0 };
        let level = block_length(pitch, series.rate_hz, weighing.window)
            .and_then(|length| blocks.level(length));
        let (products, bin, square) = if let Some(level) = level {
            let smooth = Smooth::new(level, &shapes.curve, length, cycles, weighing.detrend);
            let bin = bin(pitch, &starts, &shapes.samples, shapes.means, series.rate_hz);
            (Factors::Smooth(Box::new(smooth)), bin, shapes.means[1] * length as f64)
        } else {
            let weights = weighing.window.samples(length);
            let sums = tables::powers(&weights);
            let tables = tables_of(&weights, cycles, weighing.detrend);
            let means = sums.map(|sum| sum / length as f64);
            let bin = bin(pitch, &starts, &weights, means, series.rate_hz);
            (Factors::Tables(tables), bin, sums[1])
        };
        let scale = sides / (series.rate_hz * square * segments as f64);
        Some(Self { starts, bin, products, scale })
    }

    /// Sum of |z|^2 of the segments that start within a stretch.
    fn power(&self, record: &Record, stretch: Range<usize>) -> f64 {
        let mut power = 0.0;
        for starts in &self.starts {
            let from = starts.partition_point(|start| *start < stretch.start);
            let to = starts.partition_point(|start| *start < stretch.end);
            self.each(record, &starts[from..to], |z| power += z.norm_sqr());
        }
        power
    }

    /// sum_n w\[n\] (x\[n\] - trend) e^(-i 2 pi f n/rate) of the segments from each start.
    fn each(&self, record: &Record, starts: &[usize], mut take: impl FnMut(Complex64)) {
        let take = |[re, im]: [f64; 2]| take(Complex64::new(re, im));
        let x = &record.values;
        match &self.products {
            Factors::Tables([a, b]) => Products { x, starts, tables: [a, b] }.each(take),
            Factors::Smooth(smooth) => smooth.each(x, &record.blocks, starts, take),
        }
    }
}

fn tables_of(weights: &[f64], cycles: f64, detrend: Detrend) -> [Vec<f64>; 2] {
    let length = weights.len();
    // Minus the sine: turned the other way.
    let mut tables = tables::turns(-cycles, 0..length);
    let told = tables.each_mut().map(|table| tables::weigh(table, weights));
    let n = length as f64;
    for (table, [sum, moment]) in tables.iter_mut().zip(told) {
        let slope = moment / (n * (n * n - 1.0) / 12.0);
        match detrend {
            Detrend::None => {}
            Detrend::Mean => tables::less_line(table, sum / n, 0.0),
            Detrend::Line => tables::less_line(table, sum / n, slope),
        }
    }
    tables
}

/// A frequency's bin, from the starts of its segments in every run, samples of their window, as many as a segment has or
/// fewer that stand for them, and the means of its samples, their squares and fourth powers.
fn bin(
    pitch: Pitch,
    starts: &[Vec<usize>],
    weights: &[f64],
    [mean, square, fourth]: [f64; 3],
    rate_hz: f64,
) -> Bin {
    // Runs of about one length share the correlations of their segments.
    let mut correlations: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    let hop = |starts: &[usize]| match starts {
        [first, .., last] => (last - first) / (starts.len() - 1) * weights.len() / pitch.length,
        _ => weights.len(),
    };
    for starts in starts {
        let hop = hop(starts);
        let work = || Window::power_correlations(weights, hop);
        correlations.entry(hop).or_insert_with(work);
    }
    let runs = starts.iter().map(|s| (s.len(), &correlations[&hop(s)][..]));
    let resolution_hz = rate_hz / pitch.length as f64;
    Bin {
        frequency_hz: pitch.frequency_hz,
        length: pitch.length,
        segments: starts.iter().map(Vec::len).sum(),
        degrees: degrees_of_freedom(runs),
        noise_bandwidth_hz: resolution_hz * square / (mean * mean),
        independent_hz: resolution_hz * fourth / (square * square),
    }
}
