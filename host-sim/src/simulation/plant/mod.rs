//! **Plant**: motion in, converter codes out. In signal order: [`electrodes`] (capacitance),
//! [`drive`] (carrier, polarisation, bridge and amplifier: the signal's envelope),
//! [`noise`], [`converter`].
//!
//! The envelope of each channel moves with the mass, slowly; it is worked out at the start,
//! middle and end of every chunk of samples and taken as a parabola between. Everything at the
//! sample rate (carrier, white noise, actuation, jitter, codes) is done sample by sample.

pub mod converter;
pub mod drive;
pub mod electrodes;
pub mod noise;
mod parts;

use crate::instrument::Sensor;
use crate::simulation::motion::Motion;
use converter::Converter;
use drive::{Drive, Placed};
use noise::{Gaussian, OneOverF, Stream};

pub use parts::Parts;

/// Samples per chunk: at 800 kS/s a parabola over 80 us misses a 10 Hz motion by 1e-11 of itself.
pub const CHUNK: usize = 64;

/// Noise of one channel.
#[derive(Debug)]
struct ChannelNoise {
    white: Gaussian,
    flicker: OneOverF,
}

/// Noise of the carrier, the same for all channels: white at every sample, 1/f by chunks.
#[derive(Debug)]
struct CarrierNoise {
    white: Gaussian,
    weight: f64,
    flicker: OneOverF,
    /// Of the running chunk: start and change.
    line: [f64; 2],
}

impl CarrierNoise {
    fn begin_chunk(&mut self) {
        let [start, end] = self.flicker.chunk();
        self.line = [start, end - start];
    }

    /// At the fraction `b` of the chunk.
    fn at(&mut self, b: f64) -> f64 {
        self.line[0] + self.line[1] * b + self.weight * self.white.next_if(self.weight)
    }
}

/// The running plant.
#[derive(Debug)]
pub struct Plant {
    drive: Drive,
    converter: Converter,
    motion: Motion,
    rate_hz: f64,
    white_v: f64,
    channels: Vec<ChannelNoise>,
    amplitude: CarrierNoise,
    phase: CarrierNoise,
    jitter: Gaussian,
    jitter_rad: f64,
    /// Carrier and sample rate, nanohertz: the phase at any sample is exact.
    carrier_nhz: [u64; 2],
    /// Actuation lines: frequency over rate, amplitude.
    actuations: Vec<(f64, f64)>,
    sample: u64,
    /// Envelope and common noises at the end of the last chunk.
    last: Option<Placed>,
}

impl Plant {
    /// A plant for a sensor; equal seeds give equal codes.
    #[must_use]
    pub fn new(sensor: &Sensor, motion: Motion, parts: Parts, seed: u64) -> Self {
        let file = &sensor.file;
        let rate_hz = sensor.rate_hz();
        let chunk_rate = rate_hz / CHUNK as f64;
        let gaussian = |stream| Gaussian::new(seed, stream);
        let carrier = &file.carrier;
        let amplifier = &file.amplifier;
        let monitor = file.monitor.as_ref().map(|m| usize::from(m.channel));
        let channels = (0..sensor.channels())
            .map(|c| ChannelNoise {
                white: gaussian(Stream::White(c)),
                // The monitor is a divider, not an amplifier: no 1/f of its own.
                flicker: OneOverF::new(
                    gaussian(Stream::Flicker(c)),
                    if Some(c) == monitor || !parts.flicker_noise {
                        0.0
                    } else {
                        amplifier.noise_v_per_rthz
                    },
                    amplifier.noise_corner_hz,
                    chunk_rate,
                ),
            })
            .collect();
        let common = |[white, flicker]: [Stream; 2], on: bool, density: f64| {
            let density = if on { density } else { 0.0 };
            let corner_hz = carrier.noise_corner_hz;
            CarrierNoise {
                white: gaussian(white),
                weight: density * (rate_hz / 2.0).sqrt(),
                flicker: OneOverF::new(gaussian(flicker), density, corner_hz, chunk_rate),
                line: [0.0; 2],
            }
        };
        Self {
            drive: Drive::new(sensor, parts),
            converter: Converter::new(&file.converter, parts),
            motion,
            rate_hz,
            white_v: if parts.white_noise {
                white_density(sensor) * (rate_hz / 2.0).sqrt()
            } else {
                0.0
            },
            channels,
            amplitude: common(
                [Stream::Amplitude, Stream::AmplitudeFlicker],
                parts.amplitude_noise,
                carrier.amplitude_noise_per_rthz,
            ),
            phase: common(
                [Stream::Phase, Stream::PhaseFlicker],
                parts.phase_noise,
                carrier.phase_noise_rad_per_rthz,
            ),
            carrier_nhz: [carrier.frequency_hz, rate_hz].map(|f| (f * 1e9).round() as u64),
            jitter: gaussian(Stream::Jitter),
            jitter_rad: if parts.jitter {
                std::f64::consts::TAU * carrier.frequency_hz * file.converter.jitter_s
            } else {
                0.0
            },
            actuations: file
                .actuations
                .iter()
                .filter(|_| parts.actuation)
                .map(|a| (a.frequency_hz / rate_hz, a.amplitude_v))
                .collect(),
            sample: 0,
            last: None,
        }
    }

    /// Appends the codes of the next chunk, interleaved.
    pub fn chunk(&mut self, codes: &mut Vec<i32>) {
        let count = self.channels.len();
        let start = codes.len();
        codes.resize(start + CHUNK * count, 0);
        let time = |k: f64| (self.sample as f64 + k) / self.rate_hz;
        let at = |k: usize| self.motion.at(time(k as f64));
        let first = self.last.take().unwrap_or_else(|| self.drive.placed(at(0), None));
        let middle = self.drive.placed(at(CHUNK / 2), Some(&first));
        let end = self.drive.placed(at(CHUNK), Some(&middle));

        let (carrier, tones) = self.carrier_and_tones();
        self.amplitude.begin_chunk();
        self.phase.begin_chunk();
        // Carrier noise is common to all channels: it turns and stretches the carrier itself.
        let carrier: Vec<[f64; 2]> = carrier
            .iter()
            .enumerate()
            .map(|(k, [c, s])| {
                let b = k as f64 / CHUNK as f64;
                let gain = 1.0 + self.amplitude.at(b);
                let turn =
                    self.phase.at(b) + self.jitter_rad * self.jitter.next_if(self.jitter_rad);
                let (sine, cosine) = small_turn(turn);
                [gain * (c * cosine - s * sine), gain * (s * cosine + c * sine)]
            })
            .collect();
        let (white_v, converter) = (self.white_v, &self.converter);
        for (channel, noise) in self.channels.iter_mut().enumerate() {
            let flicker = noise.flicker.chunk();
            let [e0, e1, e2] = [&first, &middle, &end].map(|placed| &placed.envelopes[channel]);
            // Parabola through start, middle and end, b from 0 to 1.
            let parabola =
                |a: f64, m: f64, z: f64| [a, -3.0 * a + 4.0 * m - z, 2.0 * a - 4.0 * m + 2.0 * z];
            let (i, q) = (parabola(e0.i, e1.i, e2.i), parabola(e0.q, e1.q, e2.q));
            for (k, [c, s]) in carrier.iter().enumerate() {
                let b = k as f64 / CHUNK as f64;
                let at = |p: [f64; 3]| p[0] + b * (p[1] + b * p[2]);
                let mut volts = at(i) * c - at(q) * s;
                volts += white_v * noise.white.next_if(white_v)
                    + flicker[0]
                    + (flicker[1] - flicker[0]) * b;
                volts += tones[k];
                codes[start + k * count + channel] = converter.code(volts);
            }
        }
        self.sample += CHUNK as u64;
        self.last = Some(end);
    }

    /// Noise-free carrier and the sum of the actuation lines over the next chunk.
    fn carrier_and_tones(&self) -> (Vec<[f64; 2]>, [f64; CHUNK]) {
        let [frequency, rate] = self.carrier_nhz;
        let turns = |k: u64| {
            let within = u128::from(k) * u128::from(frequency) % u128::from(rate);
            std::f64::consts::TAU * (within as f64 / rate as f64)
        };
        let step = turns(1).sin_cos();
        let carrier =
            rotate(turns(self.sample).sin_cos(), step).map(|(s, c)| [c, s]).take(CHUNK).collect();
        let mut tones = [0.0; CHUNK];
        for (frequency, amplitude) in &self.actuations {
            let phase = |k: f64| std::f64::consts::TAU * (frequency * k).fract();
            let tone = rotate(phase(self.sample as f64).sin_cos(), phase(1.0).sin_cos());
            tones.iter_mut().zip(tone).for_each(|(sum, (s, _))| *sum += amplitude * s);
        }
        (carrier, tones)
    }
}

/// White voltage density of a channel at the converter. A charge amplifier shows its own voltage noise times
/// (C_f + C_in)/C_f, and any current as a voltage over omega C_f; both then pass gain and filter.
#[must_use]
pub fn white_density(sensor: &Sensor) -> f64 {
    let (a, omega) =
        (&sensor.file.amplifier, std::f64::consts::TAU * sensor.file.carrier.frequency_hz);
    let kelvin = 4.0 * 1.380_649e-23 * a.temperature_k;
    let loss_s = a.bridge_loss_tangent * omega * bridge_farad(sensor);
    let conductance = a.feedback_ohm.map_or(0.0, f64::recip) + loss_s;
    let current = a.current_noise_a_per_rthz.powi(2) + kelvin * conductance;
    let voltage = a.input_noise_v_per_rthz * (a.feedback_f + a.input_f) / a.feedback_f;
    let input = voltage.powi(2) + current / (omega * a.feedback_f).powi(2);
    let behind = a.gain * sensor.design.filter_gain;
    (input * behind * behind + a.noise_v_per_rthz.powi(2)).sqrt()
}

/// Largest capacitance of a bridge, strays included.
fn bridge_farad(sensor: &Sensor) -> f64 {
    let pairs = sensor.design.c0_f.iter().zip(&sensor.file.bridges);
    pairs.map(|(c, b)| c[0] + c[1] + b.stray_f[0] + b.stray_f[1]).fold(0.0, f64::max)
}

/// Sine and cosine of what is mostly far below a milliradian: their series to the fifth power there, 1e-20 off.
fn small_turn(turn: f64) -> (f64, f64) {
    if turn.abs() > 1e-3 {
        return turn.sin_cos();
    }
    let square = turn * turn;
    let sine = turn * (1.0 - square * (1.0 / 6.0) * (1.0 - square * (1.0 / 20.0)));
    (sine, 1.0 - square * 0.5 * (1.0 - square * (1.0 / 12.0)))
}

/// Endless (sine, cosine) from a start, turned by a step each time: 64 turns err by 1e-14.
fn rotate(start: (f64, f64), step: (f64, f64)) -> impl Iterator<Item = (f64, f64)> {
    std::iter::successors(Some(start), move |(s, c)| {
        Some((s * step.1 + c * step.0, c * step.1 - s * step.0))
    })
}
