//! **Densities**: what an estimator of spectra gives, with its degrees of freedom, confidence, bands.

use super::series::Series;
use super::window::Window;
use realfft::num_complex::Complex64;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// What is taken off a segment before its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detrend {
    /// Nothing.
    None,
    /// The mean.
    Mean,
    /// The straight line through it (least squares).
    Line,
}

/// One frequency of a density, and how it was come by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// Frequency.
    pub frequency_hz: f64,
    /// Segment length, values.
    pub length: usize,
    /// Segments averaged.
    pub segments: usize,
    /// Equivalent degrees of freedom of the average.
    pub degrees: f64,
    /// Equivalent noise bandwidth.
    pub noise_bandwidth_hz: f64,
    /// Width of frequencies that count as one independent power.
    pub independent_hz: f64,
}

/// A one-sided power spectral density, unit^2/Hz.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// Frequencies, rising.
    pub bins: Vec<Bin>,
    /// Power density at each, unit^2/Hz.
    pub power: Vec<f64>,
    /// Window in use.
    pub window: Window,
}

/// Equivalent degrees of freedom of the mean power of overlapping segments, white noise:
/// 2 K/(1 + 2 sum_m (1 - m/K) rho_m), from each run's segments and the correlations rho of their power, as
/// nothing connects two runs (P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70).
#[must_use]
pub fn degrees_of_freedom<'a>(runs: impl IntoIterator<Item = (usize, &'a [f64])>) -> f64 {
    let (mut count, mut pairs) = (0, 0.0);
    for (segments, correlations) in runs {
        let terms = correlations.iter().enumerate();
        pairs += terms.map(|(m, rho)| segments.saturating_sub(m + 1) as f64 * rho).sum::<f64>();
        count += segments;
    }
    let count = count as f64;
    2.0 * count * count / (count + 2.0 * pairs)
}

/// The interval that holds the true power with probability `confidence`, over the estimate:
/// nu/chi2 at both tails.
#[must_use]
pub fn chi2_factors(degrees: f64, confidence: f64) -> [f64; 2] {
    let Ok(chi2) = ChiSquared::new(degrees) else { return [f64::NAN; 2] };
    let tail = (1.0 - confidence) / 2.0;
    [1.0 - tail, tail].map(|p| degrees / chi2.inverse_cdf(p))
}

impl Density {
    /// Frequencies.
    pub fn frequencies(&self) -> impl Iterator<Item = f64> {
        self.bins.iter().map(|bin| bin.frequency_hz)
    }

    /// Amplitude density, unit/sqrt(Hz).
    #[must_use]
    pub fn amplitude(&self) -> Vec<f64> {
        self.power.iter().map(|p| p.sqrt()).collect()
    }

    /// Interval of the amplitude density at every frequency, with probability `confidence`.
    #[must_use]
    pub fn amplitude_interval(&self, confidence: f64) -> Vec<[f64; 2]> {
        // Many bins share their degrees of freedom, and a quantile costs more than a bin.
        let mut last: Option<(f64, [f64; 2])> = None;
        let one = |(bin, power): (&Bin, &f64)| {
            let factors = match last {
                Some((degrees, factors)) if degrees == bin.degrees => factors,
                _ => chi2_factors(bin.degrees, confidence),
            };
            last = Some((bin.degrees, factors));
            factors.map(|factor| (power * factor).sqrt())
        };
        self.bins.iter().zip(&self.power).map(one).collect()
    }

    /// Root of the mean power density between two frequencies; `None` without a bin there.
    #[must_use]
    pub fn mean_amplitude(&self, from_hz: f64, to_hz: f64) -> Option<f64> {
        let in_band = |f: f64| f >= from_hz && f <= to_hz;
        let band: Vec<f64> = self
            .frequencies()
            .zip(&self.power)
            .filter(|(f, _)| in_band(*f))
            .map(|(_, p)| *p)
            .collect();
        (!band.is_empty()).then(|| (band.iter().sum::<f64>() / band.len() as f64).sqrt())
    }

    /// Rms in a band and its relative standard uncertainty. The density is taken as straight between its
    /// frequencies; `None` where they do not cover the band.
    ///
    /// Uncertainty: every independent width of the band is an average of its degrees of freedom.
    #[must_use]
    pub fn rms(&self, from_hz: f64, to_hz: f64) -> Option<(f64, f64)> {
        let (first, last) = (self.bins.first()?, self.bins.last()?);
        if !(from_hz < to_hz && first.frequency_hz <= from_hz && to_hz <= last.frequency_hz) {
            return None;
        }
        let (mut power, mut variance) = (0.0, 0.0);
        for (bins, p) in self.bins.windows(2).zip(self.power.windows(2)) {
            let [f0, f1] = [bins[0].frequency_hz, bins[1].frequency_hz];
            let (a, b) = (f0.max(from_hz), f1.min(to_hz));
            if b <= a {
                continue;
            }
            let at = |f: f64| p[0] + (p[1] - p[0]) * (f - f0) / (f1 - f0);
            let part = 0.5 * (at(a) + at(b)) * (b - a);
            power += part;
            let bin = &bins[0];
            // A stretch as wide as one independent power, or wider, is one average; shorter ones move
            // together.
            let together = (bin.independent_hz / (f1 - f0)).max(1.0);
            variance += part * part * 2.0 / bin.degrees * together;
        }
        Some((power.sqrt(), 0.5 * variance.sqrt() / power))
    }
}

/// Densities of two series at the same frequencies, and the cross density between them.
#[derive(Debug, Clone, PartialEq)]
pub struct Cross {
    /// Of the first: the input.
    pub x: Density,
    /// Of the second: the output.
    pub y: Density,
    /// conj(X) Y, one-sided.
    pub cross: Vec<Complex64>,
}

/// A transfer function at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transfer {
    /// Gain of y over x and its phase.
    pub value: Complex64,
    /// Relative standard uncertainty of the gain, and standard uncertainty of the phase in radians.
    pub uncertainty: f64,
}

impl Cross {
    /// Coherence |S_xy|^2/(S_xx S_yy), 0 to 1; 0 where one of them has no power.
    #[must_use]
    pub fn coherence(&self) -> Vec<f64> {
        let powers = self.x.power.iter().zip(&self.y.power);
        let pairs = self.cross.iter().zip(powers);
        pairs
            .map(|(z, (x, y))| if *x > 0.0 && *y > 0.0 { z.norm_sqr() / (x * y) } else { 0.0 })
            .collect()
    }

    /// Independent averages at each frequency: half the degrees of freedom.
    pub fn averages(&self) -> impl Iterator<Item = f64> {
        self.x.bins.iter().map(|bin| bin.degrees / 2.0)
    }

    /// y/x at each frequency: S_xy/S_xx, with sqrt((1 - g)/(2 K g)) for its uncertainty
    /// (J. S. Bendat, A. G. Piersol, Random Data, ch. 9, from memory).
    #[must_use]
    pub fn transfer(&self) -> Vec<Transfer> {
        let parts = self.cross.iter().zip(&self.x.power).zip(self.coherence()).zip(self.averages());
        parts
            .map(|(((z, x), g), averages)| Transfer {
                value: z / x,
                uncertainty: ((1.0 - g).max(0.0) / (2.0 * averages * g)).sqrt(),
            })
            .collect()
    }
}

/// Coherence that two series without any connection stay below with probability `confidence`:
/// 1 - (1 - confidence)^(1/(K - 1)).
#[must_use]
pub fn coherence_threshold(averages: f64, confidence: f64) -> f64 {
    if averages <= 1.0 { 1.0 } else { 1.0 - (1.0 - confidence).powf(1.0 / (averages - 1.0)) }
}

/// What a coherence of `true_value` is expected to be estimated as from K averages:
/// (1 - g)^K/K 3F2(2, K, K; K + 1, 1; g) (G. C. Carter, C. H. Knapp, A. H. Nuttall, IEEE Trans. Audio
/// Electroacoust. 21 (1973) 337, from memory).
#[must_use]
pub fn expected_coherence(true_value: f64, averages: f64) -> f64 {
    if true_value >= 1.0 {
        return 1.0;
    }
    // Weights (1 - g)^K (K)_n (K)_n/((K + 1)_n n!) (n + 1) g^n/K: in logarithms, as the sum's terms grow
    // before they fall.
    let k = averages;
    let mut log_term = k * (-true_value).ln_1p() - k.ln();
    let (mut sum, mut n) = (0.0, 0.0);
    loop {
        let term = log_term.exp();
        sum += term;
        // Ratio of the next term to this one.
        let ratio =
            (2.0 + n) * (k + n) * (k + n) / ((k + 1.0 + n) * (1.0 + n) * (1.0 + n)) * true_value;
        if ratio < 1.0 && term * ratio / (1.0 - ratio) < 1e-13 * sum || n > 1e6 {
            return sum;
        }
        log_term += ratio.ln();
        n += 1.0;
    }
}

/// A coherence without its bias: the value that is expected to be estimated as `measured`.
#[must_use]
pub fn unbiased_coherence(measured: f64, averages: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    if expected_coherence(0.0, averages) >= measured {
        return 0.0;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if expected_coherence(middle, averages) < measured { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Whether two series can be compared value by value.
#[must_use]
pub fn match_in_time(x: &Series<'_>, y: &Series<'_>) -> bool {
    x.rate_hz == y.rate_hz && x.runs == y.runs && x.values.len() == y.values.len()
}
