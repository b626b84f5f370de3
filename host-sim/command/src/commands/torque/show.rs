//! What `torque` found, as text, JSON, a record and a page.

use super::Found;
use crate::page::figure::{Band, Curve, Figure, Scale};
use crate::page::report::{BLUE, GREEN, ORANGE, figure, page};
use maud::html;
use quietgap_sim::error::Result;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::pendulum::swing::Measured;
use quietgap_sim::pendulum::torque::{Coefficients, acceleration_error};
use quietgap_sim::readout::readings;
use quietgap_sim::records::Record;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;

fn measured_text(m: &Measured) -> String {
    format!("{:.6e} +- {:.1e}", m.value, m.uncertainty)
}

fn measured_json(m: &Measured) -> Value {
    json!({ "value": m.value, "uncertainty": m.uncertainty })
}

impl Found {
    pub(super) fn manner(&self) -> String {
        let whose = if self.measured { "measured in the record" } else { "of the sensor file" };
        let Coefficients { inertia, damping, stiffness } = self.coefficients;
        format!(
            "T = I a + b v + kappa x with I = {inertia:.4e} kg m^2, b = {damping:.4e} N m s, kappa = {stiffness:.6e} \
             N m/rad {whose}; derivatives by five values, in error by {:.1e} at {} Hz",
            acceleration_error(self.pass_hz, self.rate_hz),
            self.pass_hz
        )
    }

    /// Period and whether it agrees with the file's.
    fn swing_text(&self) -> String {
        let p = &self.pendulum;
        let Some(s) = &self.swing else {
            return format!(
                "no free swing can be told (six periods of {:.1} s without a gap are wanted)\n",
                p.period_s()
            );
        };
        let apart = s.period_s.value / p.period_s() - 1.0;
        let told = if apart.abs() > 0.01 {
            ": the file's stiffness or inertia is not that of the record"
        } else {
            ""
        };
        format!(
            "free swing: period {} s (file {:.3} s, {:+.2} % apart{told}), Q {} (file {:.0}), amplitude {} rad, phase \
             {} rad at the first row; standard uncertainties\n",
            measured_text(&s.period_s),
            p.period_s(),
            apart * 100.0,
            measured_text(&s.quality),
            p.whole_quality(),
            measured_text(&s.amplitude),
            measured_text(&s.phase_rad)
        )
    }

    fn thermal(&self, f: f64) -> f64 {
        self.pendulum.fibre_noise(f).hypot(self.pendulum.viscous_noise(self.pendulum.damping))
    }

    pub(super) fn text(&self, record: &Record) -> String {
        let left_out = record.left_out.text();
        let mut text = format!("{}\n{}", self.manner(), self.swing_text());
        if !left_out.is_empty() {
            let _ = writeln!(text, "{left_out}");
        }
        let _ =
            writeln!(text, "  frequency    torque N m/rtHz  thermal    acceleration m/s^2/rtHz");
        let mut next = 0.0;
        for (bin, power) in self.density.bins.iter().zip(&self.density.power) {
            let f = bin.frequency_hz;
            if f < next {
                continue;
            }
            next = f * 10f64.sqrt();
            let torque = power.sqrt();
            let _ = writeln!(
                text,
                "  {f:>10.3e} Hz  {torque:>10.3e}  {:>10.3e}  {:>10.3e}",
                self.thermal(f),
                self.pendulum.acceleration(torque)
            );
        }
        text
    }

    pub(super) fn json(&self, sensor: &Sensor, record: &Record, confidence: f64) -> Value {
        let p = &self.pendulum;
        let interval = self.density.amplitude_interval(confidence);
        let swing = self.swing.as_ref().map(|s| {
            json!({
                "period_s": measured_json(&s.period_s), "quality": measured_json(&s.quality),
                "amplitude_rad": measured_json(&s.amplitude), "phase_rad": measured_json(&s.phase_rad),
                "drive_density_per_s2_per_rthz": s.drive_density,
            })
        });
        json!({
            "schema": 1, "command": "torque", "sensor": sensor.file.name, "rate_hz": record.rate_hz,
            "seconds": record.seconds(), "stretches": record.runs.len(),
            "left_out": {
                "flagged": record.left_out.flagged, "missing": record.left_out.missing, "gaps": record.left_out.gaps,
            },
            "file": {
                "period_s": p.period_s(), "quality": p.whole_quality(), "stiffness_n_m": p.stiffness(),
                "fibre_n_m": p.fibre, "tension_n_m": p.tension, "electrostatic_n_m": p.electrostatic,
                "inertia_kg_m2": p.inertia,
            },
            "swing": swing, "measured": self.measured,
            "inertia_kg_m2": self.coefficients.inertia, "damping_n_m_s": self.coefficients.damping,
            "stiffness_n_m": self.coefficients.stiffness, "pass_hz": self.pass_hz,
            "acceleration_error": acceleration_error(self.pass_hz, self.rate_hz), "confidence": confidence,
            "frequency_hz": self.density.frequencies().collect::<Vec<_>>(),
            "torque_asd": self.density.amplitude(),
            "low": interval.iter().map(|i| i[0]).collect::<Vec<_>>(),
            "high": interval.iter().map(|i| i[1]).collect::<Vec<_>>(),
            "thermal_asd": self.density.frequencies().map(|f| self.thermal(f)).collect::<Vec<_>>(),
            "acceleration_asd": self.density.amplitude().iter().map(|t| p.acceleration(*t)).collect::<Vec<_>>(),
        })
    }

    pub(super) fn write_density(
        &self,
        path: &Path,
        sensor: &Sensor,
        confidence: f64,
    ) -> Result<()> {
        let mut meta = readings::meta(sensor);
        meta.set("torque", self.manner());
        let names = [
            "frequency_hz",
            "torque_n_m_asd",
            "torque_n_m_low",
            "torque_n_m_high",
            "acceleration_m_per_s2_asd",
            "thermal_n_m_asd",
        ];
        let columns = names.map(|name| (name.to_owned(), Kind::Number));
        let mut writer = Writer::create(path, &columns, &meta)?;
        let interval = self.density.amplitude_interval(confidence);
        for ((bin, torque), [low, high]) in
            self.density.bins.iter().zip(self.density.amplitude()).zip(interval)
        {
            let f = bin.frequency_hz;
            let row = [f, torque, low, high, self.pendulum.acceleration(torque), self.thermal(f)];
            writer.push(&row.map(Cell::Number))?;
        }
        writer.finish()
    }

    pub(super) fn html(&self, sensor: &Sensor, confidence: f64) -> String {
        let interval = self.density.amplitude_interval(confidence);
        let at = |values: Vec<f64>| -> Vec<(f64, f64)> {
            self.density.frequencies().zip(values).collect()
        };
        let band = Band::interval(
            confidence,
            BLUE,
            (self.density.frequencies().zip(interval))
                .map(|(f, [low, high])| [f, low, high])
                .collect(),
        );
        let torque = Figure {
            title: "torque noise".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: "density / (N m/rtHz)".to_owned(),
            scale: Scale::LogLog,
            curves: vec![
                Curve::new("torque", BLUE, at(self.density.amplitude())),
                Curve::new(
                    "thermal",
                    ORANGE,
                    at(self.density.frequencies().map(|f| self.thermal(f)).collect()),
                ),
            ],
            bands: vec![band],
            ..Figure::default()
        };
        let acceleration = Figure {
            title: "equivalent acceleration of one mass".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: "density / (m/s²/rtHz)".to_owned(),
            scale: Scale::LogLog,
            curves: vec![Curve::new(
                "acceleration",
                GREEN,
                at(self
                    .density
                    .amplitude()
                    .iter()
                    .map(|t| self.pendulum.acceleration(*t))
                    .collect()),
            )],
            ..Figure::default()
        };
        let body = html! {
            h1 { (sensor.file.name) ": torque" }
            p { (self.swing_text()) }
            (figure(&torque, &format!("{}. Kaiser-Bessel window, a segment length for each frequency.", self.manner())))
            (figure(&acceleration, "Torque over arm and mass."))
        };
        page(&format!("quietgap: {}, torque", sensor.file.name), &body)
    }
}
