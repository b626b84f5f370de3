//! What `spectrum` found, as a page.

use super::against::{Against, Compared};
use super::{Found, Pair};
use crate::page::figure::{Band, Colour, Curve, Figure, Scale};
use crate::page::report::{BLACK, BLUE, GREEN, ORANGE, figure, page};
use maud::{Markup, html};
use quietgap_sim::analysis::density::coherence_threshold;

/// Colour of thresholds.
const GREY: Colour = (120, 120, 120);

impl Found {
    pub fn html(&self) -> String {
        let name =
            self.path.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned());
        let body = html! {
            h1 { "Spectra of " (name) }
            p { (self.about()) "." }
            @for column in &self.columns {
                h2 { (column.name) }
                (self.density_figure(column))
                @for against in &self.against {
                    @for compared in against.compared.iter().filter(|c| c.column == column.name) {
                        (decades(against, compared))
                    }
                }
                @if !column.bands.is_empty() {
                    div.wide { table {
                        thead { tr { th { "from / Hz" } th { "to / Hz" } th { "rms / " (column.unit) } th { "uncertainty" } } }
                        @for [from, to, rms, u] in &column.bands {
                            tr { td.n { (from) } td.n { (to) } td.n { (format!("{rms:.3e}")) } td.n { (format!("{:.1} %", u * 100.0)) } }
                        }
                    } }
                }
            }
            @for pair in &self.pairs { (self.pair_figures(pair)) }
        };
        page(&format!("quietgap: spectra of {name}"), &body)
    }

    fn density_figure(&self, column: &super::Column) -> Markup {
        let interval = column.density.amplitude_interval(self.how.options.confidence);
        let at = |values: Vec<f64>| -> Vec<(f64, f64)> {
            column.density.frequencies().zip(values).filter(|(f, _)| *f > 0.0).collect()
        };
        let bins = column.density.frequencies().zip(interval).filter(|(f, _)| *f > 0.0);
        let band = Band::interval(
            self.how.options.confidence,
            BLUE,
            bins.map(|(f, [low, high])| [f, low, high]).collect(),
        );
        let mut curves = vec![Curve::new(&column.name, BLUE, at(column.density.amplitude()))];
        let colours = [ORANGE, GREEN, BLACK];
        for (n, against) in self.against.iter().enumerate() {
            for compared in against.compared.iter().filter(|c| c.column == column.name) {
                let points = compared.points.iter().copied().filter(|(_, y)| *y > 0.0).collect();
                curves.push(Curve::new(&against.name(), colours[n % 3], points));
            }
        }
        let spectrum = Figure {
            title: format!("{}: amplitude spectral density", column.name),
            x: "frequency / Hz".to_owned(),
            y: format!("density / ({}/rtHz)", column.unit),
            scale: Scale::LogLog,
            curves,
            bands: vec![band],
            ..Figure::default()
        };
        figure(&spectrum, &format!("{}.", self.manner()))
    }

    fn pair_figures(&self, pair: &Pair) -> Markup {
        let [x, y] = &pair.names;
        let confidence = self.how.options.confidence;
        let at = |values: Vec<f64>| -> Vec<(f64, f64)> {
            pair.cross.x.frequencies().zip(values).filter(|(f, _)| *f > 0.0).collect()
        };
        let threshold = pair.cross.averages().map(|k| coherence_threshold(k, confidence)).collect();
        let coherence = Figure {
            title: format!("coherence of {x} and {y}"),
            x: "frequency / Hz".to_owned(),
            y: "coherence".to_owned(),
            scale: Scale::LogX,
            curves: vec![
                Curve::new("coherence", BLUE, at(pair.cross.coherence())),
                Curve::new("by chance below", GREY, at(threshold)),
            ],
            ..Figure::default()
        };
        let transfer = pair.cross.transfer();
        let gain = Figure {
            title: format!("{y} over {x}: gain"),
            x: "frequency / Hz".to_owned(),
            y: format!("gain / ({}/{})", pair.units[1], pair.units[0]),
            scale: Scale::LogLog,
            curves: vec![Curve::new(
                "gain",
                BLUE,
                at(transfer.iter().map(|t| t.value.norm()).collect()),
            )],
            ..Figure::default()
        };
        let phase = Figure {
            title: format!("{y} over {x}: phase"),
            x: "frequency / Hz".to_owned(),
            y: "phase / rad".to_owned(),
            scale: Scale::LogX,
            curves: vec![Curve::new(
                "phase",
                BLUE,
                at(transfer.iter().map(|t| t.value.arg()).collect()),
            )],
            ..Figure::default()
        };
        html! {
            h2 { (y) " and " (x) }
            (figure(&coherence, &format!("{}. Without any connection the coherence stays below the grey line with that probability at each frequency.", self.manner())))
            (figure(&gain, "Cross density over the density of the input."))
            (figure(&phase, "Its phase; the output lags where it falls."))
        }
    }
}

/// A column over a line, decade by decade.
fn decades(against: &Against, compared: &Compared) -> Markup {
    html! {
        div.wide { table {
            caption { "Over " (against.path.display()) ", " (compared.line) }
            thead { tr { th { "from / Hz" } th { "to / Hz" } th { "ratio" } th { "largest" } th { "at / Hz" } } }
            tbody { @for d in &compared.decades { tr {
                @for value in [d.from_hz, d.to_hz, d.ratio, d.worst, d.worst_hz] { td.n { (format!("{value:.3e}")) } }
            } } }
        } }
    }
}
