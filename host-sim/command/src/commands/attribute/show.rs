//! What `attribute` found, as text, JSON and a record.

use super::Found;
use quietgap_sim::attribution::cells::Bent;
use quietgap_sim::attribution::judge::Band;
use quietgap_sim::attribution::term::{Form, Term};
use quietgap_sim::calibration::coverage::factor;
use quietgap_sim::error::Result;
use quietgap_sim::records::meta::Meta;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;

impl Found {
    /// Channel and form.
    pub(super) fn term_name(&self, term: &Term) -> String {
        let name = &self.together.channels[term.channel].name;
        match term.form {
            Form::Plain => name.clone(),
            Form::Rate => format!("rate of {name}"),
            Form::Lag { time_s } => format!("{name}, lagging {time_s:.4} s"),
        }
    }

    /// Unit of a coefficient: that of the reading over that of the term.
    pub(super) fn coefficient_unit(&self, term: &Term) -> String {
        let channel = &self.together.channels[term.channel].unit;
        match (channel.as_str(), term.form) {
            // A bare number, as a relative intensity is one.
            ("unit", Form::Rate) => format!("{} s", self.unit),
            ("unit", _) => self.unit.to_owned(),
            (channel, Form::Rate) => format!("{}/({channel}/s)", self.unit),
            (channel, _) => format!("{}/{channel}", self.unit),
        }
    }

    /// Half the interval of a coefficient.
    pub(super) fn half(&self, n: usize) -> f64 {
        factor(self.confidence, self.fit.degrees[n]) * self.fit.uncertainty(n)
    }

    /// Whether a prediction lies within the interval.
    fn agrees(&self, n: usize, predicted: f64) -> bool {
        (self.fit.values[n] - predicted).abs() <= self.half(n)
    }

    pub(super) fn text(&self) -> String {
        let t = &self.together;
        let mut text = format!(
            "{} by {} channels: {:.0} s in {} stretches at {:.5} Hz, up to {:.4} Hz\n",
            self.reading,
            t.channels.len(),
            t.seconds(),
            t.runs.len(),
            t.rate_hz,
            t.to_hz
        );
        let left_out = self.left_out.text();
        if !left_out.is_empty() {
            let _ = writeln!(text, "{left_out}");
        }
        if self.choice.terms.is_empty() {
            text += "nothing of it follows any channel more than chance would have it\n";
        } else {
            let _ = writeln!(text, "coefficients with {} % intervals:", self.confidence * 100.0);
        }
        for (n, term) in self.choice.terms.iter().enumerate() {
            let _ = write!(
                text,
                "  {}: {:.6e} +- {:.1e} {}",
                self.term_name(term),
                self.fit.values[n],
                self.half(n),
                self.coefficient_unit(term)
            );
            if let Some(sure) = self.beside(n, Bent::Time) {
                let _ = write!(text, "; lag known to {sure:.1e} s");
            }
            if let Some(sure) = self.beside(n, Bent::Delay) {
                let _ = write!(text, "; delay {:.4e} s known to {sure:.1e}", term.delay_s);
            }
            if let Some(predicted) = self.predicted[n] {
                let so = if self.agrees(n, predicted) { "within" } else { "NOT within" };
                let _ = write!(text, "; the sensor file says {predicted:.5e}, {so} the interval");
            }
            let _ = writeln!(text, "; it makes {:.2e} {} rms", self.rms(&self.parts[n]), self.unit);
        }
        let _ = writeln!(
            text,
            "rms about straight lines: {:.3e} {} before, {:.3e} left; weighed by what noise is at each frequency, {:.1} % is \
             explained",
            self.rms(&self.together.reading),
            self.unit,
            self.rms(&self.left),
            100.0 * self.explained_weighed()
        );
        if let Some([first, second]) = self.crossed {
            let _ = writeln!(
                text,
                "first half by the second's coefficients {:.1} %, second by the first's {:.1} %",
                100.0 * first,
                100.0 * second
            );
        }
        if !self.rules.all {
            let _ = writeln!(
                text,
                "chosen from {} couplings, at most {} % of those chosen false in the mean",
                self.choice.hypotheses,
                100.0 * self.rules.false_share
            );
        }
        for tried in self.choice.tried.iter().filter(|t| t.p > t.bound) {
            let _ = writeln!(
                text,
                "  next would have been {}: p {:.2e}, allowed {:.2e}",
                self.term_name(&tried.term),
                tried.p,
                tried.bound
            );
        }
        for warning in &self.warnings {
            let _ = writeln!(text, "NOTE: {warning}");
        }
        let _ = writeln!(
            text,
            "coherence with all channels together, without its bias ({} % threshold); {}/rtHz before, left",
            100.0 * self.confidence,
            self.unit
        );
        for b in &self.bands {
            let chance = if b.coherence < b.threshold { "  (may be chance)" } else { "" };
            let _ = writeln!(
                text,
                "  {:>9.2e} to {:>9.2e} Hz  {:.3} ({:.3})  {:.3e}  {:.3e}{chance}",
                b.from_hz,
                b.to_hz,
                b.unbiased,
                b.threshold,
                b.reading.sqrt(),
                b.left.sqrt()
            );
        }
        text
    }

    pub(super) fn json(&self) -> Value {
        let terms: Vec<Value> = self
            .choice
            .terms
            .iter()
            .enumerate()
            .map(|(n, term)| {
                let (form, time) = match term.form {
                    Form::Plain => ("plain", None),
                    Form::Rate => ("rate", None),
                    Form::Lag { time_s } => ("lag", Some(time_s)),
                };
                let half = self.half(n);
                json!({
                    "channel": self.together.channels[term.channel].name, "form": form,
                    "coefficient": self.fit.values[n], "uncertainty": self.fit.uncertainty(n),
                    "degrees": self.fit.degrees[n], "low": self.fit.values[n] - half, "high": self.fit.values[n] + half,
                    "unit": self.coefficient_unit(term), "lag_s": time,
                    "lag_uncertainty_s": self.beside(n, Bent::Time),
                    "delay_s": self.beside(n, Bent::Delay).map(|_| term.delay_s),
                    "delay_uncertainty_s": self.beside(n, Bent::Delay),
                    "rms": self.rms(&self.parts[n]), "share_in_lowest": self.fit.lowest[n],
                    "predicted": self.predicted[n],
                    "predicted_within": self.predicted[n].map(|p| self.agrees(n, p)),
                })
            })
            .collect();
        let tried: Vec<Value> = self
            .choice
            .tried
            .iter()
            .map(|t| json!({ "term": self.term_name(&t.term), "p": t.p, "bound": t.bound, "entered": t.p <= t.bound }))
            .collect();
        let of = |value: fn(&Band) -> f64| self.bands.iter().map(value).collect::<Vec<_>>();
        json!({
            "schema": 1, "command": "attribute", "reading": self.reading, "unit": self.unit,
            "rate_hz": self.together.rate_hz, "to_hz": self.together.to_hz, "seconds": self.together.seconds(),
            "stretches": self.together.runs.len(),
            "left_out": {
                "flagged": self.left_out.flagged, "missing": self.left_out.missing, "gaps": self.left_out.gaps,
            },
            "channels": self.together.channels.iter().map(|c| &c.name).collect::<Vec<_>>(),
            "hypotheses": self.choice.hypotheses, "false_share": self.rules.false_share, "chosen": !self.rules.all,
            "confidence": self.confidence, "terms": terms, "tried": tried,
            "rms": self.rms(&self.together.reading), "rms_left": self.rms(&self.left),
            "explained": self.explained_weighed(), "explained_by_other_half": self.crossed,
            "bands": {
                "from_hz": of(|b| b.from_hz), "to_hz": of(|b| b.to_hz), "coherence": of(|b| b.coherence),
                "coherence_unbiased": of(|b| b.unbiased), "threshold": of(|b| b.threshold),
                "asd": of(|b| b.reading.sqrt()), "asd_left": of(|b| b.left.sqrt()),
            },
            "warnings": self.warnings,
        })
    }

    /// Bands as rows.
    pub(super) fn write(&self, path: &Path) -> Result<()> {
        let mut meta = Meta::new();
        meta.set("reading", &self.reading);
        for (n, term) in self.choice.terms.iter().enumerate() {
            let told = format!(
                "{} {:e} +- {:e} {}",
                self.term_name(term),
                self.fit.values[n],
                self.half(n),
                self.coefficient_unit(term)
            );
            meta.set(&format!("term_{}", n + 1), told);
        }
        let names = ["from_hz", "to_hz", "coherence", "unbiased", "threshold", "asd", "asd_left"];
        let columns = names.map(|name| (name.to_owned(), Kind::Number));
        let mut writer = Writer::create(path, &columns, &meta)?;
        for b in &self.bands {
            let row = [
                b.from_hz,
                b.to_hz,
                b.coherence,
                b.unbiased,
                b.threshold,
                b.reading.sqrt(),
                b.left.sqrt(),
            ];
            writer.push(&row.map(Cell::Number))?;
        }
        writer.finish()
    }
}
