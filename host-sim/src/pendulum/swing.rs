//! **Free swing** fitted from a record: period, quality factor, amplitude and phase, with uncertainties.
//!
//! The equation of motion is multiplied by test functions and integrated by parts, so that the noise of the
//! reading is never differentiated: with phi = Hann window times e^(-i omega t), which vanishes with its slope
//! at both ends,
//!
//! integral of (phi'' - b' phi' + k' phi) x = integral of phi T/I,
//!
//! linear in b' = b/I and k' = kappa/I. The torque noise on the right is near enough white around the
//! resonance, and that of neighbouring bins is correlated as the window says; the residuals tell its level.
//! Modulating functions: M. Shinbrot, Trans. ASME 79 (1957) 1197, from memory.

use crate::analysis::series::Series;
use crate::analysis::transform;
use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// A value and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub uncertainty: f64,
}

/// What a record tells of its free swing.
#[derive(Debug, Clone, PartialEq)]
pub struct Swing {
    /// Undamped resonance squared, kappa/I, 1/s^2.
    pub stiffness: Measured,
    /// Damping over inertia, 1/s.
    pub damping: Measured,
    /// Period of the damped swing.
    pub period_s: Measured,
    /// Quality factor.
    pub quality: Measured,
    /// Amplitude at the first row, in the column's unit.
    pub amplitude: Measured,
    /// Phase at the first row: amplitude cos(phase).
    pub phase_rad: Measured,
    /// Standard deviation of torque over inertia around the resonance, as a one-sided amplitude density.
    pub drive_density: f64,
    /// Complex equations fitted.
    pub equations: usize,
}

/// Fits the swing of the longest run of a series, looked for around `period_s`. `None` where fewer than six
/// periods are without a gap, or nothing swings.
#[must_use]
pub fn fit(series: &Series<'_>, period_s: f64) -> Option<Swing> {
    let run = series.runs.iter().max_by_key(|run| run.len())?.clone();
    let x = &series.values[run];
    let rate = series.rate_hz;
    let periods = x.len() as f64 / rate / period_s;
    if periods < 6.0 {
        return None;
    }
    let span_s = x.len() as f64 / rate;
    // Bins of 1/span around the resonance: within 0.4 of it, and as many as 200 to each side.
    let centre = span_s / period_s;
    let reach = (0.4 * centre).min(200.0);
    let last = x.len() / 2 - 1;
    let bins: Vec<usize> =
        ((centre - reach).max(2.0) as usize..=((centre + reach) as usize).min(last)).collect();
    if bins.len() < 4 {
        return None;
    }
    let moments = tested(x, rate, &bins);
    let omega = TAU / period_s;
    let (kept, equations) = told(&moments, omega)?;
    let n = kept.len();
    let [b, k] = equations.numbers();
    let Equations { covariance, variance, scale, .. } = equations;
    let sigma_b = covariance[(0, 0)].sqrt() * scale[0];
    let sigma_k = covariance[(1, 1)].sqrt() * scale[1];
    if k <= 0.0 || sigma_k.is_nan() || sigma_k / k >= 0.1 {
        return None;
    }
    let resonance = k.sqrt();
    // omega_d^2 = k - b^2/4; uncertainty by k alone, as b enters in second order.
    let swinging = (k - b * b / 4.0).max(0.0).sqrt();
    let period =
        Measured { value: TAU / swinging, uncertainty: TAU / swinging * sigma_k / (2.0 * k) };
    let quality = resonance / b;
    // The sum of squares of a Hann window of n is 3 n/8; each part of a bin's noise has half the power.
    let drive = (variance * 2.0 / (0.375 * x.len() as f64) * 2.0 / rate).sqrt();
    let sure = swinging * sigma_k / (2.0 * k);
    let [amplitude, phase] = start(x, rate, [swinging, sure], [b, sigma_b], drive);
    Some(Swing {
        stiffness: Measured { value: k, uncertainty: sigma_k },
        damping: Measured { value: b, uncertainty: sigma_b },
        period_s: period,
        quality: Measured { value: quality, uncertainty: (quality * sigma_b / b).abs() },
        amplitude,
        phase_rad: phase,
        drive_density: drive,
        equations: n,
    })
}

/// Times the median of its size that a bin may miss by: of noise one in 1e7 does, as its power is an exponential variate.
const BEYOND: f64 = 4.8;
/// Bins to each side of a line that a Hann window shows it in.
const WIDE: usize = 2;
/// Rounds of leaving lines out.
const TRIMS: usize = 12;

/// The linear equations of some bins, solved.
struct Equations {
    /// Damping and stiffness, over their scales.
    solved: DVector<f64>,
    covariance: DMatrix<f64>,
    /// Of one real equation.
    variance: f64,
    scale: [f64; 2],
}

impl Equations {
    fn solve(moments: &[[Complex64; 3]], kept: &[usize], omega: f64) -> Option<Self> {
        // Correlation of bins j apart of a Hann window: 1, -2/3, 1/6.
        let n = kept.len();
        let gram = DMatrix::from_fn(n, n, |i, j| match kept[i].abs_diff(kept[j]) {
            0 => 1.0,
            1 => -2.0 / 3.0,
            2 => 1.0 / 6.0,
            _ => 0.0,
        });
        let factor = gram.cholesky()?;
        let whitened = |part: &dyn Fn(&[Complex64; 3]) -> f64| -> Option<DVector<f64>> {
            let mut v = DVector::from_iterator(n, kept.iter().map(|bin| part(&moments[*bin])));
            factor.l_dirty().solve_lower_triangular_mut(&mut v).then_some(v)
        };
        // Real and imaginary parts are equations of their own: second + b' first + k' plain = noise.
        let mut rows = DMatrix::zeros(2 * n, 2);
        let mut right = DVector::zeros(2 * n);
        let parts: [fn(&Complex64) -> f64; 2] = [|z| z.re, |z| z.im];
        for (half, part) in parts.into_iter().enumerate() {
            let [second, first, plain] =
                [0, 1, 2].map(|m| whitened(&|z: &[Complex64; 3]| part(&z[m])));
            let (second, first, plain) = (second?, first?, plain?);
            for k in 0..n {
                rows[(half * n + k, 0)] = first[k];
                rows[(half * n + k, 1)] = plain[k];
                right[half * n + k] = -second[k];
            }
        }
        // Columns of unlike size: scaled by what the resonance makes of them.
        let scale = [omega, omega * omega];
        rows.column_mut(0).scale_mut(scale[0]);
        rows.column_mut(1).scale_mut(scale[1]);
        let normal = (rows.transpose() * &rows).try_inverse()?;
        let solved = &normal * rows.transpose() * &right;
        let residual = &right - &rows * &solved;
        let variance = residual.norm_squared() / (2 * n - 2) as f64;
        Some(Self { solved, covariance: normal * variance, variance, scale })
    }

    /// Damping and stiffness, over inertia.
    fn numbers(&self) -> [f64; 2] {
        [0, 1].map(|n| self.solved[n] * self.scale[n])
    }
}

/// What each bin misses its equation by.
fn misses(moments: &[[Complex64; 3]], kept: &[usize], [b, k]: [f64; 2]) -> Vec<f64> {
    let miss = |bin: &usize| {
        let [second, first, plain] = moments[*bin];
        (second + first * b + plain * k).norm()
    };
    kept.iter().map(miss).collect()
}

/// Stiffnesses that are tried, over the one expected: to a quarter off, finer than a swing of a thousand periods is wide.
const TRIED: [f64; 2] = [0.75, 1.25];
const TRIES: usize = 4000;

/// Relative uncertainty of a stiffness at which a record shows a resonance where one is expected.
const SHOWN: f64 = 0.05;

/// Bins that tell the swing, and their equations. A line that drives the mass is no noise: bins that it is seen in are left out,
/// and those beside them. Least squares over all bins begin where they find a resonance near the one expected; elsewhere they
/// may have found a line, and count only where none is seen at its place.
fn told(moments: &[[Complex64; 3]], omega: f64) -> Option<(Vec<usize>, Equations)> {
    let all: Vec<usize> = (0..moments.len()).collect();
    let plain = Equations::solve(moments, &all, omega)?;
    let numbers = plain.numbers();
    let near = (TRIED[0]..=TRIED[1]).contains(&(numbers[1] / (omega * omega)));
    let tried = tried(moments, omega);
    let cost = |numbers| cost(moments, numbers);
    let start = if near && cost(numbers) <= cost(tried) { numbers } else { tried };
    let found = without_lines(moments, start, omega);
    let shown = |(_, e): &(Vec<usize>, Equations)| {
        let sigma = e.covariance[(1, 1)].sqrt() * e.scale[1];
        sigma < SHOWN * e.numbers()[1]
    };
    if near { found } else { found.filter(shown).or(Some((all, plain))) }
}

/// Leaves bins out that miss by more than noise does, in rounds.
fn without_lines(
    moments: &[[Complex64; 3]],
    start: [f64; 2],
    omega: f64,
) -> Option<(Vec<usize>, Equations)> {
    let count = moments.len();
    let mut kept: Vec<usize> = (0..count).collect();
    let (mut numbers, mut equations) = (start, Equations::solve(moments, &kept, omega)?);
    for _ in 0..TRIMS {
        let misses = misses(moments, &kept, numbers);
        let mut sorted = misses.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        let most = BEYOND * sorted[sorted.len() / 2];
        let driven: Vec<usize> =
            kept.iter().zip(&misses).filter(|(_, miss)| **miss > most).map(|(n, _)| *n).collect();
        let clear = |n: &usize| driven.iter().all(|line| line.abs_diff(*n) > WIDE);
        let next: Vec<usize> = kept.iter().copied().filter(clear).collect();
        if driven.is_empty() || next.len() < 4 || 2 * next.len() < count {
            break;
        }
        let Some(better) = Equations::solve(moments, &next, omega) else { break };
        (kept, equations) = (next, better);
        numbers = equations.numbers();
    }
    Some((kept, equations))
}

/// Sum of the misses' logarithms: a line, however strong, is but a few of them, and the swing's own bins miss little under its
/// own stiffness.
fn cost(moments: &[[Complex64; 3]], numbers: [f64; 2]) -> f64 {
    let all: Vec<usize> = (0..moments.len()).collect();
    misses(moments, &all, numbers).iter().map(|miss| miss.max(f64::MIN_POSITIVE).ln()).sum()
}

/// Of stiffnesses around the one expected, without damping, that of the least cost.
fn tried(moments: &[[Complex64; 3]], omega: f64) -> [f64; 2] {
    let numbers = (0..=TRIES).map(|n| {
        let share = TRIED[0] + (TRIED[1] - TRIED[0]) * n as f64 / TRIES as f64;
        [0.0, share * omega * omega]
    });
    numbers
        .map(|numbers| (cost(moments, numbers), numbers))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or([0.0, omega * omega], |(_, numbers)| numbers)
}

/// Sums of phi'' x, -phi' x and phi x for every bin, phi the Hann window times e^(-i 2 pi k t/span): with
/// w = (1 - cos(2 pi t/span))/2 all are sums of the bins k - 1, k and k + 1 of one transform, differentiated
/// one by one. The mean is taken off first: phi tests it at its side lobes only.
fn tested(x: &[f64], rate: f64, bins: &[usize]) -> Vec<[Complex64; 3]> {
    let n = x.len();
    let mean = x.iter().sum::<f64>() / n as f64;
    let mut values: Vec<f64> = x.iter().map(|x| x - mean).collect();
    let fft = transform::forward(n);
    let mut spectrum = fft.make_output_vec();
    fft.process(&mut values, &mut spectrum).expect("lengths come from the planner");
    let one = |k: &usize| {
        let mut out = [Complex64::default(); 3];
        for (bin, weight) in [(*k, 0.5), (k + 1, -0.25), (k - 1, -0.25)] {
            let turning = Complex64::new(0.0, -TAU * bin as f64 * rate / n as f64);
            let sum = spectrum[bin] * weight;
            out[0] += turning * turning * sum;
            out[1] -= turning * sum;
            out[2] += sum;
        }
        out
    };
    bins.iter().map(one).collect()
}

/// Periods at the start that the amplitude is fitted over.
const START_PERIODS: f64 = 4.0;

/// Amplitude and phase at the first row: least squares over the first periods, with an offset and a slope.
/// The drive turns the phasor at random meanwhile, which the uncertainty allows for: a third of what it does
/// over the stretch.
fn start(
    x: &[f64],
    rate: f64,
    [omega, omega_sigma]: [f64; 2],
    [damping, damping_sigma]: [f64; 2],
    drive: f64,
) -> [Measured; 2] {
    let count = ((START_PERIODS * TAU / omega * rate) as usize).min(x.len());
    let row = |m: usize| {
        let t = m as f64 / rate;
        let decay = (-damping * t / 2.0).exp();
        let (sine, cosine) = (omega * t).sin_cos();
        [decay * cosine, -decay * sine, 1.0, t * rate / count as f64 - 0.5]
    };
    let rows = DMatrix::from_fn(count, 4, |m, j| row(m)[j]);
    let right = DVector::from_iterator(count, x[..count].iter().copied());
    let normal = (rows.transpose() * &rows).try_inverse();
    let Some(normal) = normal else {
        return [Measured { value: f64::NAN, uncertainty: f64::NAN }; 2];
    };
    let solved = &normal * rows.transpose() * &right;
    let variance = (&right - &rows * &solved).norm_squared() / (count - 4) as f64;
    let (c, s) = (solved[0], solved[1]);
    let amplitude = c.hypot(s);
    // A white drive of one-sided density D makes each part of the phasor wander by D^2/(4 omega^2) a second.
    let wander = drive * drive / (4.0 * omega * omega) * (count as f64 / rate) / 3.0;
    let noise = variance * normal[(0, 0)].max(normal[(1, 1)]);
    // Damping in error, by what it takes to the stretch's middle.
    let decayed = amplitude * damping_sigma / 2.0 * count as f64 / rate / 2.0;
    let sigma = (noise + wander + decayed * decayed).sqrt();
    // A frequency in error turns the phase by what it gains to the stretch's middle.
    let turned = omega_sigma * count as f64 / rate / 2.0;
    [
        Measured { value: amplitude, uncertainty: sigma },
        Measured { value: s.atan2(c), uncertainty: (sigma / amplitude).hypot(turned) },
    ]
}
