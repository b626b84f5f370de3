//! Carrier on the mass, bridges, amplifiers: the envelope of every channel at a position.

use super::{Parts, electrodes::Electrode};
use crate::instrument::Sensor;
use crate::instrument::design::{CarrierRatio, electrode, is_difference};
use crate::instrument::file::Role;

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
    carrier: CarrierRatio,
    sense: Vec<[Electrode; 2]>,
    inject: Vec<Electrode>,
    /// Sensing electrodes that are in no bridge load the mass all the same.
    idle: Vec<Electrode>,
    bridges: Vec<Wiring>,
    injection_v: f64,
    /// Capacitance of the mass beside its electrodes.
    fixed_f: f64,
    rest_v: f64,
    /// Volts at the converter per farad and volt.
    gain: f64,
    phase_rad: f64,
    monitor: Option<(usize, f64, f64)>,
    channels: usize,
    parts: Parts,
}

#[derive(Debug, Clone, Copy)]
struct Wiring {
    channels: [usize; 2],
    difference: bool,
    stray_f: [f64; 2],
}

impl Drive {
    /// For a sensor, with the parts switched as said.
    #[must_use]
    pub fn new(sensor: &Sensor, parts: Parts) -> Self {
        let (file, design) = (&sensor.file, &sensor.design);
        let pair = |names: &[String; 2]| [0, 1].map(|k| Electrode::new(electrode(file, &names[k])));
        let in_bridge = |name: &String| file.bridges.iter().any(|b| b.electrodes.contains(name));
        // The monitor, and everything where loss is off, sees the carrier before its lag.
        let lossless_rad = design.signal_phase_rad + file.amplifier.loss_rad;
        Self {
            carrier: design.carrier,
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
                    difference: is_difference(file, b),
                    stray_f: if parts.strays { bridge.stray_f } else { [0.0; 2] },
                })
                .collect(),
            injection_v: file.carrier.injection_v,
            fixed_f: file.mass.stray_f + file.bridges.iter().flat_map(|b| b.stray_f).sum::<f64>(),
            rest_v: design.mass_v,
            gain: design.filter_gain * file.amplifier.gain / file.amplifier.feedback_f,
            phase_rad: if parts.loss { design.signal_phase_rad } else { lossless_rad },
            monitor: file.monitor.as_ref().map(|m| {
                let volts = m.gain * file.carrier.injection_v * design.filter_gain;
                (usize::from(m.channel), volts, lossless_rad)
            }),
            channels: sensor.channels(),
            parts,
        }
    }

    /// Carrier over sample rate.
    #[must_use]
    pub fn carrier(&self) -> CarrierRatio {
        self.carrier
    }

    /// Envelopes of all channels at a position: V_m = V_injection C_injection/C_total, then
    /// g (C1 - C2) V_m for a difference bridge, g C V_m for separate electrodes.
    #[must_use]
    pub fn envelopes(&self, q: [f64; 6]) -> Vec<Envelope> {
        let tilt = self.parts.tilt;
        let pairs: Vec<[f64; 2]> = self
            .sense
            .iter()
            .map(|pair| [pair[0].capacitance(&q, tilt), pair[1].capacitance(&q, tilt)])
            .collect();
        let mass_v = if self.parts.polarisation {
            let injection: f64 = self.inject.iter().map(|e| e.capacitance(&q, tilt)).sum();
            let idle: f64 = self.idle.iter().map(|e| e.capacitance(&q, tilt)).sum();
            let total = injection + idle + pairs.iter().flatten().sum::<f64>() + self.fixed_f;
            self.injection_v * injection / total
        } else {
            self.rest_v
        };
        let (sine, cosine) = self.phase_rad.sin_cos();
        let mut out = vec![Envelope::default(); self.channels];
        let mut set = |channel: usize, farad: f64| {
            let volts = self.gain * mass_v * farad;
            out[channel] = Envelope { i: volts * cosine, q: volts * sine };
        };
        for (wiring, c) in self.bridges.iter().zip(&pairs) {
            let c = [c[0] + wiring.stray_f[0], c[1] + wiring.stray_f[1]];
            if wiring.difference {
                set(wiring.channels[0], c[0] - c[1]);
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
