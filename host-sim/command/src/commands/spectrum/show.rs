//! What `spectrum` found, as text, JSON and a record.

use super::against::{Against, Compared};
use super::{Found, Method, ends};
use quietgap_sim::analysis::density::{Detrend, coherence_threshold};
use quietgap_sim::error::Result;
use quietgap_sim::records::meta::Meta;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::Path;

impl Found {
    /// How it was done, in one line.
    pub(super) fn manner(&self) -> String {
        let weighing = &self.how.weighing;
        let (method, source) = match self.how.method {
            Method::Welch => ("averaged periodograms of one length", "Welch 1967"),
            Method::LogSpaced => ("a segment length for each frequency", "Tröbs and Heinzel 2006"),
        };
        let trend = match weighing.detrend {
            Detrend::None => "nothing taken off",
            Detrend::Mean => "mean taken off each segment",
            Detrend::Line => "straight line taken off each segment",
        };
        let mut bins = self.columns.iter().flat_map(|c| &c.density.bins);
        let first = bins.next();
        let counts = self.columns.iter().flat_map(|c| c.density.bins.iter().map(|b| b.segments));
        let (least, most) = counts.fold((usize::MAX, 0), |(l, m), n| (l.min(n), m.max(n)));
        let width = first.map_or(f64::NAN, |b| b.noise_bandwidth_hz);
        format!(
            "one-sided amplitude density, {method} ({source}), {} window (noise bandwidth {:.4} bins, {width:.3e} \
             Hz at the lowest frequency), overlap {:.3}, {trend}, {least} to {most} averages, intervals of {} %",
            weighing.window.name,
            weighing.window.noise_bandwidth_bins(),
            weighing.overlap,
            self.how.options.confidence * 100.0
        )
    }

    pub(super) fn about(&self) -> String {
        let left_out = self.left_out.text();
        format!(
            "{}: {:.1} s in {} {} at {} Hz{}{left_out}",
            self.path.display(),
            self.seconds,
            self.runs,
            if self.runs == 1 { "stretch" } else { "stretches without a gap" },
            self.rate_hz,
            if left_out.is_empty() { "" } else { "; " },
        )
    }

    pub fn text(&self) -> String {
        let mut text = format!("{}\n{}\n", self.about(), self.manner());
        for column in &self.columns {
            let unit = column.unit;
            let [first, last] = ends(&column.density);
            let _ = writeln!(text, "{} ({unit}/rtHz), {first:.3e} to {last:.3e} Hz", column.name);
            let interval = column.density.amplitude_interval(self.how.options.confidence);
            let mut next = 0.0;
            for ((bin, power), [low, high]) in
                column.density.bins.iter().zip(&column.density.power).zip(interval)
            {
                let f = bin.frequency_hz;
                if f <= 0.0 || f < next {
                    continue;
                }
                // Two rows a decade.
                next = f * 10f64.sqrt();
                let _ = writeln!(
                    text,
                    "  {f:>10.3e} Hz  {:>10.3e}  [{low:.3e}, {high:.3e}]  {} averages",
                    power.sqrt(),
                    bin.segments
                );
            }
            for [from, to, rms, uncertainty] in &column.bands {
                let _ = writeln!(
                    text,
                    "  rms {from} to {to} Hz: {rms:.3e} {unit}, {:.1} % (standard uncertainty)",
                    uncertainty * 100.0
                );
            }
        }
        for pair in &self.pairs {
            text += &pair.text(self.how.options.confidence);
        }
        for against in &self.against {
            for compared in &against.compared {
                let _ = writeln!(
                    text,
                    "{} over {} of {}:",
                    compared.column,
                    compared.line,
                    against.path.display()
                );
                for d in &compared.decades {
                    let _ = writeln!(
                        text,
                        "  {:>10.3e} to {:.3e} Hz: {:.3} (worst {:.3} at {:.3e} Hz)",
                        d.from_hz, d.to_hz, d.ratio, d.worst, d.worst_hz
                    );
                }
            }
        }
        text
    }

    pub fn json(&self) -> Value {
        let weighing = &self.how.weighing;
        let confidence = self.how.options.confidence;
        let columns: Vec<Value> = self
            .columns
            .iter()
            .map(|c| {
                let interval = c.density.amplitude_interval(confidence);
                let bins = &c.density.bins;
                json!({
                    "name": c.name, "unit": c.unit,
                    "frequency_hz": c.density.frequencies().collect::<Vec<_>>(),
                    "asd": c.density.amplitude(),
                    "low": interval.iter().map(|i| i[0]).collect::<Vec<_>>(),
                    "high": interval.iter().map(|i| i[1]).collect::<Vec<_>>(),
                    "averages": bins.iter().map(|b| b.segments).collect::<Vec<_>>(),
                    "degrees_of_freedom": bins.iter().map(|b| b.degrees).collect::<Vec<_>>(),
                    "segment_s": bins.iter().map(|b| b.length as f64 / self.rate_hz).collect::<Vec<_>>(),
                    "noise_bandwidth_hz": bins.iter().map(|b| b.noise_bandwidth_hz).collect::<Vec<_>>(),
                    "bands": c.bands.iter().map(|[from, to, rms, u]| json!({
                        "from_hz": from, "to_hz": to, "rms": rms, "relative_uncertainty": u,
                    })).collect::<Vec<_>>(),
                })
            })
            .collect();
        json!({
            "schema": 1, "command": "spectrum", "file": self.path.display().to_string(),
            "rate_hz": self.rate_hz, "seconds": self.seconds, "stretches": self.runs,
            "left_out": {
                "flagged": self.left_out.flagged, "missing": self.left_out.missing, "gaps": self.left_out.gaps,
            },
            "method": match self.how.method { Method::Welch => "welch", Method::LogSpaced => "log-spaced" },
            "window": weighing.window.name, "overlap": weighing.overlap,
            "noise_bandwidth_bins": weighing.window.noise_bandwidth_bins(),
            "detrend": match weighing.detrend {
                Detrend::None => "none", Detrend::Mean => "mean", Detrend::Line => "line",
            },
            "scaling": "one-sided amplitude density, unit/sqrt(Hz)",
            "confidence": confidence, "columns": columns,
            "pairs": self.pairs.iter().map(|p| p.json(confidence)).collect::<Vec<_>>(),
            "against": self.against.iter().map(against_json).collect::<Vec<_>>(),
        })
    }

    /// All columns share their frequencies, as they share their times.
    pub fn write(&self, path: &Path, source: &Meta) -> Result<()> {
        let mut meta = Meta::new();
        for key in ["sensor", "settings_checksum", "calibration"] {
            if let Some(value) = source.get(key) {
                meta.set(key, value);
            }
        }
        meta.set("source", self.path.display());
        meta.set("manner", self.manner());
        let mut names = vec![("frequency_hz".to_owned(), Kind::Number)];
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let mut add = |name: String, values: Vec<f64>| {
            names.push((name, Kind::Number));
            columns.push(values);
        };
        let confidence = self.how.options.confidence;
        for c in &self.columns {
            let interval = c.density.amplitude_interval(confidence);
            add(format!("{}_asd", c.name), c.density.amplitude());
            add(format!("{}_low", c.name), interval.iter().map(|i| i[0]).collect());
            add(format!("{}_high", c.name), interval.iter().map(|i| i[1]).collect());
        }
        let first = &self.columns[0].density;
        for pair in &self.pairs {
            let [x, y] = &pair.names;
            let transfer = pair.cross.transfer();
            add(format!("{x}__{y}_coherence"), pair.cross.coherence());
            let threshold = pair.cross.averages().map(|k| coherence_threshold(k, confidence));
            add(format!("{x}__{y}_threshold"), threshold.collect());
            add(format!("{x}__{y}_gain"), transfer.iter().map(|t| t.value.norm()).collect());
            add(format!("{x}__{y}_phase_rad"), transfer.iter().map(|t| t.value.arg()).collect());
            add(format!("{x}__{y}_uncertainty"), transfer.iter().map(|t| t.uncertainty).collect());
        }
        let of_bins = |value: fn(&quietgap_sim::analysis::density::Bin) -> f64| -> Vec<f64> {
            first.bins.iter().map(value).collect()
        };
        add("averages".to_owned(), of_bins(|b| b.segments as f64));
        add("degrees_of_freedom".to_owned(), of_bins(|b| b.degrees));
        add("segment_values".to_owned(), of_bins(|b| b.length as f64));
        add("noise_bandwidth_hz".to_owned(), of_bins(|b| b.noise_bandwidth_hz));
        let mut writer = Writer::create(path, &names, &meta)?;
        for (n, bin) in first.bins.iter().enumerate() {
            let value = |c: &Vec<f64>| Cell::Number(c.get(n).copied().unwrap_or(f64::NAN));
            let row: Vec<Cell> = std::iter::once(Cell::Number(bin.frequency_hz))
                .chain(columns.iter().map(value))
                .collect();
            writer.push(&row)?;
        }
        writer.finish()
    }
}

fn against_json(against: &Against) -> Value {
    let compared = |c: &Compared| {
        let decades: Vec<Value> = c
            .decades
            .iter()
            .map(|d| {
                json!({
                    "from_hz": d.from_hz, "to_hz": d.to_hz, "ratio": d.ratio, "worst": d.worst,
                    "worst_hz": d.worst_hz,
                })
            })
            .collect();
        json!({ "column": c.column, "line": c.line, "decades": decades })
    };
    json!({
        "file": against.path.display().to_string(),
        "columns": against.compared.iter().map(compared).collect::<Vec<_>>(),
    })
}
