//! **Welch's averaged periodogram** (P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70): one
//! segment length for all frequencies, by real FFT.

use super::density::{Bin, Cross, Density, Detrend, degrees_of_freedom};
use super::series::Series;
use super::transform;
use super::window::Window;
use realfft::num_complex::Complex64;

/// How segments are cut and weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Values of a segment.
    pub length: usize,
    /// From the start of one to that of the next.
    pub hop: usize,
    /// Weights.
    pub window: Window,
    /// What is taken off first.
    pub detrend: Detrend,
}

impl Cut {
    /// Half overlapping segments.
    #[must_use]
    pub fn halves(length: usize, window: Window, detrend: Detrend) -> Self {
        Self { length, hop: (length / 2).max(1), window, detrend }
    }
}

/// The density of one series without gaps, segments half overlapping. `None` when it is too short.
#[must_use]
pub fn welch(
    data: &[f64],
    rate_hz: f64,
    length: usize,
    window: Window,
    detrend: Detrend,
) -> Option<Density> {
    auto(&Series::whole(data, rate_hz), Cut::halves(length, window, detrend))
}

/// The density of a series. `None` when no run holds a segment.
#[must_use]
pub fn auto(series: &Series<'_>, cut: Cut) -> Option<Density> {
    let mut work = Work::new(series, cut)?;
    let mut power = vec![0.0; cut.length / 2 + 1];
    for start in work.starts.concat() {
        work.transform(&series.values[start..start + cut.length], 0);
        power.iter_mut().zip(&work.spectra[0]).for_each(|(sum, z)| *sum += z.norm_sqr());
    }
    work.scale(&mut power);
    Some(Density { bins: work.bins(series.rate_hz), power, window: cut.window })
}

/// Densities of two series of the same times, and the cross density. `None` when no run holds a segment,
/// or their times differ.
#[must_use]
pub fn cross(x: &Series<'_>, y: &Series<'_>, cut: Cut) -> Option<Cross> {
    if !super::density::match_in_time(x, y) {
        return None;
    }
    let mut work = Work::new(x, cut)?;
    let mut powers = [vec![0.0; cut.length / 2 + 1], vec![0.0; cut.length / 2 + 1]];
    let mut product = vec![Complex64::default(); cut.length / 2 + 1];
    for start in work.starts.concat() {
        for (n, series) in [x, y].into_iter().enumerate() {
            work.transform(&series.values[start..start + cut.length], n);
            powers[n].iter_mut().zip(&work.spectra[n]).for_each(|(sum, z)| *sum += z.norm_sqr());
        }
        let pairs = work.spectra[0].iter().zip(&work.spectra[1]);
        product.iter_mut().zip(pairs).for_each(|(sum, (x, y))| *sum += x.conj() * y);
    }
    powers.iter_mut().for_each(|power| work.scale(power));
    work.scale(&mut product);
    let bins = work.bins(x.rate_hz);
    let [x, y] = powers.map(|power| Density { bins: bins.clone(), power, window: cut.window });
    Some(Cross { x, y, cross: product })
}

/// What all segments share.
struct Work {
    cut: Cut,
    weights: Vec<f64>,
    starts: Vec<Vec<usize>>,
    fft: std::sync::Arc<dyn realfft::RealToComplex<f64>>,
    buffer: Vec<f64>,
    scratch: Vec<Complex64>,
    spectra: [Vec<Complex64>; 2],
    /// One-sided density of a segment over |z|^2.
    scale: f64,
}

impl Work {
    fn new(series: &Series<'_>, cut: Cut) -> Option<Self> {
        if cut.length < 2 {
            return None;
        }
        let starts = series.segments(cut.length, cut.hop);
        let segments: usize = starts.iter().map(Vec::len).sum();
        if segments == 0 {
            return None;
        }
        let weights = cut.window.samples(cut.length);
        let square: f64 = weights.iter().map(|w| w * w).sum();
        let fft = transform::forward(cut.length);
        let spectra = [fft.make_output_vec(), fft.make_output_vec()];
        Some(Self {
            scale: 2.0 / (series.rate_hz * square * segments as f64),
            buffer: vec![0.0; cut.length],
            scratch: fft.make_scratch_vec(),
            cut,
            weights,
            starts,
            fft,
            spectra,
        })
    }

    /// A segment without its trend, weighed, into spectrum `n`.
    fn transform(&mut self, segment: &[f64], n: usize) {
        let (mean, slope) = trend(segment, self.cut.detrend);
        let centre = (segment.len() as f64 - 1.0) / 2.0;
        let pairs = segment.iter().zip(&self.weights);
        if slope == 0.0 {
            self.buffer.iter_mut().zip(pairs).for_each(|(out, (x, w))| *out = (x - mean) * w);
        } else {
            let values = self.buffer.iter_mut().zip(pairs).enumerate();
            values
                .for_each(|(k, (out, (x, w)))| *out = (x - mean - slope * (k as f64 - centre)) * w);
        }
        self.fft
            .process_with_scratch(&mut self.buffer, &mut self.spectra[n], &mut self.scratch)
            .expect("lengths come from the planner");
    }

    /// Sums over segments to densities: the ends of the spectrum have one side.
    fn scale<T: std::ops::MulAssign<f64>>(&self, sums: &mut [T]) {
        let last = if self.cut.length.is_multiple_of(2) { sums.len() - 1 } else { usize::MAX };
        for (k, sum) in sums.iter_mut().enumerate() {
            *sum *= if k == 0 || k == last { 0.5 * self.scale } else { self.scale };
        }
    }

    fn bins(&self, rate_hz: f64) -> Vec<Bin> {
        let Cut { length, hop, window, .. } = self.cut;
        let counts: Vec<usize> = self.starts.iter().map(Vec::len).collect();
        let correlations = Window::power_correlations(&self.weights, hop);
        let degrees = degrees_of_freedom(counts.iter().map(|count| (*count, &correlations[..])));
        let step_hz = rate_hz / length as f64;
        let noise_bandwidth_hz = window.noise_bandwidth_bins() * step_hz;
        let independent_hz = Window::independent_bins(&self.weights) * step_hz;
        (0..=length / 2)
            .map(|k| Bin {
                frequency_hz: k as f64 * step_hz,
                length,
                segments: counts.iter().sum(),
                // A real number has half the freedom of a complex one.
                degrees: if k == 0 || 2 * k == length { degrees / 2.0 } else { degrees },
                noise_bandwidth_hz,
                independent_hz,
            })
            .collect()
    }
}

/// Mean and slope of a segment about its middle, as far as they are taken off.
fn trend(x: &[f64], detrend: Detrend) -> (f64, f64) {
    if detrend == Detrend::None {
        return (0.0, 0.0);
    }
    let n = x.len() as f64;
    let mean = sum(x) / n;
    if detrend == Detrend::Mean {
        return (mean, 0.0);
    }
    let centre = (n - 1.0) / 2.0;
    let moment: f64 = x.iter().enumerate().map(|(k, x)| (k as f64 - centre) * (x - mean)).sum();
    (mean, moment / (n * (n * n - 1.0) / 12.0))
}

/// A sum in eight parts: as fast as the memory, and nearer the truth than in one.
fn sum(x: &[f64]) -> f64 {
    let mut parts = [0.0; 8];
    let (chunks, rest) = x.as_chunks::<8>();
    let rest: f64 = rest.iter().sum();
    for chunk in chunks {
        parts.iter_mut().zip(chunk).for_each(|(part, x)| *part += x);
    }
    parts.iter().sum::<f64>() + rest
}
