//! What `calibrate` found, as text, JSON, TOML and a page.

use super::Calibrated;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLUE, figure, page};
use maud::html;
use quietgap_sim::calibration::bridges::{Found, MOST_STRAYS, Mixing, Point};
use quietgap_sim::calibration::coverage::{Part, combined, factor};
use quietgap_sim::instrument::coupling::MOST as MOST_COUPLING;
use quietgap_sim::pendulum::swing::Measured;
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
                    stray: part(found.line.ratio(1)[1] * pair),
                    shares: mixing.by_name(&self.sensor, b),
                    share_uncertainties: self
                        .others(b)
                        .zip(2..)
                        .map(|(other, n)| (other, found.line.ratio(n)[1]))
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
            if let Some((n, share)) = found.largest_coupling().filter(|(_, s)| s.abs() > SWAPPED) {
                wrong.push(format!(
                    "bridge {} follows bridge {} by {share:.2} of its own: are their channels swapped?",
                    name(b),
                    self.others(b).nth(n).unwrap_or_default()
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
    /// None where each point is one reading.
    fn noise_m(&self, b: usize) -> Option<f64> {
        let row = self.sensor.design.geometry.row(b);
        let square = |p: &Point| -> Option<f64> {
            let noise = p.noise.as_ref()?;
            Some(row.iter().zip(noise).map(|(h, u)| (h * u).powi(2)).sum())
        };
        let sum = self.points.iter().map(square).sum::<Option<f64>>()?;
        Some((sum / self.points.len() as f64).sqrt())
    }

    pub(super) fn text(&self) -> String {
        let swept = self.swept.as_ref().map_or(String::new(), |a| {
            let z = factor(self.confidence, f64::INFINITY);
            format!(
                "the reference is {:.6} +- {:.1e} s early, its clock {:+.3e} +- {:.1e} fast\n",
                a.delay_s.value,
                z * a.delay_s.uncertainty,
                -a.clock.value,
                z * a.clock.uncertainty
            )
        });
        let mut text = format!(
            "{swept}{} places; intervals of {} % by Student's t\n  bridge        gain                      phase rad                 \
             strays' difference F      largest share of another   left m rms (noise)\n",
            self.points.len(),
            self.confidence * 100.0
        );
        let constants = self.constants();
        for (b, (c, found)) in constants.iter().zip(&self.found).enumerate() {
            let wide = |p: &Part| factor(self.confidence, p.degrees) * p.uncertainty;
            let other = found.largest_coupling().map_or(String::new(), |(n, share)| {
                format!("{share:+.2e} of {}", self.others(b).nth(n).unwrap_or_default())
            });
            let noise = self.noise_m(b).map_or("-".to_owned(), |noise| format!("{noise:.1e}"));
            let _ = writeln!(
                text,
                "  {:<12}  {:.7} +- {:.1e}  {:+.6} +- {:.1e}  {:+.4e} +- {:.1e}  {other:<25}  {:.2e} ({noise})",
                c.name,
                found.gain(),
                wide(&c.a0) * found.gain(),
                found.phase_rad[0],
                wide(&c.alignment),
                c.stray_f[0] - c.stray_f[1],
                wide(&c.stray),
                self.left_m(b, found),
            );
        }
        for (c, found) in constants.iter().zip(&self.found) {
            let Some(bent) = found.bent else { continue };
            let wide = factor(self.confidence, found.line.degrees);
            let [[square, u2], [cube, u3]] = bent;
            let _ = writeln!(
                text,
                "  {:<12}  beside the exact inverse: {square:+.1e} +- {:.1e} of the balance's square, {cube:+.1e} +- {:.1e} of \
                 its cube",
                c.name,
                wide * u2,
                wide * u3,
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
                let mut bridge = json!({
                    "name": c.name, "gain": found.gain(), "a0_code": c.a0_code,
                    "a0_relative": part(1.0, &c.a0), "alignment_rad": part(c.alignment_rad, &c.alignment),
                    "phase_off_rad": found.phase_rad[0], "stray_f": c.stray_f,
                    "stray_difference_f": part(c.stray_f[0] - c.stray_f[1], &c.stray),
                    "shares": (2..count).map(|n| line.ratio(n)[0]).collect::<Vec<_>>(),
                    "share_uncertainties": (2..count).map(|n| line.ratio(n)[1]).collect::<Vec<_>>(),
                    "degrees": line.degrees,
                    "cross_coupling": c.shares, "cross_coupling_uncertainty": c.share_uncertainties,
                    "correlations": correlations, "still_quadrature": found.still_quadrature,
                    "left_m_rms": self.left_m(b, found),
                });
                if let Some(noise) = self.noise_m(b) {
                    bridge["noise_m_rms"] = json!(noise);
                }
                if let Some(bent) = found.bent {
                    bridge["square"] = part(bent[0][0], &Part { uncertainty: bent[0][1], degrees: line.degrees });
                    bridge["cube"] = part(bent[1][0], &Part { uncertainty: bent[1][1], degrees: line.degrees });
                }
                bridge
            })
            .collect();
        let mut told = json!({
            "schema": 1, "command": "calibrate", "sensor": self.sensor.file.name, "date": self.date,
            "places": self.points.len(), "confidence": self.confidence, "data_checksum": self.data_checksum,
            "settings_checksum": self.settings_checksum, "bridges": bridges,
        });
        if let Some(a) = &self.swept {
            let measured = |m: &Measured| json!({ "value": m.value, "uncertainty": m.uncertainty });
            told["delay_s"] = measured(&a.delay_s);
            told["clock"] = measured(&a.clock);
        }
        told
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
            ..Figure::default()
        };
        let body = html! {
            h1 { (self.sensor.file.name) ": calibration" }
            div.wide { pre { (self.text()) } }
            @for (b, found) in self.found.iter().enumerate() {
                (figure(&left(b, found), "Balance as read less gain, strays and shares of the others, times the gap."))
            }
        };
        page(&format!("quietgap: {}, calibration", self.sensor.file.name), &body)
    }
}
