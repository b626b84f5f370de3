//! Carrier on the mass, bridges, amplifiers: the envelope of every channel at a position.

use super::Parts;
use super::electrodes::{Electrode, Pose};
use crate::instrument::Sensor;
use crate::instrument::file::{KindFile, Role, SensorFile};

/// A channel's signal relative to the carrier cos(2 pi f_c t), volts at the converter.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Envelope {
    /// In phase with the carrier.
    pub i: f64,
    /// In quadrature: volts = i cos - q sin.
    pub q: f64,
}

/// Everything between the mass and the converter that follows its position.
#[derive(Debug, Clone)]
pub struct Drive {
    sense: Vec<[Electrode; 2]>,
    inject: Vec<Electrode>,
    /// Sensing electrodes that are in no bridge load the mass all the same.
    idle: Vec<Electrode>,
    bridges: Vec<Wiring>,
    injection_v: f64,
    /// Capacitance of the mass beside its electrodes.
    fixed_f: f64,
    /// Volts at the converter per farad and volt.
    gain: f64,
    phase_rad: f64,
    monitor: Option<(usize, f64, f64)>,
    channels: usize,
    parts: Parts,
}

#[derive(Debug, Clone)]
struct Wiring {
    channels: [usize; 2],
    difference: bool,
    stray_f: [f64; 2],
    /// Both electrodes at rest, and shares of other bridges by their numbers.
    rest_f: f64,
    shares: Vec<(usize, f64)>,
}

/// Envelopes of all channels, and where the mass was.
#[derive(Debug, Clone)]
pub struct Placed {
    q: [f64; 6],
    /// Of each channel.
    pub envelopes: Vec<Envelope>,
}

impl Drive {
    /// For a sensor, with the parts switched as said.
    #[must_use]
    pub fn new(sensor: &Sensor, parts: Parts) -> Self {
        let file = &sensor.file;
        let named = |name: &String| {
            file.electrodes.iter().find(|e| e.name == *name).expect("names are checked")
        };
        let pair = |names: &[String; 2]| [0, 1].map(|k| Electrode::new(named(&names[k])));
        let in_bridge = |name: &String| file.bridges.iter().any(|b| b.electrodes.contains(name));
        let Filter { gain: filter_gain, lag_rad } = Filter::new(file);
        // The monitor, and everything where loss is off, sees the carrier before the bridges' lag.
        let lossless_rad = file.carrier.phase_rad - lag_rad;
        let rest = Pose::new([0.0; 6]);
        let number = |name: &String| {
            file.bridges.iter().position(|b| b.name == *name).expect("names are checked")
        };
        let stray_f = |b: usize| if parts.strays { file.bridges[b].stray_f } else { [0.0; 2] };
        Self {
            sense: file.bridges.iter().map(|b| pair(&b.electrodes)).collect(),
            inject: file
                .electrodes
                .iter()
                .filter(|e| e.role == Role::Inject)
                .map(Electrode::new)
                .collect(),
            idle: file
                .electrodes
                .iter()
                .filter(|e| e.role == Role::Sense && !in_bridge(&e.name))
                .map(Electrode::new)
                .collect(),
            bridges: file
                .bridges
                .iter()
                .enumerate()
                .map(|(b, bridge)| Wiring {
                    channels: match (bridge.channel, bridge.channels) {
                        (Some(c), _) => [usize::from(c); 2],
                        (None, both) => both.unwrap_or([0; 2]).map(usize::from),
                    },
                    difference: bridge.kind == KindFile::Difference,
                    stray_f: stray_f(b),
                    rest_f: pair(&bridge.electrodes)
                        .iter()
                        .map(|e| e.capacitance(&rest, false))
                        .sum(),
                    shares: bridge
                        .cross_coupling
                        .iter()
                        .map(|(name, share)| (number(name), *share))
                        .collect(),
                })
                .collect(),
            injection_v: file.carrier.injection_v,
            fixed_f: file.mass.stray_f + file.bridges.iter().flat_map(|b| b.stray_f).sum::<f64>(),
            gain: filter_gain * file.amplifier.gain / file.amplifier.feedback_f,
            phase_rad: lossless_rad - if parts.loss { file.amplifier.loss_rad } else { 0.0 },
            monitor: file.monitor.as_ref().map(|m| {
                let volts = m.gain * file.carrier.injection_v * filter_gain;
                (usize::from(m.channel), volts, lossless_rad)
            }),
            channels: sensor.channels(),
            parts,
        }
    }

    /// Envelopes at a position; as they are `known` where the mass has not moved.
    #[must_use]
    pub fn placed(&self, q: [f64; 6], known: Option<&Placed>) -> Placed {
        match known {
            Some(known) if known.q == q => known.clone(),
            _ => Placed { q, envelopes: self.envelopes(q) },
        }
    }

    /// Envelopes of all channels at a position: V_m = V_injection C_injection/C_total, then
    /// g (C1 - C2) V_m for a difference bridge, g C V_m for separate electrodes.
    #[must_use]
    pub fn envelopes(&self, q: [f64; 6]) -> Vec<Envelope> {
        let tilt = self.parts.tilt;
        let sensing = |pose: &Pose| -> Vec<[f64; 2]> {
            let farad = |e: &Electrode| e.capacitance(pose, tilt);
            self.sense.iter().map(|pair| pair.each_ref().map(farad)).collect()
        };
        let mut pose = Pose::new(q);
        let mut pairs = sensing(&pose);
        // What polarises the mass may be taken as it is at rest.
        let mut at_rest = None;
        if !self.parts.polarisation {
            pose = Pose::new([0.0; 6]);
            at_rest = Some(sensing(&pose));
        }
        let sensed = at_rest.as_ref().unwrap_or(&pairs).as_flattened();
        let farad = |e: &Electrode| e.capacitance(&pose, tilt);
        let injection: f64 = self.inject.iter().map(farad).sum();
        let rest: f64 = self.idle.iter().map(farad).chain(sensed.iter().copied()).sum();
        let mass_v = self.injection_v * injection / (injection + rest + self.fixed_f);
        let (sine, cosine) = self.phase_rad.sin_cos();
        let mut out = vec![Envelope::default(); self.channels];
        let mut set = |channel: usize, farad: f64| {
            let volts = self.gain * mass_v * farad;
            out[channel] = Envelope { i: volts * cosine, q: volts * sine };
        };
        for (pair, wiring) in pairs.iter_mut().zip(&self.bridges) {
            pair.iter_mut().zip(wiring.stray_f).for_each(|(farad, stray)| *farad += stray);
        }
        for (wiring, c) in self.bridges.iter().zip(&pairs) {
            if wiring.difference {
                // Of another bridge as much as if both were of one size.
                let of_others = wiring.shares.iter().map(|(other, share)| {
                    let [a, b] = pairs[*other];
                    share * (a - b) / self.bridges[*other].rest_f
                });
                let of_others = if self.parts.coupling { of_others.sum() } else { 0.0 };
                set(wiring.channels[0], c[0] - c[1] + wiring.rest_f * of_others);
            } else {
                set(wiring.channels[0], c[0]);
                set(wiring.channels[1], c[1]);
            }
        }
        if let Some((channel, volts, phase)) = self.monitor {
            let (sine, cosine) = phase.sin_cos();
            out[channel] = Envelope { i: volts * cosine, q: volts * sine };
        }
        out
    }
}

/// One pole of an anti-alias filter at the carrier.
struct Filter {
    gain: f64,
    lag_rad: f64,
}

impl Filter {
    fn new(file: &SensorFile) -> Self {
        // 1/(1 + i f/f_pole).
        let [real, imaginary] =
            [1.0, file.amplifier.filter_hz.map_or(0.0, |pole| file.carrier.frequency_hz / pole)];
        let square = real * real + imaginary * imaginary;
        Self { gain: square.sqrt().recip(), lag_rad: imaginary.atan2(real) }
    }
}
