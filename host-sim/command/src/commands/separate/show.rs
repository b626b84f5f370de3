//! What `separate` found, as text, JSON and a page.

use super::Found;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLACK, BLUE, GREEN, ORANGE, figure, page};
use maud::html;
use quietgap_sim::pendulum::swing::Measured;
use quietgap_sim::separation::align::Alignment;
use serde_json::{Value, json};
use statrs::distribution::{ContinuousCDF, Normal};
use std::fmt::Write as _;

/// Standard deviations on both sides of an interval.
pub(super) fn quantile(confidence: f64) -> f64 {
    Normal::standard().inverse_cdf(0.5 + 0.5 * confidence)
}

/// Relative difference of the clocks that is told as a fault of them.
const CLOCKS_APART: f64 = 1e-6;

const ASSUMED: [&str; 2] = [
    "two sensors: noises are taken to know nothing of each other nor of the motion",
    "three sensors: noises are taken to know nothing of each other",
];

impl Found {
    fn assumed(&self) -> &'static str {
        ASSUMED[self.names.len() - 2]
    }

    /// What stands out about an alignment.
    fn told(&self, a: &Alignment) -> Vec<String> {
        let mut told = Vec::new();
        let sure = |m: &Measured, least: f64| m.value.abs() > (3.0 * m.uncertainty).max(least);
        if a.scale.value < 0.0 {
            told.push("the sign of one is reversed".to_owned());
        }
        let power = a.scale.value.abs().log10();
        let near = (power / 3.0).round() * 3.0;
        if near != 0.0 && (power - near).abs() < 0.2 {
            told.push(format!("the scale is near 10^{near}: a unit may be another"));
        }
        if sure(&a.clock, CLOCKS_APART) {
            told.push(format!("the clocks run {:.2} ppm apart", a.clock.value * 1e6));
        }
        if a.explained < 0.5 {
            told.push("most of the first's motion is not in the second".to_owned());
        }
        told
    }

    pub(super) fn text(&self) -> String {
        let u = self.unit;
        let mut text = format!("{:.0} s in common; {}\n", self.seconds, self.assumed());
        for (n, a) in self.alignments.iter().enumerate() {
            let m = |m: &Measured| format!("{:.6e} +- {:.1e}", m.value, m.uncertainty);
            let _ = writeln!(
                text,
                "sensor {} to sensor 1: scale {}, delay {} s, clocks apart {}; it explains {:.6} of the \
                 first's variance; standard uncertainties",
                n + 2,
                m(&a.scale),
                m(&a.delay_s),
                m(&a.clock),
                a.explained
            );
            for line in self.told(a) {
                let _ = writeln!(text, "  NOTE: {line}");
            }
        }
        for (n, name) in self.names.iter().enumerate() {
            let _ = writeln!(text, "sensor {}: {name}", n + 1);
        }
        let _ = writeln!(
            text,
            "noise, {u}/rtHz, mean over half a decade, with {} % intervals:",
            self.confidence * 100.0
        );
        for band in self.split.bands() {
            let _ = write!(text, "  {:>9.2e} to {:>9.2e} Hz", band.hz[0], band.hz[1]);
            for noise in &band.noises {
                let [value, low, high] = self.interval(*noise);
                let _ = if low > 0.0 {
                    write!(text, "  {value:.3e} ({low:.2e} to {high:.2e})")
                } else {
                    write!(text, "  below {high:.3e}               ")
                };
            }
            text.push('\n');
        }
        text
    }

    pub(super) fn json(&self) -> Value {
        let m = |m: &Measured| json!({ "value": m.value, "uncertainty": m.uncertainty });
        let alignments: Vec<Value> = self
            .alignments
            .iter()
            .map(|a| {
                json!({
                    "scale": m(&a.scale), "delay_s": m(&a.delay_s), "clock": m(&a.clock),
                    "offset": a.offset, "drift_per_s": a.drift_per_s, "explained": a.explained, "notes": self.told(a),
                })
            })
            .collect();
        let split = &self.split;
        let of = |which: usize| -> Vec<Vec<f64>> {
            let of_noise = |noise: &quietgap_sim::separation::noise::Noise| -> Vec<f64> {
                noise
                    .power
                    .iter()
                    .zip(&noise.uncertainty)
                    .map(|(p, u)| self.interval([*p, *u])[which])
                    .collect()
            };
            split.noises.iter().map(of_noise).collect()
        };
        let bands: Vec<Value> = split
            .bands()
            .iter()
            .map(|band| {
                let noises: Vec<Value> = band
                    .noises
                    .iter()
                    .map(|noise| {
                        let [value, low, high] = self.interval(*noise);
                        json!({ "asd": value, "low": low, "high": high })
                    })
                    .collect();
                json!({ "from_hz": band.hz[0], "to_hz": band.hz[1], "noises": noises })
            })
            .collect();
        json!({
            "schema": 1, "command": "separate", "sensors": self.names, "unit": self.unit, "seconds": self.seconds,
            "assumption": self.assumed(), "alignments": alignments, "confidence": self.confidence, "bands": bands,
            "frequency_hz": split.bins.iter().map(|b| b.frequency_hz).collect::<Vec<_>>(),
            "coherence": split.coherence,
            "whole_asd": [split.whole[0].amplitude(), split.whole[1].amplitude()],
            "noise_asd": of(0), "low": of(1), "high": of(2),
        })
    }

    pub(super) fn html(&self) -> String {
        let split = &self.split;
        let frequencies: Vec<f64> = split.bins.iter().map(|b| b.frequency_hz).collect();
        // What chance made nothing of has no place on a logarithmic axis.
        let curve = |label: String, colour, values: Vec<f64>| Curve {
            label,
            colour,
            points: frequencies.iter().copied().zip(values).filter(|(_, y)| *y > 0.0).collect(),
        };
        let mut curves =
            vec![curve("sensor 1, motion and noise".to_owned(), BLACK, split.whole[0].amplitude())];
        let colours = [BLUE, ORANGE, GREEN];
        for (n, (noise, colour)) in split.noises.iter().zip(colours).enumerate() {
            let values = noise.power.iter().map(|p| p.max(0.0).sqrt()).collect();
            curves.push(curve(format!("noise of sensor {}", n + 1), colour, values));
        }
        let densities = Figure {
            title: "noise of each sensor".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: format!("density / ({}/rtHz)", self.unit),
            scale: Scale::LogLog,
            curves,
            ..Figure::default()
        };
        let coherence = Figure {
            title: "coherence".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: "coherence".to_owned(),
            scale: Scale::LogX,
            curves: vec![curve("sensors 1 and 2".to_owned(), BLUE, split.coherence.clone())],
            ..Figure::default()
        };
        let body = html! {
            h1 { "Sensors of one motion" }
            @for line in self.text().lines() { p { (line) } }
            (figure(&densities, &format!("Blackman-Harris window, a segment length for each frequency; {}.", self.assumed())))
            (figure(&coherence, "Blackman-Harris window."))
        };
        page("quietgap: noise of each sensor", &body)
    }
}
