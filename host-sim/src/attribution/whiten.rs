//! **Whitening** of what wanders: noise whose density rises as 1/f^2 in power below a corner is made near enough white, so that
//! no coefficient leaks from the lowest frequencies into its neighbours. The reading and all it is compared with go through the
//! same filter, which changes no coefficient between them.

use crate::analysis::tapers::Cell;
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// (1 - z)/(1 - theta z), z a delay of one row: nothing for a corner of zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Whitening {
    /// Corner.
    pub corner_hz: f64,
    theta: f64,
    rate_hz: f64,
}

/// Corners a decade that are tried.
const PER_DECADE: i32 = 8;

impl Whitening {
    /// For a corner.
    #[must_use]
    pub fn new(corner_hz: f64, rate_hz: f64) -> Self {
        Self { corner_hz, theta: (-TAU * corner_hz / rate_hz).exp(), rate_hz }
    }

    /// Whose corner fits the density of cells best that went through another (Whittle's likelihood of
    /// a (1 + (corner/f)^2)).
    #[must_use]
    pub fn of(frequencies: &[f64], cells: &[Cell], before: Self) -> Self {
        let powers: Vec<(f64, f64)> = frequencies
            .iter()
            .zip(cells)
            .map(|(f, cell)| {
                let power = cell.iter().map(|z| z.norm_sqr()).sum::<f64>();
                (*f, power / before.gain(*f))
            })
            .collect();
        let (Some(lowest), rate) = (frequencies.first(), before.rate_hz) else { return before };
        let cost = |corner: f64| {
            let model = |f: f64| 1.0 + (corner / f).powi(2);
            let n = powers.len() as f64;
            let mean = powers.iter().map(|(f, p)| p / model(*f)).sum::<f64>() / n;
            mean.ln() + powers.iter().map(|(f, _)| model(*f).ln()).sum::<f64>() / n
        };
        let start = lowest / 2.0;
        let count = ((rate / start).log10() * f64::from(PER_DECADE)) as i32;
        let corners = (0..=count).map(|n| start * 10f64.powf(f64::from(n) / f64::from(PER_DECADE)));
        let (_, corner) = corners
            .map(|corner| (cost(corner), corner))
            .fold((cost(0.0), 0.0), |best, one| if one.0 < best.0 { one } else { best });
        Self::new(corner, rate)
    }

    /// Values of runs, filtered each by itself.
    #[must_use]
    pub fn apply(&self, values: &[f64], runs: &[Range<usize>]) -> Vec<f64> {
        let mut out = values.to_vec();
        if self.corner_hz == 0.0 {
            return out;
        }
        for run in runs {
            let (mut before, mut state) = (values[run.start], 0.0);
            for x in &mut out[run.clone()] {
                state = *x - before + self.theta * state;
                before = *x;
                *x = state;
            }
        }
        out
    }

    /// Power gain at a frequency.
    #[must_use]
    pub fn gain(&self, frequency_hz: f64) -> f64 {
        if self.corner_hz == 0.0 {
            return 1.0;
        }
        let z = Complex64::new(0.0, -TAU * frequency_hz / self.rate_hz).exp();
        (1.0 - z).norm_sqr() / (1.0 - self.theta * z).norm_sqr()
    }
}
