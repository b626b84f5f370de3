//! What `calibrate` found, as text, JSON, TOML and a page.

use super::Calibrated;
use crate::calibration::bridges::{Found, MOST_STRAYS, Mixing, Point};
use crate::calibration::coverage::{Part, combined, factor};
use crate::instrument::coupling::MOST as MOST_COUPLING;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLUE, figure, page};
use maud::html;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Constants of a bridge, with combined standard uncertainties.
pub(super) struct Constants {
    name: String,
    a0_code: f64,
    /// Relative.
    a0: Part,
    alignment_rad: f64,
    alignment: Part,
    stray_f: [f64; 2],
    stray: Part,
    /// Of other bridges, by name; and standard uncertainties.
    shares: BTreeMap<String, f64>,
    share_uncertainties: BTreeMap<String, f64>,
}

impl Constants {
    pub(super) fn toml(&self) -> String {
        let [s1, s2] = self.stray_f;
        let table = |of: &BTreeMap<String, f64>| {
            of.iter().map(|(name, x)| format!("{name} = {x:e}")).collect::<Vec<_>>().join(", ")
        };
        format!(
            "\n[[calibration.bridge]]\nname = {:?}\na0_code = {:?}\na0_uncertainty = {:e}\nalignment_rad = {:?}\n\
             alignment_uncertainty_rad = {:e}\nstray_f = [{s1:e}, {s2:e}]\nstray_uncertainty_f = {:e}\n\
             cross_coupling = {{ {} }}\ncross_coupling_uncertainty = {{ {} }}\ndegrees = {:?}\n",
            self.name,
            self.a0_code,
            self.a0.uncertainty,
            self.alignment_rad,
            self.alignment.uncertainty,
            self.stray.uncertainty,
            table(&self.shares),
            table(&self.share_uncertainties),
            self.stray.degrees,
        )
    }
}

/// Share of another bridge beyond which the two may have changed places.
const SWAPPED: f64 = 0.5;
/// Gain that is no bridge's.
const GAIN: [f64; 2] = [0.2, 5.0];

impl Calibrated {
    pub(super) fn constants(&self) -> Vec<Constants> {
        let (file, design) = (&self.sensor.file, &self.sensor.design);
        let mixing = self.mixing();
        self.found
            .iter()
            .enumerate()
            .map(|(b, found)| {
                let degrees = found.line.degrees;
                let part = |uncertainty: f64| Part { uncertainty, degrees };
                let stage = Part { uncertainty: self.stage_scale, degrees: f64::INFINITY };
                let pair: f64 = design.c0_f[b].iter().sum();
                let added = found.stray_share() * pair;
                // A capacitance is not negative: the difference goes to the side that has more.
                let [s1, s2] = file.bridges[b].stray_f;
                Constants {
                    name: file.bridges[b].name.clone(),
                    a0_code: design.calibrated_a0(file, b) * mixing.gains[b],
                    a0: combined(&[part(found.line.uncertainty(0) / found.gain()), stage]),
                    alignment_rad: design.alignment(file, b) + found.phase_rad[0],
                    alignment: part(found.phase_rad[1]),
                    stray_f: [s1 + added.max(0.0), s2 + (-added).max(0.0)],
                    stray: part(found.line.uncertainty(1) / found.gain() * pair),
                    shares: mixing.by_name(&self.sensor, b),
                    share_uncertainties: self
                        .others(b)
                        .zip(2..)
                        .map(|(other, n)| (other, found.line.uncertainty(n) / found.gain()))
                        .collect(),
                }
            })
            .collect()
    }

    fn mixing(&self) -> Mixing {
        Mixing::new(&self.sensor, &self.found)
    }

    /// Names of all bridges but one, in order.
    fn others(&self, b: usize) -> impl Iterator<Item = String> {
        let names = self.sensor.file.bridges.iter().enumerate();
        names.filter(move |(n, _)| *n != b).map(|(_, bridge)| bridge.name.clone())
    }

    /// What no calibration makes good: by name.
    pub(super) fn wrong(&self) -> Vec<String> {
        let name = |b: usize| self.sensor.file.bridges[b].name.as_str();
        let mut wrong = Vec::new();
        let mixing = self.mixing();
        for (b, found) in self.found.iter().enumerate() {
            let shares: f64 = mixing.shares.row(b).iter().map(|share| share.abs()).sum();
            let gain = found.gain();
            let other = |n: usize| if n < b { n } else { n + 1 };
            if let Some((n, share)) = found.largest_coupling().filter(|(_, s)| s.abs() > SWAPPED) {
                wrong.push(format!(
                    "bridge {} follows bridge {} by {share:.2} of its own: are their channels swapped?",
                    name(b),
                    name(other(n))
                ));
            } else if gain < 0.0 {
                wrong.push(format!(
                    "bridge {} reads {gain:.3} of what it should: its sign is reversed",
                    name(b)
                ));
            } else if !(GAIN[0]..=GAIN[1]).contains(&gain) {
                wrong.push(format!(
                    "bridge {} reads {gain:.3e} of what it should, allowed {} to {}: is the reference in another unit, or \
                     did the stage not move?",
                    name(b),
                    GAIN[0],
                    GAIN[1]
                ));
            } else if shares > MOST_COUPLING {
                wrong.push(format!(
                    "bridge {} has {shares:.2} of the others, allowed {MOST_COUPLING} together: that is no cross-coupling",
                    name(b)
                ));
            } else if found.stray_share().abs() > MOST_STRAYS {
                wrong.push(format!(
                    "bridge {} reads {:.2} of its whole range where the reference says that the mass is centred: another place?",
                    name(b),
                    found.stray_share()
                ));
            }
        }
        wrong
    }

    /// Rms of what a line leaves, m.
    fn left_m(&self, b: usize, found: &Found) -> f64 {
        found.line.residual_sd / found.gain() * self.sensor.design.gap_m[b]
    }

    /// Rms of what the readings' own noise would leave there, m: where the line leaves more, the sensor or the stage
    /// does something else.
    fn noise_m(&self, b: usize) -> f64 {
        let row = self.sensor.design.geometry.row(b);
        let square =
            |p: &Point| row.iter().zip(&p.noise).map(|(h, u)| (h * u).powi(2)).sum::<f64>();
        (self.points.iter().map(square).sum::<f64>() / self.points.len() as f64).sqrt()
    }

    pub(super) fn text(&self) -> String {
        let mut text = format!(
            "{} places; intervals of {} % by Student's t\n  bridge        gain                      phase rad                 \
             strays' difference F      largest share of another   left m rms (noise)\n",
            self.points.len(),
            self.confidence * 100.0
        );
        for (b, (c, found)) in self.constants().iter().zip(&self.found).enumerate() {
            let wide = |p: &Part| factor(self.confidence, p.degrees) * p.uncertainty;
            let other = found.largest_coupling().map_or(String::new(), |(n, share)| {
                let other = if n < b { n } else { n + 1 };
                format!("{share:+.2e} of {}", self.sensor.file.bridges[other].name)
            });
            let _ = writeln!(
                text,
                "  {:<12}  {:.7} +- {:.1e}  {:+.6} +- {:.1e}  {:+.4e} +- {:.1e}  {other:<25}  {:.2e} ({:.1e})",
                c.name,
                found.gain(),
                wide(&c.a0) * found.gain(),
                found.phase_rad[0],
                wide(&c.alignment),
                c.stray_f[0] - c.stray_f[1],
                wide(&c.stray),
                self.left_m(b, found),
                self.noise_m(b),
            );
        }
        text
    }

    pub(super) fn json(&self) -> Value {
        let bridges: Vec<Value> = self
            .constants()
            .iter()
            .zip(&self.found)
            .enumerate()
            .map(|(b, (c, found))| {
                let line = &found.line;
                let count = line.values.len();
                let correlations: Vec<Vec<f64>> = (0..count)
                    .map(|m| (0..count).map(|n| line.correlation(m, n)).collect())
                    .collect();
                let part = |value: f64, p: &Part| {
                    json!({
                        "value": value, "uncertainty": p.uncertainty, "degrees": p.degrees,
                        "expanded": factor(self.confidence, p.degrees) * p.uncertainty,
                    })
                };
                json!({
                    "name": c.name, "gain": found.gain(), "a0_code": c.a0_code,
                    "a0_relative": part(1.0, &c.a0), "alignment_rad": part(c.alignment_rad, &c.alignment),
                    "phase_off_rad": found.phase_rad[0], "stray_f": c.stray_f,
                    "stray_difference_f": part(c.stray_f[0] - c.stray_f[1], &c.stray),
                    "shares": line.values[2..].iter().map(|s| s / found.gain()).collect::<Vec<_>>(),
                    "share_uncertainties": (2..count).map(|n| line.uncertainty(n) / found.gain()).collect::<Vec<_>>(),
                    "cross_coupling": c.shares, "cross_coupling_uncertainty": c.share_uncertainties,
                    "correlations": correlations, "still_quadrature": found.still_quadrature,
                    "left_m_rms": self.left_m(b, found), "noise_m_rms": self.noise_m(b),
                })
            })
            .collect();
        json!({
            "schema": 1, "command": "calibrate", "sensor": self.sensor.file.name, "date": self.date,
            "places": self.points.len(), "confidence": self.confidence, "data_checksum": self.data_checksum,
            "settings_checksum": self.settings_checksum, "bridges": bridges,
        })
    }

    pub(super) fn html(&self) -> String {
        let left = |b: usize, found: &Found| Figure {
            title: format!("bridge {}: what the line leaves", self.sensor.file.bridges[b].name),
            x: "place".to_owned(),
            y: "displacement / m".to_owned(),
            scale: Scale::Linear,
            curves: vec![Curve {
                label: self.sensor.file.bridges[b].name.clone(),
                colour: BLUE,
                points: (1..)
                    .zip(&found.line.residuals)
                    .map(|(n, e)| (f64::from(n), e / found.gain() * self.sensor.design.gap_m[b]))
                    .collect(),
            }],
        };
        let body = html! {
            h1 { (self.sensor.file.name) ": calibration" }
            @for line in self.text().lines() { p { (line) } }
            @for (b, found) in self.found.iter().enumerate() {
                (figure(&left(b, found), "Balance as read less gain, strays and shares of the others, times the gap."))
            }
        };
        page(&format!("quietgap: {}, calibration", self.sensor.file.name), &body)
    }
}
