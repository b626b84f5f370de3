//! What `attribute` found, as a page.

use super::Found;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLACK, BLUE, ORANGE, PARTS, figure, page};
use maud::{Markup, html};
use quietgap_sim::analysis::density::Detrend;
use quietgap_sim::analysis::log_spaced::{self, Weighing, Wish, pitches};
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::window::Window;

/// Points of a curve over time that a page holds.
const POINTS: usize = 2000;

impl Found {
    pub(super) fn html(&self) -> String {
        let body = html! {
            h1 { (self.reading) ": what it follows" }
            (self.table())
            (figure(&self.densities(), "A segment length for each frequency, Kaiser-Bessel window. What the terms leave is what is \
                not explained."))
            (figure(&self.coherence(), "Share of the reading's power that a linear response of any form to all channels together \
                explains, without its bias; channels without any connection stay below the threshold."))
            (figure(&self.in_time(), "The reading and what the terms make of it."))
            h2 { "All figures" }
            div.wide { pre { (self.text()) } }
        };
        page(&format!("quietgap: {}, what it follows", self.reading), &body)
    }

    fn table(&self) -> Markup {
        html! {
            div.wide { table {
                thead { tr { th { "channel" } th { "coefficient" } th { "interval, half" } th { "unit" } th { "rms" } } }
                tbody { @for (n, term) in self.choice.terms.iter().enumerate() { tr {
                    td { (self.term_name(term)) }
                    td.n { (format!("{:.4e}", self.fit.values[n])) }
                    td.n { (format!("{:.1e}", self.half(n))) }
                    td { (self.coefficient_unit(term)) }
                    td.n { (format!("{:.2e}", self.rms(&self.parts[n]))) }
                } } }
            } }
            @for warning in &self.warnings { p { strong { "Note: " } (warning) } }
        }
    }

    fn densities(&self) -> Figure {
        let of = |values: &[f64]| -> Vec<(f64, f64)> {
            let rate_hz = self.together.rate_hz;
            let series = Series { values, runs: self.together.runs.clone(), rate_hz };
            let window = Window::named("kaiser-4").expect("one of the table");
            let (longest, lobe) = (series.longest(), window.lobe_bins());
            let from_hz = lobe * rate_hz / longest.max(1) as f64;
            let overlap = window.overlap;
            let to_hz = self.together.to_hz;
            let wish = Wish { from_hz, to_hz, count: 200, averages: 50, overlap, lobe };
            let weighing = Weighing { window, overlap, detrend: Detrend::Line };
            let density = log_spaced::auto(&series, &pitches(longest, rate_hz, &wish), weighing);
            density.frequencies().zip(density.amplitude()).collect()
        };
        let mut curves = vec![
            Curve::new("reading", BLUE, of(&self.together.reading)),
            Curve::new("left", BLACK, of(&self.left)),
        ];
        for (n, (term, part)) in self.choice.terms.iter().zip(&self.parts).enumerate() {
            curves.push(Curve::new(
                &self.term_name(term),
                PARTS[1 + n % (PARTS.len() - 1)],
                of(part),
            ));
        }
        Figure {
            title: "what follows what".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: format!("density / ({}/rtHz)", self.unit),
            scale: Scale::LogLog,
            curves,
            ..Figure::default()
        }
    }

    fn coherence(&self) -> Figure {
        let at = |value: fn(&quietgap_sim::attribution::judge::Band) -> f64| -> Vec<(f64, f64)> {
            self.bands.iter().map(|b| ((b.from_hz * b.to_hz).sqrt(), value(b))).collect()
        };
        Figure {
            title: "coherence with all channels together".to_owned(),
            x: "frequency / Hz".to_owned(),
            y: "coherence".to_owned(),
            scale: Scale::LogX,
            curves: vec![
                Curve::new("coherence", BLUE, at(|b| b.unbiased)),
                Curve::new("threshold", ORANGE, at(|b| b.threshold)),
            ],
            ..Figure::default()
        }
    }

    fn in_time(&self) -> Figure {
        let t = &self.together;
        let rows: Vec<usize> = t.runs.iter().flat_map(Clone::clone).collect();
        let every = rows.len().div_ceil(POINTS).max(1);
        let explained = |n: usize| t.reading[n] - self.left[n];
        let mean = |of: &dyn Fn(usize) -> f64| {
            rows.iter().map(|n| of(*n)).sum::<f64>() / rows.len() as f64
        };
        let curve = |label: &str, colour, of: &dyn Fn(usize) -> f64| {
            let mean = mean(of);
            let points = rows.iter().step_by(every).map(|n| (t.times_s[*n], of(*n) - mean));
            Curve { label: label.to_owned(), colour, points: points.collect() }
        };
        Figure {
            title: "in time, about the mean".to_owned(),
            x: "time / s".to_owned(),
            y: format!("{} / {}", self.reading, self.unit),
            scale: Scale::Linear,
            curves: vec![
                curve("reading", BLUE, &|n| t.reading[n]),
                curve("explained", ORANGE, &explained),
            ],
            marks: self.marks.clone(),
            ..Figure::default()
        }
    }
}
