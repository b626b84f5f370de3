//! **Response** of a plan's filters, evaluated directly from its integers.
//!
//! A frequency is a whole multiple of the output rate and an offset in hertz. Whole turns of a tap's
//! angle are taken off as integers, so that what is left is small and its rounding far below a tap's
//! weight: a stop band of -200 dB is the filter's own, not the evaluation's.
//!
//! The CIC's response is (sin(pi R M f)/(R M sin(pi f)))^N (Hogenauer 1981, equation 8, recalled).

use crate::analysis::tables;
use crate::instrument::file::{FirFile, PlanFile};
use std::f64::consts::{PI, TAU};

/// Taps of a FIR stage as seen from their centre.
#[derive(Debug, Clone)]
pub struct Taps {
    /// Sums of the taps n/2 samples to both sides of the centre, for even n where the number of taps
    /// is odd and odd n where it is even; from the outermost to the centre.
    even: Vec<f64>,
    /// Differences of the same; empty where taps are symmetric.
    odd: Vec<f64>,
    /// Number of taps less one: twice the centre.
    span: i64,
}

impl Taps {
    /// Of real taps.
    #[must_use]
    pub fn new(taps: &[f64]) -> Self {
        let half = taps.len().div_ceil(2);
        let pairs = taps.iter().zip(taps.iter().rev()).take(half);
        let middle = |n: usize| 2 * n + 1 == taps.len();
        let even: Vec<f64> = pairs
            .clone()
            .enumerate()
            .map(|(n, (a, b))| if middle(n) { *a } else { a + b })
            .collect();
        let odd: Vec<f64> = pairs.map(|(a, b)| a - b).collect();
        let symmetric = odd.iter().all(|x| *x == 0.0);
        let odd = if symmetric { Vec::new() } else { odd };
        Self { even, odd, span: taps.len() as i64 - 1 }
    }

    /// Of a plan's integers.
    #[must_use]
    pub fn of(fir: &FirFile) -> Self {
        let unit = 2f64.powi(-i32::from(fir.scale_bits));
        Self::new(&fir.taps.iter().map(|t| f64::from(*t) * unit).collect::<Vec<_>>())
    }

    /// Gain at `turns`/`of` + `rest` cycles a sample: about the centre where taps are symmetric, else
    /// the magnitude. `rest` is small, below a turn over the whole length.
    #[must_use]
    pub fn gain(&self, turns: i64, of: i64, rest: f64) -> f64 {
        let angle = |n: i64| {
            // n half samples from the centre: turns n/(2 of), whole turns off.
            let whole = (turns * n).rem_euclid(2 * of) as f64 / of as f64;
            PI * (whole + n as f64 * rest)
        };
        let sum = |weights: &[f64], part: fn(f64) -> f64| -> f64 {
            let from_centre = (0..).map(|n| self.span - 2 * n);
            weights.iter().zip(from_centre).map(|(w, n)| w * part(angle(n))).sum()
        };
        let even = sum(&self.even, f64::cos);
        if self.odd.is_empty() { even } else { even.hypot(sum(&self.odd, f64::sin)) }
    }

    /// Magnitudes of [`Self::gain`] at many `turns`, for a first look: see [`Self::coarse_gains_at`].
    #[must_use]
    pub fn coarse_gains(&self, turns: &[i64], of: i64, rest: f64) -> Vec<f64> {
        if !self.odd.is_empty() {
            return turns.iter().map(|turns| self.gain(*turns, of, rest)).collect();
        }
        let at = |turns: &i64| turns.rem_euclid(of) as f64 / of as f64 + rest;
        let mut gains = self.coarse_gains_at(&turns.iter().map(at).collect::<Vec<_>>());
        gains.iter_mut().for_each(|gain| *gain = gain.abs());
        gains
    }

    /// [`Self::gain_at`] many frequencies, each by one cosine and Clenshaw's recurrence (1955, recalled), some side by
    /// side: for a first look, as it loses the square of the number of taps in roundings, 1e-12 of a thousand.
    #[must_use]
    pub fn coarse_gains_at(&self, frequencies: &[f64]) -> Vec<f64> {
        if !self.odd.is_empty() {
            return frequencies.iter().map(|f| self.gain_at(*f)).collect();
        }
        let mut gains: Vec<f64> = frequencies.iter().map(|f| (TAU * f).cos()).collect();
        tables::chebyshev(&mut gains, &self.terms());
        if self.span % 2 != 0 {
            gains.iter_mut().zip(frequencies).for_each(|(gain, f)| *gain *= (PI * f).cos());
        }
        gains
    }

    /// Factors of the cosines of 0, 1, 2, ... times an angle whose sum is the gain of symmetric taps; where their number is
    /// even, the gain over the cosine of half the angle, as
    /// cos((k + 1/2) a) = (-1)^k cos(a/2) (1 - 2 cos a + 2 cos 2 a - ... +- 2 cos k a).
    fn terms(&self) -> Vec<f64> {
        if self.span % 2 == 0 {
            return self.even.iter().rev().copied().collect();
        }
        // From the outermost to the centre: term j has all w_k from j on, signs in turns.
        let last = self.even.len() - 1;
        let sign = |n: usize| if n.is_multiple_of(2) { 1.0 } else { -1.0 };
        let mut sum = 0.0;
        let outer = self.even.iter().enumerate().map(|(n, weight)| {
            let k = last - n;
            sum += sign(k) * weight;
            if k == 0 { sum } else { 2.0 * sign(k) * sum }
        });
        let mut terms: Vec<f64> = outer.collect();
        terms.reverse();
        terms
    }

    /// What [`Self::coarse_gains_at`] may be off by: 4 roundings of each of n steps, each step's carried through at most n
    /// more times.
    #[must_use]
    pub fn coarseness(&self) -> f64 {
        let taps = self.even.len() as f64;
        let sizes: f64 = self.terms().iter().map(|w| w.abs()).sum();
        4.0 * f64::EPSILON * taps * taps * sizes
    }

    /// Group delay at a frequency in cycles a sample, in samples from the first tap.
    ///
    /// With the response about the centre E + i O, minus the derivative of its angle by 2 pi f.
    #[must_use]
    pub fn delay_at(&self, f: f64) -> f64 {
        let centre = self.span as f64 / 2.0;
        let sums = |weights: &[f64]| {
            let terms = weights.iter().zip((0..).map(|n| (self.span - 2 * n) as f64));
            terms.fold([0.0; 4], |[c, s, nc, ns], (w, n)| {
                let (sine, cosine) = (PI * n * f).sin_cos();
                let half = n / 2.0;
                [c + w * cosine, s + w * sine, nc + w * half * cosine, ns + w * half * sine]
            })
        };
        let ([e, _, _, slope], [_, o, rise, _]) = (sums(&self.even), sums(&self.odd));
        centre - (e * rise + o * slope) / (e * e + o * o)
    }

    /// Gain at a frequency in cycles a sample.
    #[must_use]
    pub fn gain_at(&self, f: f64) -> f64 {
        self.gain(0, 1, f)
    }
}

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
