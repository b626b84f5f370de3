//! **Response** of a plan's filters, evaluated directly from its integers.
//!
//! A frequency is a whole multiple of the output rate and an offset in hertz. Whole turns of a tap's
//! angle are taken off as integers, so that what is left is small and its rounding far below a tap's
//! weight: a stop band of -200 dB is the filter's own, not the evaluation's.
//!
//! The CIC's response is (sin(pi R M f)/(R M sin(pi f)))^N (Hogenauer 1981, equation 8, recalled).

mod taps;

use crate::instrument::file::PlanFile;
use std::f64::consts::PI;

pub use taps::Taps;

/// Response of a whole plan.
#[derive(Debug, Clone)]
pub struct Response {
    rate_hz: f64,
    order: i32,
    /// R M.
    width: i64,
    /// Samples from one output to the next.
    interval: i64,
    stages: Vec<Stage>,
}

#[derive(Debug, Clone)]
struct Stage {
    taps: Taps,
    /// Inputs of this stage from one output of the plan to the next.
    inputs: i64,
}

impl Response {
    /// Of a plan at a sample rate.
    #[must_use]
    pub fn new(plan: &PlanFile, rate_hz: f64) -> Self {
        let stages = plan.firs.iter().map(|f| (Taps::of(f), i64::from(f.ratio))).collect();
        Self::of(plan.order, plan.ratio, plan.differential_delay, stages, rate_hz)
    }

    /// Of a CIC and stages of taps and ratio.
    #[must_use]
    pub fn of(order: u8, ratio: u16, delay: u8, stages: Vec<(Taps, i64)>, rate_hz: f64) -> Self {
        let mut inputs: i64 = stages.iter().map(|(_, ratio)| ratio).product();
        let interval = inputs * i64::from(ratio);
        let stages = stages
            .into_iter()
            .map(|(taps, ratio)| {
                let stage = Stage { taps, inputs };
                inputs /= ratio;
                stage
            })
            .collect();
        let width = i64::from(ratio) * i64::from(delay);
        Self { rate_hz, order: order.into(), width, interval, stages }
    }

    /// Samples from one output to the next.
    #[must_use]
    pub fn interval(&self) -> i64 {
        self.interval
    }

    /// Rate of the converter.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Rate of readings.
    #[must_use]
    pub fn output_rate_hz(&self) -> f64 {
        self.rate_hz / self.interval as f64
    }

    /// Outputs of the CIC from one of the plan to the next: FIR stages repeat with so many output
    /// rates.
    #[must_use]
    pub fn period(&self) -> i64 {
        self.stages.first().map_or(1, |s| s.inputs)
    }

    /// Number of stages, the CIC among them.
    #[must_use]
    pub fn stages(&self) -> usize {
        1 + self.stages.len()
    }

    /// Gain of stage `n` (0 the CIC) at `multiple` output rates and `offset_hz`.
    #[must_use]
    pub fn stage_gain(&self, n: usize, multiple: i64, offset_hz: f64) -> f64 {
        let Some(stage) = n.checked_sub(1).and_then(|n| self.stages.get(n)) else {
            return self.cic(multiple, offset_hz);
        };
        let rest = offset_hz / (self.output_rate_hz() * stage.inputs as f64);
        stage.taps.gain(multiple, stage.inputs, rest)
    }

    /// Gain of all stages. Signed where all taps are symmetric.
    #[must_use]
    pub fn gain(&self, multiple: i64, offset_hz: f64) -> f64 {
        (0..self.stages()).map(|n| self.stage_gain(n, multiple, offset_hz)).product()
    }

    /// Magnitudes of [`Self::gain`] at all `multiples` and one offset for a first look, see
    /// [`Taps::coarse_gains`]. A stage repeats with as many output rates as it has inputs an output: the later
    /// ones are worked out once for all.
    #[must_use]
    pub fn coarse_gains(&self, multiples: &[i64], offset_hz: f64) -> Vec<f64> {
        let gains = |stage: &Stage, multiples: &[i64]| {
            let rest = offset_hz / (self.output_rate_hz() * stage.inputs as f64);
            stage.taps.coarse_gains(multiples, stage.inputs, rest)
        };
        let all_of = |stage: &Stage| gains(stage, &(0..stage.inputs).collect::<Vec<_>>());
        let later: Vec<Vec<f64>> = self.stages.iter().skip(1).map(all_of).collect();
        let first = self.stages.first().map(|stage| gains(stage, multiples));
        let all = |(n, k): (usize, &i64)| {
            let first = first.as_ref().map_or(1.0, |gains| gains[n]);
            let later = later.iter().map(|table| table[k.rem_euclid(table.len() as i64) as usize]);
            self.cic(*k, offset_hz).abs() * first * later.product::<f64>()
        };
        multiples.iter().enumerate().map(all).collect()
    }

    /// What of a multiple the gain of each stage repeats with, and of all behind it, the last stage first; multiples in this
    /// order have the fewest gains worked out anew by [`AtEach::around`].
    #[must_use]
    pub fn shared(&self, multiple: i64) -> Vec<i64> {
        self.stages.iter().rev().map(|stage| multiple.rem_euclid(stage.inputs)).collect()
    }

    /// Magnitudes of [`Self::gain`] at each of some offsets, around one multiple after another.
    #[must_use]
    pub fn at_each<'a>(&'a self, offsets_hz: &'a [f64]) -> AtEach<'a> {
        AtEach { response: self, offsets_hz, held: vec![(-1, Vec::new()); self.stages()] }
    }

    /// Group delay at an offset from the carrier, s: the centre of the response where all taps are
    /// symmetric, else it varies.
    #[must_use]
    pub fn delay_s(&self, offset_hz: f64) -> f64 {
        let cic = f64::from(self.order) * (self.width - 1) as f64 / 2.0 / self.rate_hz;
        let stages = self.stages.iter().map(|stage| {
            let rate_hz = self.output_rate_hz() * stage.inputs as f64;
            stage.taps.delay_at(offset_hz / rate_hz) / rate_hz
        });
        cic + stages.sum::<f64>()
    }

    /// Gain at any frequency.
    #[must_use]
    pub fn gain_at(&self, frequency_hz: f64) -> f64 {
        let (multiple, offset_hz) = self.split(frequency_hz);
        self.gain(multiple, offset_hz)
    }

    /// A frequency as the nearest multiple of the output rate and what is left.
    #[must_use]
    pub fn split(&self, frequency_hz: f64) -> (i64, f64) {
        let output = self.output_rate_hz();
        let multiple = (frequency_hz / output).round();
        (multiple as i64, frequency_hz - multiple * output)
    }

    fn cic(&self, multiple: i64, offset_hz: f64) -> f64 {
        let sine = |times: i64| {
            let whole = (multiple * times).rem_euclid(2 * self.interval) as f64;
            (PI * (whole / self.interval as f64 + times as f64 * offset_hz / self.rate_hz)).sin()
        };
        let below = self.width as f64 * sine(1);
        if below == 0.0 { 1.0 } else { (sine(self.width) / below).powi(self.order) }
    }
}

/// Magnitudes of gains around multiples of the output rate, see [`Response::at_each`].
#[derive(Debug)]
pub struct AtEach<'a> {
    response: &'a Response,
    offsets_hz: &'a [f64],
    /// What the last stages give together, 1, 2, ... of them and at last all with the CIC: what of the multiple this repeats
    /// with ([`Response::shared`]; the CIC with all of it), and the gains.
    held: Vec<(i64, Vec<f64>)>,
}

impl AtEach<'_> {
    /// Magnitudes at the offsets from a multiple of 0 or more. A stage's repeat with as many output rates as it has inputs
    /// an output, and are worked out when that part of the multiple is another one than before.
    pub fn around(&mut self, multiple: i64) -> &[f64] {
        let Self { response, offsets_hz, held } = self;
        let last = response.stages.len();
        for (n, part) in response.shared(multiple).into_iter().chain([multiple]).enumerate() {
            // Periods divide each other: where a later stage's part is another one, so is an earlier one's.
            if held[n].0 == part {
                continue;
            }
            let (later, own) = held.split_at_mut(n);
            let gains = offsets_hz.iter().enumerate().map(|(k, offset_hz)| {
                let later = later.last().map_or(1.0, |(_, gains)| gains[k]);
                later * response.stage_gain(last - n, multiple, *offset_hz).abs()
            });
            own[0] = (part, gains.collect());
        }
        &held[last].1
    }
}

/// Decibels of a gain.
#[must_use]
pub fn db(gain: f64) -> f64 {
    20.0 * gain.abs().log10()
}

/// Gain of decibels.
#[must_use]
pub fn from_db(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}
