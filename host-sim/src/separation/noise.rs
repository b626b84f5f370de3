//! **Noise of each sensor**. With the motion s common and noises n that know nothing of each other nor of it, the
//! aligned x1 = s + n1 and x2 = s + n2 leave d = x1 - x2, free of s however large it is: S_n2 is minus the real
//! part of the cross density of x2 and d, and S_n1 that of x1 and d. Two sensors tell so much only by that
//! assumption; of three, two differences share but one noise, and no motion is needed (the cross density of x1 - x2
//! and x1 - x3 is S_n1; J. E. Gray, D. W. Allan, Proc. 28th Frequency Control Symposium (1974) 243, from memory).

use super::align::Aligned;
use crate::analysis::density::{Bin, Cross, Density, Detrend};
use crate::analysis::log_spaced::{Pitch, Weighing, Wish, cross, pitches};
use crate::analysis::series::Series;
use crate::analysis::window::Window;

/// A power density and its standard uncertainty, at every frequency.
#[derive(Debug, Clone)]
pub struct Noise {
    /// unit^2/Hz; chance may make it negative where the other sensor's is far above.
    pub power: Vec<f64>,
    /// Standard uncertainty.
    pub uncertainty: Vec<f64>,
}

/// Both sensors' noises.
#[derive(Debug, Clone)]
pub struct Split {
    /// Frequencies and averages.
    pub bins: Vec<Bin>,
    /// Of each sensor, in the first's scale.
    pub noises: Vec<Noise>,
    /// Of the motion with the first sensor's noise, and of the motion with the second's.
    pub whole: [Density; 2],
    /// Coherence of the two.
    pub coherence: Vec<f64>,
}

/// A mean over a band.
#[derive(Debug, Clone)]
pub struct Band {
    /// From and to.
    pub hz: [f64; 2],
    /// Power of each sensor's noise, and its standard uncertainty.
    pub noises: Vec<[f64; 2]>,
}

const AVERAGES: usize = 60;

fn weighing() -> Weighing {
    // A line a million times above the noise stays within a few bins.
    let window = Window::BLACKMAN_HARRIS;
    Weighing { window, overlap: window.overlap, detrend: Detrend::Line }
}

/// Frequencies for records as long as these; `None` where they are too short.
#[must_use]
pub fn frequencies(longest: usize, rate_hz: f64, to_hz: f64) -> Option<Vec<Pitch>> {
    let window = weighing().window;
    let lobe = window.lobe_bins();
    let from_hz = lobe * rate_hz / longest.max(1) as f64;
    let overlap = window.overlap;
    let wish = Wish { from_hz, to_hz, count: 200, averages: AVERAGES, overlap, lobe };
    (4.0 * from_hz < to_hz).then(|| pitches(longest, rate_hz, &wish))
}

/// Splits two aligned sensors. `None` where no run holds a segment.
#[must_use]
pub fn of_two(pair: &Aligned, pitches: &[Pitch]) -> Option<Split> {
    let difference: Vec<f64> = pair.first.iter().zip(&pair.second).map(|(x, y)| x - y).collect();
    let series = |values| Series { values, runs: pair.runs.clone(), rate_hz: pair.rate_hz };
    let with = |values| cross(&series(values), &series(&difference), pitches, weighing());
    let (one, two) = (with(&pair.first)?, with(&pair.second)?);
    let both = cross(&series(&pair.first), &series(&pair.second), pitches, weighing())?;
    Some(Split {
        noises: vec![real(&one, 1.0), real(&two, -1.0)],
        coherence: both.coherence(),
        bins: both.x.bins.clone(),
        whole: [both.x, both.y],
    })
}

/// Splits three sensors: two pairs that share the first. `None` where they share no rows.
#[must_use]
pub fn of_three(pairs: [&Aligned; 2], pitches: &[Pitch]) -> Option<Split> {
    let runs = common(&pairs[0].runs, &pairs[1].runs);
    let rate_hz = pairs[0].rate_hz;
    let differences = pairs.map(|pair| -> Vec<f64> {
        pair.first.iter().zip(&pair.second).map(|(x, y)| x - y).collect()
    });
    let series = |values| Series { values, runs: runs.clone(), rate_hz };
    let apart = cross(&series(&differences[0]), &series(&differences[1]), pitches, weighing())?;
    let both = cross(&series(&pairs[0].first), &series(&pairs[0].second), pitches, weighing())?;
    let first = real(&apart, 1.0);
    let rest = |of: &Density| -> Noise {
        let own = of.bins.iter().zip(&of.power).map(|(bin, p)| p * (2.0 / bin.degrees).sqrt());
        Noise {
            power: of.power.iter().zip(&first.power).map(|(d, n)| d - n).collect(),
            uncertainty: own.zip(&first.uncertainty).map(|(a, b)| a.hypot(*b)).collect(),
        }
    };
    let noises = vec![first.clone(), rest(&apart.x), rest(&apart.y)];
    Some(Split {
        noises,
        coherence: both.coherence(),
        bins: both.x.bins.clone(),
        whole: [both.x, both.y],
    })
}

/// Real part of a cross density: of K averages its variance is (S_xx S_yy + C^2 - Q^2)/(2 K).
fn real(cross: &Cross, sign: f64) -> Noise {
    let powers = cross.x.power.iter().zip(&cross.y.power).zip(cross.averages());
    let uncertainty =
        cross.cross.iter().zip(powers).map(|(z, ((x, y), k))| {
            ((x * y + z.re * z.re - z.im * z.im).max(0.0) / (2.0 * k)).sqrt()
        });
    Noise {
        uncertainty: uncertainty.collect(),
        power: cross.cross.iter().map(|z| sign * z.re).collect(),
    }
}

/// Rows that two lists of runs share.
fn common(
    a: &[std::ops::Range<usize>],
    b: &[std::ops::Range<usize>],
) -> Vec<std::ops::Range<usize>> {
    let (mut out, mut i, mut j) = (Vec::new(), 0, 0);
    while i < a.len() && j < b.len() {
        let both = a[i].start.max(b[j].start)..a[i].end.min(b[j].end);
        if !both.is_empty() {
            out.push(both);
        }
        if a[i].end < b[j].end { i += 1 } else { j += 1 }
    }
    out
}

impl Split {
    /// Means over half decades: each frequency weighs as it is sure.
    #[must_use]
    pub fn bands(&self) -> Vec<Band> {
        let (Some(first), Some(last)) = (self.bins.first(), self.bins.last()) else {
            return Vec::new();
        };
        let step = 10f64.sqrt();
        let mut from = 10f64.powf((2.0 * first.frequency_hz.log10()).floor() / 2.0);
        let mut bands = Vec::new();
        while from < last.frequency_hz {
            bands.extend(self.band(from, from * step));
            from *= step;
        }
        bands
    }

    /// Mean over the frequencies of a band; `None` without one.
    #[must_use]
    pub fn band(&self, from_hz: f64, to_hz: f64) -> Option<Band> {
        let inside: Vec<usize> = (0..self.bins.len())
            .filter(|n| (from_hz..to_hz).contains(&self.bins[*n].frequency_hz))
            .collect();
        // Neighbours that share a lobe are not two.
        let apart = |n: usize| {
            let next = self.bins.get(n + 1).or(self.bins.get(n.wrapping_sub(1)));
            let step = next.map_or(1.0, |b| (b.frequency_hz - self.bins[n].frequency_hz).abs());
            (self.bins[n].independent_hz / step).max(1.0)
        };
        let mean = |noise: &Noise| {
            // Weights by averages: by the uncertainties themselves they would follow chance.
            let weights: Vec<f64> = inside.iter().map(|n| self.bins[*n].degrees).collect();
            let total: f64 = weights.iter().sum();
            let value =
                inside.iter().zip(&weights).map(|(n, w)| w * noise.power[*n]).sum::<f64>() / total;
            let variance: f64 = inside
                .iter()
                .zip(&weights)
                .map(|(n, w)| (w * noise.uncertainty[*n]).powi(2) * apart(*n))
                .sum();
            [value, variance.sqrt() / total]
        };
        (!inside.is_empty())
            .then(|| Band { hz: [from_hz, to_hz], noises: self.noises.iter().map(mean).collect() })
    }
}
