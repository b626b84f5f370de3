//! **Spectra**: windows and Welch's averaged periodogram, one-sided, unit^2/Hz.

use realfft::RealFftPlanner;
use std::f64::consts::TAU;

/// A cosine-sum window, periodic (DFT-even): w\[n\] = sum_k (-1)^k c_k cos(2 pi k n/N).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Name for captions.
    pub name: &'static str,
    /// Coefficients c_k.
    pub coefficients: &'static [f64],
}

impl Window {
    /// No window.
    pub const RECTANGLE: Self = Self { name: "rectangle", coefficients: &[1.0] };
    /// Hann: for noise.
    pub const HANN: Self = Self { name: "Hann", coefficients: &[0.5, 0.5] };
    /// Four-term Blackman-Harris, 92 dB (Harris 1978): for noise beside strong lines or drift.
    pub const BLACKMAN_HARRIS: Self =
        Self { name: "Blackman-Harris", coefficients: &[0.358_75, 0.488_29, 0.141_28, 0.011_68] };

    /// Samples of the window.
    #[must_use]
    pub fn samples(&self, length: usize) -> Vec<f64> {
        (0..length)
            .map(|n| {
                let phase = TAU * n as f64 / length as f64;
                let terms = self.coefficients.iter().enumerate();
                terms
                    .map(
                        |(k, c)| if k % 2 == 0 { 1.0 } else { -1.0 } * c * (k as f64 * phase).cos(),
                    )
                    .sum()
            })
            .collect()
    }

    /// Mean of the window.
    #[must_use]
    pub fn coherent_gain(&self) -> f64 {
        self.coefficients[0]
    }

    /// Equivalent noise bandwidth in bins: 1 + sum c_k^2/(2 c_0^2).
    #[must_use]
    pub fn noise_bandwidth_bins(&self) -> f64 {
        let rest: f64 = self.coefficients[1..].iter().map(|c| c * c).sum();
        1.0 + rest / (2.0 * self.coefficients[0].powi(2))
    }
}

/// What is taken off a segment before its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detrend {
    /// The mean.
    Constant,
    /// The straight line through it (least squares).
    Line,
}

/// A one-sided power spectral density.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// Frequencies, 0 to half the rate.
    pub frequency_hz: Vec<f64>,
    /// Power density, unit^2/Hz.
    pub power: Vec<f64>,
    /// Segment length.
    pub length: usize,
    /// Segments averaged.
    pub segments: usize,
    /// Window in use.
    pub window: Window,
    /// Equivalent noise bandwidth, Hz.
    pub noise_bandwidth_hz: f64,
}

/// Welch's method: segments of `length`, half overlapping. `None` when the data are shorter.
#[must_use]
pub fn welch(
    data: &[f64],
    rate_hz: f64,
    length: usize,
    window: Window,
    detrend: Detrend,
) -> Option<Density> {
    if length < 2 || data.len() < length {
        return None;
    }
    let weights = window.samples(length);
    let scale = 1.0 / (rate_hz * weights.iter().map(|w| w * w).sum::<f64>());
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(length);
    let mut spectrum = fft.make_output_vec();
    let mut power = vec![0.0; length / 2 + 1];
    let mut segments = 0;
    for segment in data.windows(length).step_by((length / 2).max(1)) {
        let mut x = detrended(segment, detrend);
        x.iter_mut().zip(&weights).for_each(|(x, w)| *x *= w);
        fft.process(&mut x, &mut spectrum).expect("lengths come from the planner");
        for (k, (sum, z)) in power.iter_mut().zip(&spectrum).enumerate() {
            let sides = if k == 0 || 2 * k == length { 1.0 } else { 2.0 };
            *sum += sides * scale * z.norm_sqr();
        }
        segments += 1;
    }
    power.iter_mut().for_each(|p| *p /= f64::from(segments));
    Some(Density {
        frequency_hz: (0..power.len()).map(|k| k as f64 * rate_hz / length as f64).collect(),
        power,
        length,
        segments: segments as usize,
        window,
        noise_bandwidth_hz: window.noise_bandwidth_bins() * rate_hz / length as f64,
    })
}

fn detrended(x: &[f64], detrend: Detrend) -> Vec<f64> {
    let n = x.len() as f64;
    let mean = x.iter().sum::<f64>() / n;
    let centre = (n - 1.0) / 2.0;
    let slope = match detrend {
        Detrend::Constant => 0.0,
        Detrend::Line => {
            let moment: f64 =
                x.iter().enumerate().map(|(k, x)| (k as f64 - centre) * (x - mean)).sum();
            moment / (n * (n * n - 1.0) / 12.0)
        }
    };
    x.iter().enumerate().map(|(k, x)| x - mean - slope * (k as f64 - centre)).collect()
}

impl Density {
    /// Amplitude density, unit/sqrt(Hz).
    #[must_use]
    pub fn amplitude(&self) -> Vec<f64> {
        self.power.iter().map(|p| p.sqrt()).collect()
    }

    /// Root of the mean power density between two frequencies; `None` without a bin there.
    #[must_use]
    pub fn mean_amplitude(&self, from_hz: f64, to_hz: f64) -> Option<f64> {
        let band = self
            .frequency_hz
            .iter()
            .zip(&self.power)
            .filter(|(f, _)| **f >= from_hz && **f <= to_hz);
        let (sum, count) = band.fold((0.0, 0), |(s, n), (_, p)| (s + p, n + 1));
        (count > 0).then(|| (sum / f64::from(count)).sqrt())
    }
}
