//! **Judgement**: how much of an attribution to believe.

use super::cells::{Cells, left_by};
use super::fit::{fit, weighed};
use super::term::Term;
use super::together::Together;
use crate::analysis::tapers::{Cell, Places, TAPERS};
use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex64;
use statrs::distribution::{Beta, ContinuousCDF};

/// Multiple coherence of a band: the share of the reading's power that a linear response of any form to all channels together
/// explains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Its ends.
    pub from_hz: f64,
    /// See `from_hz`.
    pub to_hz: f64,
    /// As estimated.
    pub coherence: f64,
    /// Without what so many channels explain by chance.
    pub unbiased: f64,
    /// What channels without any connection stay below.
    pub threshold: f64,
    /// Mean power densities of the reading and of what the terms leave.
    pub reading: f64,
    /// See `reading`.
    pub left: f64,
}

/// Bands a decade.
const PER_DECADE: f64 = 6.0;

/// Multiple coherence in bands, from cells of the reading and all channels, with densities of the reading and of what is left
/// (`plain` cells of both, that went through no filter).
///
/// Of K averages and q channels without any connection it is a Beta variate of q and K - q
/// (N. R. Goodman, Ann. Math. Stat. 34 (1963) 152, recalled): q/K in the mean.
#[must_use]
pub fn bands(cells: &Cells, plain: [&[Cell]; 2], confidence: f64) -> Vec<Band> {
    let channels = cells.channels.len();
    let mut out = Vec::new();
    let f = &cells.frequencies;
    let least = (2 * channels + TAPERS).div_ceil(TAPERS).max(2);
    let mut from = 0;
    while from < f.len() {
        let wanted = f[from..].partition_point(|x| *x < f[from] * 10f64.powf(1.0 / PER_DECADE));
        let mut to = (from + wanted.max(least)).min(f.len());
        if f.len() - to < least {
            to = f.len();
        }
        if to - from < least {
            break;
        }
        out.push(band(cells, plain, from..to, confidence));
        from = to;
    }
    out
}

fn band(
    cells: &Cells,
    plain: [&[Cell]; 2],
    range: std::ops::Range<usize>,
    confidence: f64,
) -> Band {
    let averages = (range.len() * TAPERS) as f64;
    let flat = |cells: &[Cell]| cells[range.clone()].as_flattened().to_vec();
    let channels: Vec<Vec<Complex64>> = cells.channels.iter().map(|c| flat(c)).collect();
    let coherence = multiple_coherence(&channels, &flat(&cells.reading));
    let q = channels.len() as f64;
    let mean = |cells: &[Cell]| flat(cells).iter().map(|z| z.norm_sqr()).sum::<f64>() / averages;
    let f = &cells.frequencies;
    Band {
        from_hz: f[range.start],
        to_hz: f[range.end - 1],
        coherence,
        unbiased: (1.0 - (1.0 - coherence) * averages / (averages - q)).max(0.0),
        threshold: threshold(channels.len(), averages, confidence),
        reading: mean(plain[0]),
        left: mean(plain[1]),
    }
}

/// Share of a reading's power that complex multiples of channels explain, of one number for each average.
#[must_use]
pub fn multiple_coherence(channels: &[Vec<Complex64>], reading: &[Complex64]) -> f64 {
    let q = channels.len();
    let dot = |a: &[Complex64], b: &[Complex64]| -> Complex64 {
        a.iter().zip(b).map(|(a, b)| a.conj() * b).sum()
    };
    let power = |x: &[Complex64]| dot(x, x).re;
    // Channels of one size, and the least that tells the same channel twice apart from itself.
    let scale: Vec<f64> = channels.iter().map(|c| power(c).sqrt().max(f64::MIN_POSITIVE)).collect();
    let cross = DMatrix::from_fn(q, q, |a, b| {
        let same = if a == b { 1e-12 } else { 0.0 };
        dot(&channels[a], &channels[b]) / (scale[a] * scale[b]) + same
    });
    let right = DVector::from_fn(q, |c, _| dot(&channels[c], reading) / scale[c]);
    let solved = cross.lu().solve(&right).unwrap_or_else(|| DVector::zeros(q));
    let told: f64 = right.iter().zip(solved.iter()).map(|(a, b)| (a.conj() * b).re).sum();
    (told / power(reading)).clamp(0.0, 1.0)
}

/// Multiple coherence that channels without any connection stay below with probability `confidence`.
#[must_use]
pub fn threshold(channels: usize, averages: f64, confidence: f64) -> f64 {
    let q = channels as f64;
    Beta::new(q, averages - q).map_or(1.0, |b| b.inverse_cdf(confidence))
}

/// Share of a half's weighed power that coefficients of the other half explain: first by second, second by first. `None` where
/// a half does not tell the terms apart.
#[must_use]
pub fn crossed(
    together: &Together,
    terms: &[Term],
    whole: &Cells,
    density: &[f64],
) -> Option<[f64; 2]> {
    let density = (whole.frequencies.as_slice(), density);
    let halves = [false, true].map(|second| {
        let places = Places::new(&together.half(second), together.rate_hz, together.to_hz);
        Cells::new(together, places, whole.whitening)
    });
    let values = halves.each_ref().map(|half| {
        let columns = half.terms(together, terms);
        fit(&half.frequencies, &half.reading, &columns).ok().map(|f| f.values)
    });
    let share = |half: &Cells, values: &[f64]| {
        let left = left_by(half, together, terms, values);
        let density: Vec<f64> = half.frequencies.iter().map(|f| at(density, *f)).collect();
        explained(&half.reading, &left, &density)
    };
    let [first, second] = &values;
    Some([share(&halves[0], second.as_ref()?), share(&halves[1], first.as_ref()?)])
}

/// Share of a reading's weighed power that is not left.
#[must_use]
pub fn explained(reading: &[Cell], left: &[Cell], density: &[f64]) -> f64 {
    1.0 - weighed(left, left, density) / weighed(reading, reading, density)
}

/// A density at a frequency: that of the nearest cell below.
fn at((frequencies, density): (&[f64], &[f64]), f: f64) -> f64 {
    let n = frequencies.partition_point(|x| *x <= f).saturating_sub(1);
    density[n]
}

/// Pairs of terms whose weighed correlation is beyond a limit.
#[must_use]
pub fn alike(columns: &[Vec<Cell>], density: &[f64], limit: f64) -> Vec<(usize, usize, f64)> {
    let product = |a: &[Cell], b: &[Cell]| weighed(a, b, density);
    let mut out = Vec::new();
    for m in 0..columns.len() {
        for n in 0..m {
            let own = product(&columns[m], &columns[m]) * product(&columns[n], &columns[n]);
            let r = product(&columns[m], &columns[n]) / own.sqrt();
            if r.abs() > limit {
                out.push((n, m, r));
            }
        }
    }
    out
}
