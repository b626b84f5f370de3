//! **Phasor level**: readings of hours and months without the carrier. [`swing`] moves the mass, `drive` of the
//! plant gives every channel's envelope there; noises are added as the demodulated carrier has them, the plan's
//! last filters decimate, and the core inverts the bridges.
//!
//! What acts on mass and readout from outside ([`outside`], with the drives of an [`experiment`]) can be had as auxiliary
//! sensors would read it, through the same filters.
//!
//! How noises come out at the carrier is in [`noise`].

pub mod experiment;
pub mod noise;
pub mod outside;
pub mod swing;

use super::interferometer::Scene;
use super::plant::Parts;
use super::plant::converter::Converter;
use super::plant::drive::{Drive, Envelope};
use super::plant::noise::{Gaussian, Stream};
use crate::error::{Error, Result};
use crate::filter::response::Response;
use crate::instrument::file::{FirFile, PlanFile};
use crate::instrument::{Design, Sensor, Settings};
use crate::readout::chain::Chain;
use crate::readout::ideal::fir::Fir;
use crate::readout::readings::Row;
use noise::{CarrierNoise, voltage_density};
use outside::Values;
use quietgap_core::front_end::Interval;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::Word;
use std::f64::consts::TAU;
use swing::Mover;

/// Filters of the plan whose input comes less often than this many times a reading are run; the earlier ones
/// are flat and far beyond.
const STEPS: u64 = 8;

/// Readings being simulated.
#[derive(Debug)]
pub struct Simulation {
    drive: Drive,
    /// Peak of the converter's nonlinearity, codes.
    distortion: f64,
    mover: Mover,
    /// Code amplitude of a channel's own noise, per step, and its generator.
    own: Vec<Gaussian>,
    own_code: f64,
    carrier: CarrierNoise,
    codes_per_volt: f64,
    half_range: f64,
    filters: Vec<FirFile>,
    firs: Vec<Fir>,
    chain: Chain,
    words_per_code: f64,
    /// Steps a second, and samples of the converter in a step.
    step_hz: f64,
    step: u64,
    samples_per_step: u64,
    rate_hz: f64,
    /// Half samples from what a step stands for to its last sample, by the filters that are not run; and from a
    /// reading's instant to the last sample, by all.
    lag: i64,
    delay: i64,
    /// Steps before the filters that are run have settled, and before all have.
    settling: u64,
    first: u64,
    /// Instants and scenes of the steps since they were last asked for, where they are.
    watched: Option<Vec<(f64, Scene)>>,
    /// Filters of what auxiliary sensors read, where it is asked for, and the last values.
    beside: Option<(Vec<Fir>, [f64; 6])>,
    /// Of a step, all channels: room that is used again.
    phasors: Vec<[f64; 2]>,
    /// Truth of a reading: the pose at its instant is in the middle of the filters.
    poses: Vec<[f64; 6]>,
}

impl Simulation {
    /// Readings of a sensor whose mass is moved by `mover`.
    ///
    /// # Errors
    /// What the core refuses of the sensor's bridges by themselves.
    pub fn new(sensor: &Sensor, mover: Mover, parts: Parts, seed: u64) -> Result<Self> {
        let file = &sensor.file;
        let rate = sensor.rate_hz();
        let (spacing, first) = skipped(sensor);
        let channels = sensor.channels();
        let run: Vec<FirFile> = std::iter::once(droop(sensor, spacing, first))
            .chain(sensor.plan.firs[first..].iter().cloned())
            .collect();
        let firs: Vec<Fir> = run.iter().map(|f| Fir::new(f, channels)).collect();
        let (mut span, mut interval) = (1, spacing);
        let mut delay = 0.0;
        for (fir, file) in firs.iter().zip(&run) {
            span += (file.taps.len() as u64 - 1) * interval / spacing;
            delay += 2.0 * fir.delay() * interval as f64;
            interval *= u64::from(file.ratio);
        }
        let step_hz = rate / spacing as f64;
        let bare = PlanFile { firs: Vec::new(), mask: None, ..sensor.plan.clone() };
        let settings = Settings::new(file, &bare, &Design::new(file, &bare));
        let chain = Chain::new(&settings).map_err(|e| Error::new(e.to_string()))?;
        let half = (step_hz / 2.0).sqrt();
        let codes_per_volt = sensor.design.codes_per_volt;
        let half_range = 2f64.powi(file.converter.bits as i32 - 1);
        let voltage = voltage_density(sensor, parts);
        Ok(Self {
            drive: Drive::new(sensor, parts),
            distortion: distortion(
                &Converter::new(&file.converter, parts),
                half_range,
                codes_per_volt,
            ),
            mover,
            own: (0..channels).map(|c| Gaussian::new(seed, Stream::White(c))).collect(),
            own_code: voltage * sensor.design.codes_per_volt * 2f64.sqrt() * half,
            carrier: CarrierNoise::new(sensor, parts, seed, step_hz),
            codes_per_volt,
            half_range,
            firs,
            chain,
            words_per_code: settings.words_per_code,
            step_hz,
            step: 0,
            samples_per_step: spacing,
            rate_hz: rate,
            lag: sensor.settings.delay_half_samples() as i64 - delay.round_ties_even() as i64,
            delay: sensor.settings.delay_half_samples() as i64,
            settling: span,
            first: sensor.settings.span().div_ceil(spacing),
            watched: None,
            beside: None,
            filters: run,
            phasors: Vec::new(),
            poses: Vec::new(),
        })
    }

    /// The next settled reading, and where the mass was at its instant.
    pub fn reading(&mut self) -> (Row, [f64; 6]) {
        loop {
            let instant_s = self.instant(self.step) as f64 / (2.0 * self.rate_hz);
            let pose = self.mover.step(instant_s, self.step_hz);
            self.poses.push(pose.axes);
            if let Some(watched) = &mut self.watched {
                let Values { intensity, temperature_k, .. } = pose.outside;
                watched.push((instant_s, Scene { pose: pose.axes, intensity, temperature_k }));
            }
            if let Some((firs, values)) = &mut self.beside {
                let row = pose.outside.row();
                let mut out = Some(row.as_chunks::<2>().0.to_vec());
                for fir in firs {
                    out = out.and_then(|phasors| fir.push(&phasors));
                }
                if let Some(row) = out.as_ref().and_then(|row| row.as_flattened().first_chunk()) {
                    *values = *row;
                }
            }
            let noise = self.carrier.next();
            let (mut over_range, end) = (0, (self.half_range - 1.0).powi(2));
            let mut phasors = std::mem::take(&mut self.phasors);
            phasors.clear();
            for (c, Envelope { i, q }) in self.drive.envelopes(pose.axes).into_iter().enumerate() {
                let volts = [i, q].map(|part| part * pose.gain);
                let code = self.distorted(volts);
                over_range |= u32::from(square(code) >= end) << c;
                let carried = [
                    code[0] * (1.0 + noise[0]) - code[1] * noise[1],
                    code[1] * (1.0 + noise[0]) + code[0] * noise[1],
                ];
                let own = self.own_code;
                phasors.push(carried.map(|part| part + own * self.own[c].next_if(own)));
            }
            self.step += 1;
            let (first, later) = self.firs.split_first_mut().expect("the earlier filters' droop");
            let mut out = first.push(&phasors);
            self.phasors = phasors;
            for fir in later {
                out = out.and_then(|phasors| fir.push(&phasors));
            }
            let Some(phasors) = out else { continue };
            if self.step < self.first {
                continue;
            }
            let words =
                |x: f64| Word::from_bits((x * self.words_per_code).round_ties_even() as i64);
            let mut words: Vec<Phasor> =
                phasors.iter().map(|[i, q]| Phasor { i: words(*i), q: words(*q) }).collect();
            let last = (self.step * self.samples_per_step) as i64 - 1;
            let half_samples = 2 * last - self.delay;
            let mut found = None;
            let interval = Interval { over_range, saturated: false };
            self.chain.push_phasors(&mut words, interval, |reading| found = Some(Row::of(reading)));
            // The core's own first readings are flagged as settling; these filters have settled before.
            let Some(mut row) = found else { continue };
            if crate::readout::run::settling(&row) {
                continue;
            }
            row.half_samples = half_samples;
            return (row, self.pose_at(half_samples));
        }
    }

    /// Keeps the instants and scenes of all steps for [`Self::watched`].
    pub fn watch(&mut self) {
        self.watched = Some(Vec::new());
    }

    /// Filters what auxiliary sensors read as the readings are, from the run's start on.
    pub fn look_beside(&mut self) {
        let firs = self.filters.iter().map(|f| Fir::new(f, Values::COLUMNS.len() / 2)).collect();
        self.beside = Some((firs, [0.0; 6]));
    }

    /// What auxiliary sensors read at the last reading's instant, in the order of [`Values::COLUMNS`].
    #[must_use]
    pub fn beside(&self) -> Option<[f64; 6]> {
        self.beside.as_ref().map(|(_, values)| *values)
    }

    /// Instants, s, and scenes of the steps since the last call.
    pub fn watched(&mut self) -> impl Iterator<Item = (f64, Scene)> {
        self.watched.iter_mut().flat_map(|watched| watched.drain(..))
    }

    /// What the converter's nonlinearity leaves of a carrier of this amplitude: the fundamental of
    /// v + e (3 sqrt 3/2)(v - v^3) is v (1 + e (3 sqrt 3/2)(1 - 3 a^2/4)).
    fn distorted(&self, volts: [f64; 2]) -> [f64; 2] {
        let over_half_range = self.codes_per_volt / self.half_range;
        let amplitude_square = square(volts) * over_half_range * over_half_range;
        let gain = 1.0
            + self.distortion / self.half_range
                * 1.5
                * 3f64.sqrt()
                * (1.0 - 0.75 * amplitude_square);
        volts.map(|v| v * gain * self.codes_per_volt)
    }

    /// Half samples since sample 0 of what step `n` stands for.
    fn instant(&self, n: u64) -> i64 {
        2 * ((n + 1) * self.samples_per_step) as i64 - 2 - self.lag
    }

    /// The pose at an instant, straight between steps.
    fn pose_at(&mut self, half_samples: i64) -> [f64; 6] {
        let newest = self.instant(self.step - 1);
        let behind = (newest - half_samples) as f64 / (2.0 * self.samples_per_step as f64);
        let behind = behind.max(0.0);
        let (whole, part) = (behind.floor() as usize, behind.fract());
        let count = self.poses.len();
        let get = |back: usize| self.poses[count.saturating_sub(1 + back)];
        let (a, b) = (get(whole), get(whole + 1));
        let pose = std::array::from_fn(|k| a[k] + (b[k] - a[k]) * part);
        // Only as many as the filters reach back are kept.
        let keep = 2 * self.settling as usize + 2;
        if count > 2 * keep {
            self.poses.drain(..count - keep);
        }
        pose
    }
}

/// Square of a phasor's amplitude.
fn square([i, q]: [f64; 2]) -> f64 {
    i * i + q * q
}

/// Peak of a converter's nonlinearity, codes: at half of full scale the S has 1.5 sqrt 3 (0.5 - 0.125) of it.
fn distortion(converter: &Converter, half_range: f64, codes_per_volt: f64) -> f64 {
    let error = converter.exact(0.5 * half_range / codes_per_volt)
        - converter.exact(0.0)
        - 0.5 * half_range;
    error / (1.5 * 3f64.sqrt() * 0.375)
}

/// Samples of a step, and the first filter that is run.
fn skipped(sensor: &Sensor) -> (u64, usize) {
    let reading = sensor.settings.interval();
    let mut spacing = u64::from(sensor.plan.ratio);
    let mut first = 0;
    for (n, fir) in sensor.plan.firs.iter().enumerate() {
        let next = spacing * u64::from(fir.ratio);
        if reading / next < STEPS {
            break;
        }
        (spacing, first) = (next, n + 1);
    }
    (spacing, first)
}

/// The filters that are not run, as three taps at the rate of the steps: their droop, which the last filter makes
/// good, is a parabola as far as it passes.
fn droop(sensor: &Sensor, spacing: u64, first: usize) -> FirFile {
    let rate = sensor.rate_hz();
    let f = 0.3 * sensor.output_rate_hz();
    let mut input = rate / spacing as f64;
    let mut gain = Response::new(&sensor.plan, rate).gain_at(f).abs();
    for fir in &sensor.plan.firs[first..] {
        let turn = TAU * f / input;
        let sum = |of: fn(f64) -> f64| -> f64 {
            fir.taps.iter().enumerate().map(|(n, tap)| f64::from(*tap) * of(n as f64 * turn)).sum()
        };
        let at_zero: f64 = fir.taps.iter().map(|tap| f64::from(*tap)).sum();
        gain /= sum(f64::cos).hypot(sum(f64::sin)) / at_zero;
        input /= f64::from(fir.ratio);
    }
    // 1 - 2 a (1 - cos) is the gain of taps a, 1 - 2 a, a.
    let a = (1.0 - gain) / (2.0 * (1.0 - (TAU * f * spacing as f64 / rate).cos()));
    let side = (a * 2f64.powi(30)).round() as i32;
    let taps = vec![side, (1 << 30) - 2 * side, side];
    FirFile { ratio: 1, scale_bits: 30, symmetric: true, taps }
}

/// Steps a second for a sensor.
#[must_use]
pub fn step_hz(sensor: &Sensor) -> f64 {
    sensor.rate_hz() / skipped(sensor).0 as f64
}
