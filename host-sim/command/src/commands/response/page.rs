//! What `response` found, as a page.

use super::Found;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLUE, ORANGE, figure, page};
use maud::html;

impl Found {
    pub(super) fn html(&self) -> String {
        let body = html! {
            h1 { (self.reading) ": response to " (self.drive) }
            div.wide { table {
                thead { tr { th { "line" } th { "Hz" } th { "in phase" } th { "quadrature" } th { "uncertainty" } th { "unit" } } }
                tbody { @for r in &self.responses {
                    @for (told, squared) in [(r.linear, false), (r.squared, true)] {
                        @if let Some((value, sure)) = told { tr {
                            td { (self.name(r)) @if squared { ", of the square" } }
                            td.n { (format!("{:.4e}", r.line.frequency_hz)) }
                            td.n { (format!("{:.5e}", value.re)) }
                            td.n { (format!("{:.1e}", value.im)) }
                            td.n { (format!("{sure:.1e}")) }
                            td { (self.response_unit(squared)) }
                        } }
                    }
                } }
            } }
            @if let Some(charge) = &self.charge { p { (self.charge_text(charge)) } }
            @for warning in &self.warnings { p { strong { "Note: " } (warning) } }
            @for (n, r) in self.responses.iter().enumerate() {
                @if r.repeated.is_some() && r.sideband_hz == 0.0 {
                    (figure(&self.in_time(n), "Each point is fitted to a few whole cycles by itself; the line is the mean."))
                }
            }
            h2 { "All figures" }
            div.wide { pre { (self.text()) } }
        };
        page(&format!("quietgap: {}, response", self.reading), &body)
    }

    /// The amplitude in phase with the mean, part by part.
    fn in_time(&self, n: usize) -> Figure {
        let r = &self.responses[n];
        let mean = self.parts.iter().map(|p| p.lines[n].amplitude).sum::<num_complex::Complex64>();
        let along = mean / mean.norm();
        let points: Vec<(f64, f64)> = self
            .parts
            .iter()
            .map(|p| (p.time_s, (p.lines[n].amplitude * along.conj()).re))
            .collect();
        let level = mean.norm() / self.parts.len() as f64;
        let ends = [points.first(), points.last()].into_iter().flatten();
        let flat = ends.map(|(t, _)| (*t, level)).collect();
        Figure {
            title: format!("{} at {:.4e} Hz", self.name(r), r.line.frequency_hz),
            x: "time / s".to_owned(),
            y: format!("amplitude / {}", self.unit),
            scale: Scale::Linear,
            curves: vec![
                Curve { label: "parts".to_owned(), colour: BLUE, points },
                Curve { label: "mean".to_owned(), colour: ORANGE, points: flat },
            ],
            marks: self.marks.clone(),
            ..Figure::default()
        }
    }
}
