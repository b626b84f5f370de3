//! **Windows** of spectra: sums of cosines (with flat tops among them) and the Kaiser-Bessel family.
//!
//! Sources: F. J. Harris, Proc. IEEE 66 (1978) 51; flat tops: G. Heinzel, A. Rüdiger, R. Schilling,
//! "Spectrum and spectral density estimation by the DFT", Max Planck Institute for Gravitational Physics
//! (2002), coefficients from memory, held by their published noise bandwidths and side lobes in the tests.

use super::tables;
use std::f64::consts::PI;
use std::ops::Range;

/// A window, periodic (DFT-even).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Name for captions and the command line.
    pub name: &'static str,
    /// How it is worked out.
    pub shape: Shape,
    /// Overlap of segments that wastes little and repeats little, for power.
    pub overlap: f64,
}

/// Form of a window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// w\[n\] = sum_k c_k cos(2 pi k n/N), over c_0 of one or of the sum at its peak.
    Cosines(&'static [f64]),
    /// w\[n\] = I0(pi alpha sqrt(1 - (2n/N - 1)^2))/I0(pi alpha).
    Kaiser(f64),
}

macro_rules! cosines {
    ($name:literal, $overlap:literal, [$($c:literal),+]) => {
        Window { name: $name, shape: Shape::Cosines(&[$($c),+]), overlap: $overlap }
    };
}

macro_rules! kaiser {
    ($name:literal, $overlap:literal, $alpha:literal) => {
        Window { name: $name, shape: Shape::Kaiser($alpha), overlap: $overlap }
    };
}

impl Window {
    /// No window.
    pub const RECTANGLE: Self = cosines!("rectangle", 0.0, [1.0]);
    /// Hann: for noise.
    pub const HANN: Self = cosines!("hann", 0.5, [0.5, -0.5]);
    /// Four-term Blackman-Harris, 92 dB (Harris 1978): for noise beside strong lines or drift.
    pub const BLACKMAN_HARRIS: Self =
        cosines!("blackman-harris", 0.66, [0.358_75, -0.488_29, 0.141_28, -0.011_68]);

    /// All windows by name.
    pub const ALL: [Self; 23] = [
        Self::RECTANGLE,
        Self::HANN,
        cosines!("hamming", 0.5, [0.54, -0.46]),
        Self::BLACKMAN_HARRIS,
        kaiser!("kaiser-2", 0.55, 2.0),
        kaiser!("kaiser-2.5", 0.6, 2.5),
        kaiser!("kaiser-3", 0.62, 3.0),
        kaiser!("kaiser-3.5", 0.65, 3.5),
        kaiser!("kaiser-4", 0.68, 4.0),
        cosines!("hft70", 0.722, [1.0, -1.907_96, 1.073_49, -0.181_99]),
        cosines!("hft95", 0.756, [1.0, -1.938_337_9, 1.304_520_2, -0.402_827_0, 0.035_066_5]),
        cosines!("hft90d", 0.76, [1.0, -1.942_604, 1.340_318, -0.440_811, 0.043_097]),
        cosines!(
            "hft116d",
            0.782,
            [1.0, -1.957_537_5, 1.478_070_5, -0.636_743_1, 0.122_838_9, -0.006_628_8]
        ),
        cosines!(
            "hft144d",
            0.799,
            [
                1.0,
                -1.967_600_33,
                1.579_836_07,
                -0.811_236_44,
                0.225_835_58,
                -0.027_738_48,
                0.000_903_60
            ]
        ),
        cosines!(
            "hft169d",
            0.812,
            [
                1.0,
                -1.974_418_42,
                1.654_098_88,
                -0.957_881_86,
                0.336_734_20,
                -0.063_646_21,
                0.005_219_42,
                -0.000_105_99
            ]
        ),
        cosines!(
            "hft196d",
            0.823,
            [
                1.0,
                -1.979_280_420,
                1.710_288_951,
                -1.081_629_853,
                0.448_734_314,
                -0.112_376_628,
                0.015_122_992,
                -0.000_871_252,
                0.000_011_896
            ]
        ),
        cosines!(
            "hft223d",
            0.833,
            [
                1.0,
                -1.982_989_973_09,
                1.755_560_830_63,
                -1.190_377_177_12,
                0.561_554_407_97,
                -0.172_967_696_63,
                0.032_332_470_87,
                -0.003_249_545_78,
                0.000_138_010_40,
                -0.000_001_327_25
            ]
        ),
        cosines!(
            "hft248d",
            0.841,
            [
                1.0,
                -1.985_844_164_102,
                1.791_176_438_506,
                -1.282_075_284_005,
                0.667_777_530_266,
                -0.240_160_796_576,
                0.056_656_381_764,
                -0.008_134_974_479,
                0.000_624_544_650,
                -0.000_019_808_998,
                0.000_000_132_974
            ]
        ),
        cosines!("sft3f", 0.667, [0.265_26, -0.5, 0.234_74]),
        cosines!("sft4f", 0.75, [0.217_06, -0.421_03, 0.282_94, -0.078_97]),
        cosines!("sft5f", 0.785, [0.188_1, -0.369_23, 0.287_02, -0.130_77, 0.024_88]),
        cosines!("sft3m", 0.655, [0.282_35, -0.521_05, 0.196_59]),
        cosines!("sft5m", 0.76, [0.209_671, -0.407_331, 0.281_225, -0.092_669, 0.009_103_6]),
    ];

    /// The window of a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|w| w.name == name)
    }

    /// Samples of the window.
    #[must_use]
    pub fn samples(&self, length: usize) -> Vec<f64> {
        self.curve().samples(length, 0..length)
    }

    /// The window as a sum of Chebyshev polynomials.
    #[must_use]
    pub fn curve(&self) -> Curve {
        match self.shape {
            Shape::Cosines(terms) => Curve { terms: terms.to_vec(), argument: Argument::Cosine },
            Shape::Kaiser(alpha) => {
                // In the square of the distance from the middle, which no power of the argument's series falls behind.
                let peak = bessel_i0(PI * alpha);
                let angle = |n: usize| PI * (n as f64 + 0.5) / KAISER_TERMS as f64;
                let at = |n: usize| bessel_i0(PI * alpha * (angle(n) / 2.0).sin()) / peak;
                let term = |k: usize| {
                    let parts = (0..KAISER_TERMS).map(|n| at(n) * (k as f64 * angle(n)).cos());
                    parts.sum::<f64>() * if k == 0 { 1.0 } else { 2.0 } / KAISER_TERMS as f64
                };
                Curve { terms: (0..KAISER_TERMS).map(term).collect(), argument: Argument::Square }
            }
        }
    }

    /// Equivalent noise bandwidth in bins, N sum w^2/(sum w)^2: for sums of cosines
    /// 1 + sum c_k^2/(2 c_0^2), for the others that of a long window.
    #[must_use]
    pub fn noise_bandwidth_bins(&self) -> f64 {
        match self.shape {
            Shape::Cosines(terms) => {
                let rest: f64 = terms[1..].iter().map(|c| c * c).sum();
                1.0 + rest / (2.0 * terms[0].powi(2))
            }
            Shape::Kaiser(_) => {
                let w = self.samples(1 << 14);
                let (sum, square) = w.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
                w.len() as f64 * square / (sum * sum)
            }
        }
    }

    /// Width, in bins, of frequencies that count as one independent power of white noise: the sum of the
    /// squared correlations of a bin's power with all bins', N sum w^4/(sum w^2)^2.
    #[must_use]
    pub fn independent_bins(samples: &[f64]) -> f64 {
        let [_, square, fourth] = tables::powers(samples);
        samples.len() as f64 * fourth / (square * square)
    }

    /// Half width of the main lobe, bins.
    #[must_use]
    pub fn lobe_bins(&self) -> f64 {
        match self.shape {
            Shape::Cosines(terms) => terms.len() as f64,
            Shape::Kaiser(alpha) => alpha.hypot(1.0),
        }
    }

    /// Correlations of the power of neighbouring segments `hop` apart of a window of these samples:
    /// (sum_n w\[n\] w\[n + m hop\]/sum w^2)^2 for m = 1, 2, ... until they do not overlap
    /// (P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70).
    #[must_use]
    pub fn power_correlations(samples: &[f64], hop: usize) -> Vec<f64> {
        let square = tables::dot(samples, samples);
        (1..)
            .map(|m| m * hop.max(1))
            .take_while(|shift| *shift < samples.len())
            .map(|shift| {
                let product = tables::dot(&samples[..samples.len() - shift], &samples[shift..]);
                (product / square).powi(2)
            })
            .collect()
    }
}

/// Terms of a Kaiser window: from the 24th on below 1e-16 for alpha up to 4.
const KAISER_TERMS: usize = 24;

/// A window as sum_k c_k T_k(v).
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// c_k.
    pub terms: Vec<f64>,
    /// v.
    pub argument: Argument,
}

/// What a window is a curve of, q = n/N.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Argument {
    /// cos(2 pi q).
    Cosine,
    /// 2 (2 q - 1)^2 - 1.
    Square,
}

impl Curve {
    /// Samples of a window of `length` at a range of n.
    #[must_use]
    pub fn samples(&self, length: usize, range: Range<usize>) -> Vec<f64> {
        let mut samples = match self.argument {
            Argument::Cosine => {
                let [cosines, _] = tables::turns(1.0 / length as f64, range);
                cosines
            }
            Argument::Square => {
                let at = |n: usize| n as f64 / length as f64;
                range.map(|n| 8.0 * at(n) * (at(n) - 1.0) + 1.0).collect()
            }
        };
        tables::chebyshev(&mut samples, &self.terms);
        samples
    }
}

/// Modified Bessel function I0 by its power series: all terms positive, so nothing cancels.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}
