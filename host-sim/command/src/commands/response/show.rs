//! What `response` found, as text, JSON and a record.

use super::{Charge, Found, Response};
use quietgap_sim::calibration::coverage::factor;
use quietgap_sim::error::Result;
use quietgap_sim::pendulum::pull::ELEMENTARY_C;
use quietgap_sim::records::meta::Meta;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;

impl Found {
    /// Unit of a response to the drive, or to its square.
    pub(super) fn response_unit(&self, squared: bool) -> String {
        match (self.drive_unit.as_str(), squared) {
            ("unit", _) => self.unit.to_owned(),
            (unit, false) => format!("{}/{unit}", self.unit),
            (unit, true) => format!("{}/{unit}²", self.unit),
        }
    }

    fn half(&self, sure: f64, degrees: f64) -> f64 {
        factor(self.confidence, degrees) * sure
    }

    pub(super) fn name(&self, r: &Response) -> String {
        let beside = match r.sideband_hz {
            0.0 => String::new(),
            offset => format!(" {} {:.3e} Hz", if offset < 0.0 { "-" } else { "+" }, offset.abs()),
        };
        format!("{} x drive{beside}", r.harmonic)
    }

    pub(super) fn text(&self) -> String {
        let u = self.unit;
        let f: Vec<String> = self.frequencies_hz.iter().map(|f| format!("{f:.9e}")).collect();
        let mut text = format!(
            "{} driven by {} at {} Hz{}: {:.0} s, {:.1} cycles, {} parts; {} % intervals\n",
            self.reading,
            self.drive,
            f.join(", "),
            if self.found_frequency { " (found)" } else { "" },
            self.seconds,
            self.cycles,
            self.parts.len(),
            100.0 * self.confidence
        );
        let left_out = self.left_out.text();
        if !left_out.is_empty() {
            let _ = writeln!(text, "{left_out}");
        }
        for r in &self.responses {
            let line = &r.line;
            let _ = write!(
                text,
                "{} ({:.6e} Hz): amplitude {:.4e} +- {:.1e} {u}; noise beside it {:.2e} {u}/rtHz",
                self.name(r),
                line.frequency_hz,
                line.amplitude.norm(),
                self.half(line.uncertainty, line.degrees),
                line.noise
            );
            let _ = match r.predicted {
                Some(predicted) => writeln!(text, ", by the budget {predicted:.2e}"),
                None => writeln!(text),
            };
            for (told, squared) in [(r.linear, false), (r.squared, true)] {
                let Some((value, sure)) = told else { continue };
                let _ = writeln!(
                    text,
                    "  over the drive{}: in phase {:.6e}, in quadrature {:.2e}, both +- {:.1e} {}",
                    if squared { "'s square" } else { "" },
                    value.re,
                    value.im,
                    self.half(sure, line.degrees),
                    self.response_unit(squared)
                );
            }
            if let Some(p) = &r.repeated {
                let degrees = p.count as f64 - 1.0;
                let _ = write!(
                    text,
                    "  by the scatter of {} parts: in phase {:.6e} +- {:.1e}",
                    p.count,
                    p.mean.re,
                    self.half(p.uncertainty[0], degrees)
                );
                let _ = match p.rate {
                    Some(rate) => writeln!(
                        text,
                        "; it changes by {:.2e} +- {:.1e} a second",
                        rate.value,
                        self.half(rate.uncertainty, degrees - 1.0)
                    ),
                    None => writeln!(text),
                };
            }
        }
        if let Some(charge) = &self.charge {
            text += &self.charge_text(charge);
        }
        for warning in &self.warnings {
            let _ = writeln!(text, "NOTE: {warning}");
        }
        text
    }

    pub(super) fn charge_text(&self, c: &Charge) -> String {
        let half = self.half(c.uncertainty, c.degrees);
        let mut text = format!(
            "charge of the mass: {:.4e} +- {:.1e} C, {:.4e} +- {:.1e} elementary charges",
            c.coulomb,
            half,
            c.coulomb / ELEMENTARY_C,
            half / ELEMENTARY_C
        );
        if let Some([rate, sure]) = c.rate {
            let half = self.half(sure, self.parts.len() as f64 - 2.0);
            let _ = write!(
                text,
                "; growing by {:.2} +- {:.2} a second",
                rate / ELEMENTARY_C,
                half / ELEMENTARY_C
            );
        }
        let _ = writeln!(
            text,
            "\n  a volt of stray voltage on the driven electrode looks like {:.3e} of them: only changes are the charge's alone",
            c.per_stray_volt / ELEMENTARY_C
        );
        text
    }

    pub(super) fn json(&self) -> Value {
        let lines: Vec<Value> = self
            .responses
            .iter()
            .map(|r| {
                let line = &r.line;
                let over = |told: Option<(num_complex::Complex64, f64)>, squared| {
                    told.map(|(value, sure)| {
                        json!({
                            "in_phase": value.re, "quadrature": value.im, "uncertainty": sure,
                            "half_interval": self.half(sure, line.degrees), "unit": self.response_unit(squared),
                        })
                    })
                };
                json!({
                    "frequency_hz": line.frequency_hz, "harmonic": r.harmonic, "sideband_hz": r.sideband_hz,
                    "amplitude": line.amplitude.norm(), "phase_rad": line.amplitude.arg(),
                    "uncertainty": line.uncertainty, "degrees": line.degrees, "noise_asd": line.noise,
                    "predicted_asd": r.predicted, "response": over(r.linear, false), "squared": over(r.squared, true),
                    "parts": r.repeated.map(|p| json!({
                        "count": p.count, "in_phase": p.mean.re, "quadrature": p.mean.im,
                        "uncertainty": p.uncertainty[0], "quadrature_uncertainty": p.uncertainty[1],
                        "per_s": p.rate.map(|r| r.value), "per_s_uncertainty": p.rate.map(|r| r.uncertainty),
                        "first_off": p.first_off,
                    })),
                })
            })
            .collect();
        let charge = self.charge.as_ref().map(|c| {
            json!({
                "charge_c": c.coulomb, "uncertainty_c": c.uncertainty, "half_interval_c": self.half(c.uncertainty, c.degrees),
                "elementary": c.coulomb / ELEMENTARY_C, "elementary_uncertainty": c.uncertainty / ELEMENTARY_C,
                "rate_c_per_s": c.rate.map(|r| r[0]), "rate_uncertainty_c_per_s": c.rate.map(|r| r[1]),
                "per_stray_volt_c": c.per_stray_volt,
            })
        });
        json!({
            "schema": 1, "command": "response", "reading": self.reading, "unit": self.unit, "drive": self.drive,
            "drive_unit": self.drive_unit, "frequency_hz": self.frequencies_hz, "frequency_found": self.found_frequency,
            "seconds": self.seconds, "cycles": self.cycles, "parts": self.parts.len(), "confidence": self.confidence,
            "left_out": {
                "flagged": self.left_out.flagged, "missing": self.left_out.missing, "gaps": self.left_out.gaps,
            },
            "lines": lines, "charge": charge, "warnings": self.warnings,
        })
    }

    /// Parts as rows: amplitudes of the reading's lines, cosine and minus sine.
    pub(super) fn write(&self, path: &Path) -> Result<()> {
        let mut meta = Meta::new();
        meta.set("reading", &self.reading);
        meta.set("drive", &self.drive);
        let mut columns = vec![("t_s".to_owned(), Kind::Plain)];
        for (n, r) in self.responses.iter().enumerate() {
            meta.set(&format!("line_{}_hz", n + 1), r.line.frequency_hz);
            for part in ["cosine", "minus_sine"] {
                columns.push((format!("line_{}_{part}", n + 1), Kind::Number));
            }
        }
        let mut writer = Writer::create(path, &columns, &meta)?;
        for part in &self.parts {
            let lines = part.lines.iter().take(self.responses.len());
            let lines = lines.flat_map(|l| [l.amplitude.re, l.amplitude.im]);
            let row = std::iter::once(part.time_s).chain(lines).map(Cell::Number);
            writer.push(&row.collect::<Vec<_>>())?;
        }
        writer.finish()
    }
}
