//! **Run**: both plans over the same codes, seeded or recorded.

use crate::analysis::density::Detrend;
use crate::analysis::welch::welch;
use crate::analysis::window::Window;
use crate::error::{Error, Result};
use crate::filter::integers::Integers;
use crate::filter::subject::Subject;
use crate::readout::capture::Capture;
use crate::simulation::motion::Motion;
use quietgap_core::carrier::{Carrier, cos_sin};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::TAU;

/// Codes for both plans.
#[derive(Debug)]
pub enum Codes<'a> {
    /// Made: a carrier with a slow tone on it, an actuation tone, white noise.
    Seeded(u64),
    /// Recorded.
    Recorded(&'a Capture),
}

/// Settled outputs of a made run.
const OUTPUTS: u64 = 128;

/// Readings at either end that are not compared where they have to be interpolated.
const EDGE: usize = 8;

/// How the readings differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Readings compared, of all channels.
    pub readings: usize,
    /// Rms and largest difference of phasors, of full scale.
    pub rms: f64,
    /// Largest.
    pub max: f64,
    /// Noise density in the upper half of the pass band, codes/rtHz, old and new; none where the run
    /// is too short.
    pub density: Option<[f64; 2]>,
    /// Whether readings had to be interpolated, as they stand for other instants.
    pub interpolated: bool,
}

/// Settled outputs of one plan: time in samples, then in-phase and quadrature of each channel, codes.
struct Outputs {
    at: Vec<f64>,
    values: Vec<Vec<[f64; 2]>>,
}

/// Runs both plans over the same codes; `pass_hz` bounds the band of the noise.
///
/// # Errors
/// A plan that the core refuses, a failing read, or a capture too short for two readings.
pub fn difference(plans: [&Subject; 2], codes: &Codes<'_>, pass_hz: f64) -> Result<Difference> {
    let [old, new] = plans;
    let [a, b] = match codes {
        Codes::Seeded(seed) => {
            let frames = plans.map(|p| p.span() + OUTPUTS * p.interval()).into_iter().max();
            made(plans, *seed, frames.unwrap_or(0), pass_hz)?
        }
        Codes::Recorded(capture) => recorded(plans, capture)?,
    };
    if a.at.len() < 2 || b.at.len() < 2 {
        let message = format!(
            "the capture leaves {} and {} settled readings, needed 2 or more",
            a.at.len(),
            b.at.len()
        );
        return Err(Error::new(message));
    }
    let same = a.at == b.at;
    let full = 2f64.powi(old.code_bits as i32 - 1);
    let (mut squares, mut max, mut count) = (0.0, 0.0f64, 0);
    for (x, y) in a.values.iter().zip(&b.values) {
        let y = if same { y.clone() } else { at_times(&b.at, y, &a.at)? };
        // Outside the times of the other plan there is nothing to compare with, and near its ends a
        // spline does not know how to go on.
        let edge = EDGE.min(b.at.len() / 4);
        let inside = |t: f64| same || (b.at[edge]..=b.at[b.at.len() - 1 - edge]).contains(&t);
        for ((x, y), t) in x.iter().zip(&y).zip(&a.at) {
            if inside(*t) {
                let apart = (x[0] - y[0]).hypot(x[1] - y[1]) / full;
                squares += apart * apart;
                max = max.max(apart);
                count += 1;
            }
        }
    }
    let density = |o: &Outputs, p: &Subject| density(o, p.output_rate_hz(), pass_hz);
    let density = density(&a, old).zip(density(&b, new)).map(|(a, b)| [a, b]);
    let rms = (squares / f64::from(count.max(1))).sqrt();
    Ok(Difference { readings: count as usize, rms, max, density, interpolated: !same })
}

fn made(plans: [&Subject; 2], seed: u64, frames: u64, pass_hz: f64) -> Result<[Outputs; 2]> {
    let old = plans[0];
    let full = 2f64.powi(old.code_bits as i32 - 1);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut carrier = Carrier::new(old.carrier);
    let mut sample = 0u64;
    let mut runs = [Run::new(plans[0], 1)?, Run::new(plans[1], 1)?];
    let mut block = Vec::with_capacity(1 << 14);
    while sample < frames {
        block.clear();
        for _ in 0..(frames - sample).min(1 << 14) {
            let t = sample as f64 / old.rate_hz;
            let (cosine, _) = cos_sin(carrier.phase());
            let amplitude = 0.3 * (1.0 + 0.5 * (TAU * 0.37 * pass_hz * t).sin());
            // An actuation tone far below the carrier.
            let actuation = 0.03 * (TAU * 0.011 * old.carrier_hz * t).cos();
            let noise: f64 = StandardNormal.sample(&mut random);
            let signal = amplitude * (cosine as f64 * 2f64.powi(-62)) + actuation;
            block.push((full * (signal + 1e-5 * noise)).round() as i32);
            carrier.advance(1);
            sample += 1;
        }
        runs.iter_mut().for_each(|run| run.push(&block));
    }
    Ok(runs.map(|run| run.outputs))
}

fn recorded(plans: [&Subject; 2], capture: &Capture) -> Result<[Outputs; 2]> {
    let channels = capture.layout.channels;
    let mut runs = [Run::new(plans[0], channels)?, Run::new(plans[1], channels)?];
    capture.read(0, u64::MAX, |codes| runs.iter_mut().for_each(|run| run.push(codes)))?;
    Ok(runs.map(|run| run.outputs))
}

/// One plan at work.
struct Run {
    chain: Integers,
    interval: u64,
    span: u64,
    delay: f64,
    /// Outputs so far.
    count: u64,
    outputs: Outputs,
}

impl Run {
    fn new(subject: &Subject, channels: usize) -> Result<Self> {
        let refused = |e| Error::new(format!("{}: the core refuses this plan: {e}", subject.name));
        let chain = Integers::new(subject, channels).map_err(refused)?;
        let outputs = Outputs { at: Vec::new(), values: vec![Vec::new(); channels] };
        let (interval, span, delay) = (subject.interval(), subject.span(), subject.delay_samples());
        Ok(Self { chain, interval, span, delay, count: 0, outputs })
    }

    fn push(&mut self, codes: &[i32]) {
        let mut found = Vec::new();
        self.chain.push(codes, |phasors, _| found.push(phasors.to_vec()));
        for phasors in found {
            self.count += 1;
            let end = self.count * self.interval;
            if end < self.span {
                continue;
            }
            self.outputs.at.push((end - 1) as f64 - self.delay);
            for (values, phasor) in self.outputs.values.iter_mut().zip(&phasors) {
                values.push(self.chain.codes(phasor));
            }
        }
    }
}

/// Values at other times, by natural cubic splines.
fn at_times(at: &[f64], values: &[[f64; 2]], times: &[f64]) -> Result<Vec<[f64; 2]>> {
    let part = |k: usize| Some(values.iter().map(|v| v[k]).collect());
    let spline = Motion::new(at.to_vec(), [part(0), part(1), None, None, None, None])?;
    Ok(times.iter().map(|t| spline.at(*t)).map(|v| [v[0], v[1]]).collect())
}

/// Amplitude density of the in-phase readings over the upper half of the pass band, all channels.
fn density(outputs: &Outputs, rate_hz: f64, pass_hz: f64) -> Option<f64> {
    let length = (outputs.at.len() / 3).next_power_of_two().max(32);
    let one = |values: &Vec<[f64; 2]>| {
        let series: Vec<f64> = values.iter().map(|v| v[0]).collect();
        let density = welch(&series, rate_hz, length, Window::BLACKMAN_HARRIS, Detrend::Line)?;
        density.mean_amplitude(0.6 * pass_hz, pass_hz)
    };
    let all: Option<Vec<f64>> = outputs.values.iter().map(one).collect();
    let all = all?;
    Some((all.iter().map(|d| d * d).sum::<f64>() / all.len() as f64).sqrt())
}
