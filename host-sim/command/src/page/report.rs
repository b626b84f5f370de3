//! **Report**: one self-contained HTML page, readable on a phone and on paper.

use super::figure::{Colour, Curve, Figure, Scale};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::verify::{Findings, density_of, quantisation_density};

const STYLE: &str = "
body{font:16px/1.5 system-ui,sans-serif;max-width:46rem;margin:0 auto;padding:0 1rem;color:#1b1f23;background:#fff}
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:2rem}h3{font-size:1.05rem}h4,h5{font-size:1rem}
figure{margin:1rem 0}figure svg{width:100%;height:auto;display:block}
figcaption{font-size:.85rem;color:#444}output{display:block;min-height:1.4em;font-size:.85rem;font-variant-numeric:tabular-nums}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.9rem}
th,td{text-align:left;padding:.3rem .6rem;border-bottom:1px solid #ccc;vertical-align:top}
th,td{padding:.25rem .4rem}tbody tr:has(+.why) td{border:0;padding-bottom:0}.why td{color:#444;font-size:.85rem}
td.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.pass{color:#0a6b2d}.missed{color:#b00020;font-weight:700}
pre{overflow-x:auto;font-size:.8rem}details{font-size:.85rem}summary{cursor:pointer}nav ol{columns:2}
figure svg{background:#fff;border-radius:4px}a{color:#0050a0}
@media (max-width:30rem){nav ol{columns:1}}
@media screen and (prefers-color-scheme:dark){:root{color-scheme:dark}body{color:#e6e6e6;background:#14171a}a{color:#8ec7ff}
figcaption,.why td{color:#b8b8b8}th,td{border-color:#444}.pass{color:#6fd08c}.missed{color:#ff8a80}}
@media print{details,nav,output{display:none}.wide,pre{overflow:visible}pre{white-space:pre-wrap}body{max-width:none;font-size:10pt}figure,tr{break-inside:avoid}h1,h2,h3,h4,h5{break-after:avoid}}
";

/// Values under the pointer.
const SCRIPT: &str = include_str!("pointer.js");

// Colours that stay apart in grey print and for colour-blind readers (Okabe and Ito 2008, recalled).
/// First curve.
pub const BLUE: Colour = (0, 114, 178);
/// Second curve.
pub const ORANGE: Colour = (213, 94, 0);
/// Third curve.
pub const GREEN: Colour = (0, 158, 115);
/// Fourth curve.
pub const BLACK: Colour = (0, 0, 0);
/// Many parts of one whole, in this order; behind the last they begin anew.
pub const PARTS: [Colour; 6] =
    [BLUE, ORANGE, GREEN, (204, 121, 167), (86, 180, 233), (230, 159, 0)];

/// The page for a run whose readings and truth were kept.
#[must_use]
pub fn html(sensor: &Sensor, findings: &Findings) -> String {
    let name = &sensor.file.name;
    let verdict = if findings.pass() { "within all limits" } else { "a limit is missed" };
    let seconds = findings.outcome.samples as f64 / sensor.rate_hz();
    let body = html! {
        h1 { (name) ": " (verdict) }
        p {
            "Simulated motion of the mass went through the sensor's electrodes, bridges, amplifiers and "
            "converter (" (sensor.file.converter.bits) " bits, " (sensor.rate_hz() / 1e3) " kS/s, carrier "
            (sensor.file.carrier.frequency_hz / 1e3) " kHz), " (format!("{seconds} s")) ". The firmware's "
            "fixed-point chain turned the codes into " (findings.rows.len()) " readings at "
            (sensor.output_rate_hz()) " S/s; an f64 twin of the chain saw the same codes. Seed "
            (findings.seed) "."
        }
        h2 { "Limits" }
        (limits(findings))
        @for n in 0..findings.axes.len() { (axis(sensor, findings, n)) }
        h2 { "Health" }
        (health(findings))
        p { "Core alone: " (format!("{:.0}", findings.outcome.msamples_per_s(sensor.channels())))
            " million samples a second on this machine, one thread." }
    };
    page(&format!("quietgap: {name}, accuracy"), &body)
}

/// A whole page.
#[must_use]
pub fn page(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
                script { (PreEscaped(SCRIPT)) }
            }
            body { (body) }
        }
    };
    page.into_string()
}

/// Two rows a limit: the figures, and below them why, which may wrap on a phone.
fn limits(findings: &Findings) -> Markup {
    html! {
        div.wide { table {
            thead { tr { th { "limit" } th { "measured" } th { "allowed" } th { "unit" } th { "result" } } }
            @for j in &findings.limits {
                tbody {
                    tr {
                        td { (j.limit.name) }
                        td.n { (format!("{:.2e}", j.value)) }
                        td.n { (format!("{:.2e}", j.allowed)) }
                        td { (j.limit.unit) }
                        td class=(if j.pass() { "pass" } else { "missed" }) {
                            (if j.pass() { "pass" } else { "MISSED" })
                        }
                    }
                    tr.why { td colspan="5" { (j.limit.why) } }
                }
            }
        } }
    }
}

fn health(findings: &Findings) -> Markup {
    html! {
        div.wide { table {
            thead { tr { th { "fault" } th { "readings" } } }
            tbody {
                tr { td { "(all readings)" } td.n { (findings.outcome.counts.readings()) } }
                @for (name, count) in findings.outcome.counts.faults() {
                    tr { td { (name) } td.n { (count) } }
                }
            }
        } }
    }
}

/// Figures of one axis: motion, errors, spectra.
fn axis(sensor: &Sensor, findings: &Findings, n: usize) -> Markup {
    let axis = &findings.axes[n];
    let (name, unit) = (axis.name, axis.unit);
    let rate = sensor.rate_hz();
    let times: Vec<f64> = findings.rows.iter().map(|r| r.time_s(rate)).collect();
    let values: Vec<f64> = findings.rows.iter().map(|r| r.axes[n]).collect();
    let curve = |label: &str, colour, y: &[f64], scale: f64| Curve {
        label: label.to_owned(),
        colour,
        points: times.iter().zip(y).map(|(t, y)| (*t, y * scale)).collect(),
    };
    let motion = Figure {
        title: format!("{name}: motion"),
        x: "time / s".to_owned(),
        y: format!("{name} / u{unit}"),
        scale: Scale::Linear,
        curves: vec![
            curve("reading", BLUE, &values, 1e6),
            curve("truth", ORANGE, &findings.truth[n], 1e6),
        ],
        ..Figure::default()
    };
    let truth_error = Figure {
        title: format!("{name}: reading less truth"),
        x: "time / s".to_owned(),
        y: format!("error / n{unit}"),
        scale: Scale::Linear,
        curves: vec![curve("reading - truth", BLUE, &axis.vs_truth, 1e9)],
        ..Figure::default()
    };
    let own_error = Figure {
        title: format!("{name}: reading less f64 twin (the core's own error)"),
        x: "time / s".to_owned(),
        y: format!("error / a{unit}"),
        scale: Scale::Linear,
        curves: vec![curve("core - twin", GREEN, &axis.vs_ideal, 1e18)],
        ..Figure::default()
    };
    html! {
        h2 { "Axis " (name) }
        (figure(&motion, "What the mass did and what the chain read."))
        (figure(&truth_error, "Front-end noise is most of it; the rest is the polarisation following the mass, the converter's nonlinearity and the filter."))
        (figure(&own_error, "Rounding in the fixed-point chain alone: both saw the same converter codes."))
        (spectra(sensor, findings, n))
    }
}

fn spectra(sensor: &Sensor, findings: &Findings, n: usize) -> Markup {
    let axis = &findings.axes[n];
    let output = sensor.output_rate_hz();
    let values: Vec<f64> = findings.rows.iter().map(|r| r.axes[n]).collect();
    let series = [
        ("reading", BLUE, &values),
        ("truth", ORANGE, &findings.truth[n]),
        ("reading - truth", BLACK, &axis.vs_truth),
        ("core - twin", GREEN, &axis.vs_ideal),
    ];
    let densities: Vec<_> = series
        .iter()
        .filter_map(|(label, colour, y)| Some((*label, *colour, density_of(y, output)?)))
        .collect();
    let Some((_, _, first)) = densities.first() else {
        return html! { p { "The run is too short for a spectrum." } };
    };
    let mut curves: Vec<Curve> = densities
        .iter()
        .map(|(label, colour, d)| Curve {
            label: (*label).to_owned(),
            colour: *colour,
            // The first bins hold the trend's removal, the last is half the rate.
            points: d.frequencies().zip(d.amplitude()).skip(2).collect(),
        })
        .collect();
    let level = quantisation_density(sensor, n);
    let ends = [first.bins[2].frequency_hz, output / 2.0];
    for (label, factor) in [("ideal 24-bit converter", 1.0), ("limit of core - twin", 0.01)] {
        let points = ends.iter().map(|f| (*f, level * factor)).collect();
        curves.push(Curve { label: label.to_owned(), colour: (120, 120, 120), points });
    }
    let unit = axis.unit;
    let spectrum = Figure {
        title: format!("{}: amplitude spectral density", axis.name),
        x: "frequency / Hz".to_owned(),
        y: format!("density / ({unit}/rtHz)"),
        scale: Scale::LogLog,
        curves,
        ..Figure::default()
    };
    let caption = format!(
        "Welch's method, {} window, {} points, {} segments half overlapping, noise bandwidth {:.4} Hz, straight line taken off each.",
        first.window.name,
        first.bins[1].length,
        first.bins[1].segments,
        first.bins[1].noise_bandwidth_hz
    );
    figure(&spectrum, &caption)
}

/// Rows of a figure's table.
const ROWS: usize = 24;

/// A figure with its caption, the words for who cannot see it, its numbers as a table, and itself to keep.
#[must_use]
pub fn figure(figure: &Figure, caption: &str) -> Markup {
    let svg = figure.svg();
    let file: String =
        figure.title.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    html! {
        figure {
            (PreEscaped(&svg))
            output { }
            figcaption { (caption) }
            script.lines type="application/json" { (PreEscaped(lines(figure))) }
            details {
                summary { "Numbers, and the figure as a file" }
                p { a download=(format!("{file}.svg")) href=(address(&svg)) { "Save as SVG" } }
                @for curve in &figure.curves { (numbers(figure, curve)) }
            }
        }
    }
}

/// Lines with their points, for the page's script.
fn lines(figure: &Figure) -> String {
    let lines = figure.curves.iter().map(|curve| {
        let label = serde_json::Value::from(curve.label.as_str()).to_string();
        let seen = curve.points.iter().filter(|p| figure.scale.shows(**p));
        let points: Vec<String> = seen.map(|(x, y)| format!("[{x:.5e},{y:.3e}]")).collect();
        // A label that ends the script's element would end it here.
        let label = label.replace('<', "\\u003c");
        format!("{{\"label\":{label},\"points\":[{}]}}", points.join(","))
    });
    format!("[{}]", lines.collect::<Vec<_>>().join(","))
}

/// Some of a curve's points, evenly spread over them.
fn numbers(figure: &Figure, curve: &Curve) -> Markup {
    let every = curve.points.len().div_ceil(ROWS).max(1);
    html! {
        div.wide { table {
            caption { (curve.label) @if every > 1 { ", every " (every) ". point" } }
            thead { tr { th scope="col" { (figure.x) } th scope="col" { (figure.y) } } }
            tbody { @for (x, y) in curve.points.iter().step_by(every) { tr {
                td.n { (format!("{x:.4e}")) } td.n { (format!("{y:.4e}")) }
            } } }
        } }
    }
}

/// A text as an address that holds it.
fn address(svg: &str) -> String {
    let mut out = "data:image/svg+xml;charset=utf-8,".to_owned();
    for byte in svg.bytes() {
        match byte {
            b'%' | b'#' | b'"' | b'<' | b'>' | b'&' | b'+' | b':' | b'/' | 128.. => {
                out += &format!("%{byte:02X}")
            }
            b'\n' | b'\r' => out.push(' '),
            _ => out.push(char::from(byte)),
        }
    }
    out
}
