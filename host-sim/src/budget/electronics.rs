//! What the readout adds. Densities are worked out as amplitudes of codes, in phase with the bridge, over a0;
//! a bridge's slope at the mass's place and the axes matrix make displacement and rotation of them.

use super::{Contributor, Enters};
use crate::filter::check::noise::{roundings, total_over_converter};
use crate::filter::response::Response;
use crate::filter::subject::Subject;
use crate::instrument::Sensor;
use crate::instrument::design::is_difference;
use crate::pendulum::BOLTZMANN;
use crate::simulation::phasor::noise::{about_twice_the_carrier, voltage_density};
use crate::simulation::plant::Parts;
use nalgebra::DVector;
use std::f64::consts::TAU;

/// Images of the output rate that aliasing is summed over.
const IMAGES: u64 = 16;

/// The readout at a place of the mass.
struct Slopes<'a> {
    sensor: &'a Sensor,
    /// Where each bridge stands, over its gap.
    u: Vec<f64>,
    /// Response of the plan over its value at zero, at every frequency.
    pass: Vec<f64>,
    monitored: bool,
}

/// All of them.
#[must_use]
pub fn contributors(sensor: &Sensor, frequency_hz: &[f64], place: [f64; 6]) -> Vec<Contributor> {
    let design = &sensor.design;
    let q = DVector::from_iterator(sensor.axes().len(), sensor.axes().iter().map(|a| place[*a]));
    let x = &design.geometry * q;
    let response = Response::new(&sensor.plan, sensor.rate_hz());
    let slopes = Slopes {
        sensor,
        u: x.iter().zip(&design.gap_m).map(|(x, gap)| x / gap).collect(),
        pass: frequency_hz.iter().map(|f| response.gain_at(*f).abs()).collect(),
        monitored: sensor.file.monitor.is_some(),
    };
    let mut out = slopes.voltages();
    out.extend(slopes.carrier(frequency_hz));
    out.push(slopes.aliases(frequency_hz));
    out.push(slopes.arithmetic());
    out
}

impl Slopes<'_> {
    /// Noises of the channels' voltages, one by one.
    fn voltages(&self) -> Vec<Contributor> {
        let (file, design) = (&self.sensor.file, &self.sensor.design);
        let a = &file.amplifier;
        let omega = TAU * file.carrier.frequency_hz;
        let behind = a.gain * design.filter_gain;
        let per_ampere = behind / (omega * a.feedback_f);
        let kelvin = 4.0 * BOLTZMANN * a.temperature_k;
        let bridge_f =
            |b: usize| design.c0_f[b].iter().chain(&file.bridges[b].stray_f).sum::<f64>();
        let widest = (0..file.bridges.len()).map(bridge_f).fold(0.0, f64::max);
        let flicker = a.noise_v_per_rthz * (a.noise_corner_hz / file.carrier.frequency_hz).sqrt();
        let rounding = (2.0 / 12.0 / self.sensor.rate_hz()).sqrt() / design.codes_per_volt;
        let list = [
            (
                "amplifier noise",
                a.noise_v_per_rthz,
                "white, as the sensor file gives it at the converter",
            ),
            (
                "input voltage noise",
                a.input_noise_v_per_rthz * (1.0 + a.input_f / a.feedback_f) * behind,
                "times (C_f + C_in)/C_f of the charge amplifier",
            ),
            ("input current noise", a.current_noise_a_per_rthz * per_ampere, "over omega C_f"),
            (
                "feedback resistor",
                a.feedback_ohm.map_or(0.0, |ohm| (kelvin / ohm).sqrt() * per_ampere),
                "Johnson noise sqrt(4 k T/R) over omega C_f",
            ),
            (
                "loss of the bridge",
                (kelvin * omega * widest * a.bridge_loss_tangent).sqrt() * per_ampere,
                "Johnson noise of omega C tan(delta), of the largest bridge",
            ),
            ("amplifier 1/f noise", flicker, "what is left of it at the carrier"),
            (
                "converter's rounding",
                rounding,
                "1/12 of a code squared, white (Bennett 1948, from memory)",
            ),
        ];
        list.map(|(name, volts, note)| {
            // In phase, both sidebands of the carrier add: sqrt 2.
            let codes = 2f64.sqrt() * volts * design.codes_per_volt;
            self.white(name, codes, note)
        })
        .to_vec()
    }

    /// A density of codes that is each channel's own, white.
    fn white(&self, name: &'static str, codes: f64, note: &str) -> Contributor {
        let axes = self.of_axes(codes);
        self.contributor(name, note, |n, _| axes[n])
    }

    /// What a density of codes of each channel's own is in every axis.
    fn of_axes(&self, codes: f64) -> Vec<f64> {
        let design = &self.sensor.design;
        let bridges: Vec<f64> = (0..self.u.len())
            .map(|b| {
                let relative = codes / design.calibrated_a0(&self.sensor.file, b);
                design.gap_m[b] * self.own_slope(b) * relative
            })
            .collect();
        let axis = |n: usize| {
            let square: f64 =
                bridges.iter().enumerate().map(|(b, x)| (design.solve[(n, b)] * x).powi(2)).sum();
            square.sqrt()
        };
        (0..self.sensor.axes().len()).map(axis).collect()
    }

    /// du per relative amplitude of a bridge's own channels: 1/(dr/du) of r = u/(1 - u^2) for a difference;
    /// both channels' for separate electrodes, u = (a1 - a2)/(a1 + a2).
    fn own_slope(&self, b: usize) -> f64 {
        let square = self.u[b] * self.u[b];
        if is_difference(&self.sensor.file, b) {
            (1.0 - square).powi(2) / (1.0 + square)
        } else {
            (2.0 + 2.0 * square).sqrt() * (1.0 - square)
        }
    }

    /// du per relative change that all channels share.
    fn common_slope(&self, b: usize) -> f64 {
        let u = self.u[b];
        // Separate electrodes take a ratio themselves.
        if is_difference(&self.sensor.file, b) { u * (1.0 - u * u) / (1.0 + u * u) } else { 0.0 }
    }

    /// A relative change that all channels share, density at every frequency.
    fn common(&self, name: &'static str, note: &str, relative: &[f64]) -> Contributor {
        let design = &self.sensor.design;
        let factors: Vec<f64> = (0..self.sensor.axes().len())
            .map(|n| {
                let parts = (0..self.u.len())
                    .map(|b| design.solve[(n, b)] * design.gap_m[b] * self.common_slope(b));
                parts.sum::<f64>().abs()
            })
            .collect();
        self.contributor(name, note, |n, k| factors[n] * relative[k])
    }

    /// Noises of the carrier, and what the monitor adds.
    fn carrier(&self, frequency_hz: &[f64]) -> Vec<Contributor> {
        let (file, design) = (&self.sensor.file, &self.sensor.design);
        let carrier = &file.carrier;
        let (g, p) = (carrier.amplitude_noise_per_rthz, carrier.phase_noise_rad_per_rthz);
        let jitter = TAU
            * carrier.frequency_hz
            * file.converter.jitter_s
            * (2.0 / self.sensor.rate_hz()).sqrt();
        let corner = carrier.noise_corner_hz;
        let [along, across] = about_twice_the_carrier(self.sensor);
        let rejected = if self.monitored { 0.0 } else { 1.0 };
        let note = if self.monitored {
            "the same in the monitor: divided out"
        } else {
            "in proportion to the displacement"
        };
        let each = |value: &dyn Fn(f64) -> f64| -> Vec<f64> {
            frequency_hz.iter().map(|f| rejected * value(*f)).collect()
        };
        let mut out = vec![
            self.common(
                "carrier's amplitude noise",
                note,
                &each(&|f| g * (along + corner / f).sqrt()),
            ),
            self.common("carrier's phase noise", note, &each(&|_| p * across.sqrt())),
            self.common("clock jitter", note, &each(&|_| jitter * across.sqrt())),
        ];
        if let (Some(monitor), Some(code)) = (&file.monitor, design.monitor_code) {
            let volts = voltage_density(self.sensor, Parts { flicker_noise: false, ..Parts::ALL });
            let relative = 2f64.sqrt() * volts * design.codes_per_volt
                / monitor.calibration_code.unwrap_or(code);
            let relative = vec![relative; frequency_hz.len()];
            out.push(self.common(
                "monitor's own noise",
                "what dividing by it adds, in proportion to the displacement",
                &relative,
            ));
        }
        out
    }

    /// White noise of the channels that folds into the output band: what the plan leaves of it at the first
    /// images of the output rate; those further out its mask keeps far below.
    fn aliases(&self, frequency_hz: &[f64]) -> Contributor {
        let sensor = self.sensor;
        let response = Response::new(&sensor.plan, sensor.rate_hz());
        let output = sensor.output_rate_hz();
        let images = (sensor.settings.interval() / 2).min(IMAGES);
        let axes = self.of_axes(
            2f64.sqrt() * voltage_density(sensor, Parts::ALL) * sensor.design.codes_per_volt,
        );
        let folded: Vec<f64> = frequency_hz
            .iter()
            .zip(&self.pass)
            .map(|(f, pass)| {
                let square: f64 = (1..=images)
                    .flat_map(|k| [k as f64 * output - f, k as f64 * output + f])
                    .map(|image| response.gain_at(image).powi(2))
                    .sum();
                // It comes in behind the filters, whose response the others are multiplied by.
                square.sqrt() / pass.max(1e-12)
            })
            .collect();
        let note = "channels' white noise folded by the output rate, largest next to half of it";
        self.contributor("aliasing of the plan", note, |n, k| axes[n] * folded[k])
    }

    /// The chain's own rounding.
    fn arithmetic(&self) -> Contributor {
        let subject = Subject::of_sensor(self.sensor);
        let share = total_over_converter(&roundings(&subject));
        let codes = share * (4.0 / 12.0 / self.sensor.rate_hz()).sqrt();
        self.white("core's arithmetic", codes, "rounding of all stages, white")
    }

    fn contributor(
        &self,
        name: &'static str,
        note: &str,
        density: impl Fn(usize, usize) -> f64,
    ) -> Contributor {
        let axis = |n: usize| -> Vec<f64> {
            self.pass.iter().enumerate().map(|(k, pass)| pass * density(n, k)).collect()
        };
        Contributor {
            name,
            enters: Enters::Readout,
            density: (0..self.sensor.axes().len()).map(axis).collect(),
            note: note.to_owned(),
        }
    }
}
