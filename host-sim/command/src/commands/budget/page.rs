//! The page of a budget: the whole and its largest parts over frequency, the ranked table, simulations and
//! records beside the prediction.

use super::Found;
use crate::commands::spectrum::against::at;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLACK, PARTS, figure, page};
use maud::{Markup, html};
use quietgap_sim::budget::{Budget, gain_of_halving};

/// A requirement: its name, the axis that it is of, its points.
pub(super) type Line = (String, usize, Vec<(f64, f64)>);

/// The page.
pub(super) fn html(found: &Found, lines: &[Line], accelerations: &[Line]) -> String {
    let name = &found.sensor.file.name;
    let body = html! {
        h1 { (name) ": noise budget" }
        @for n in 0..found.sensor.axes().len() { (axis(found, lines, accelerations, n)) }
        @if !found.trials.is_empty() { (trials(found)) }
        h2 { "What each is" }
        div.wide { table {
            @for c in &found.budget.contributors { tr { td { (c.name) } td { (c.note) } } }
        } }
    };
    page(&format!("quietgap: {name}, noise budget"), &body)
}

/// Figures and table of one axis.
fn axis(found: &Found, lines: &[Line], accelerations: &[Line], n: usize) -> Markup {
    let (column, unit) = Budget::axis(&found.sensor, n);
    let [from, to] = found.band;
    let ranked = found.budget.ranked(n, from, to);
    let total = found.budget.total(n);
    let own = |values: &[f64]| -> Vec<(f64, f64)> {
        found.budget.frequency_hz.iter().copied().zip(values.iter().copied()).collect()
    };
    let mut curves = parts(found, n);
    curves.push(Curve { label: "predicted, all".to_owned(), colour: BLACK, points: own(&total) });
    for r in found.recorded.iter().filter(|r| r.axis == n) {
        let points = r.frequency_hz.iter().copied().zip(r.measured.iter().copied()).collect();
        curves.push(Curve { label: "recorded".to_owned(), colour: (150, 150, 150), points });
    }
    for (label, _, points) in lines.iter().filter(|(_, axis, _)| *axis == n) {
        let label = format!("requirement: {label}");
        curves.push(Curve { label, colour: (176, 0, 32), points: points.clone() });
    }
    let density = Figure {
        title: format!("{column}: noise"),
        x: "frequency / Hz".to_owned(),
        y: format!("density / ({unit}/rtHz)"),
        scale: Scale::LogLog,
        curves,
        ..Figure::default()
    };
    let worst = lines.iter().filter(|(_, axis, _)| *axis == n).filter_map(|(label, _, points)| {
        let ratios = found.budget.frequency_hz.iter().zip(&total);
        let ratios = ratios.filter_map(|(f, t)| Some((*f, t / at(points, *f)?)));
        let (f, ratio) = ratios.max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(format!("{label}: at most {ratio:.2} of it, at {f:.2e} Hz"))
    });
    let worst: Vec<String> = worst.collect();
    html! {
        h2 { (column) }
        (figure(&density, "One-sided amplitude densities; contributors add as powers."))
        @for line in &worst { p { (line) "." } }
        @if let Some(torque) = (found.budget.swings == Some(n)).then(|| torque(found, &total, accelerations)).flatten() { (torque) }
        div.wide { table {
            thead { tr { th { "contributor" } th { "share, " (from) " to " (to) " Hz" } th { "gain if halved" } } }
            @for (which, share) in ranked.iter().filter(|(_, share)| *share > 1e-6) {
                tr {
                    td { (found.budget.contributors[*which].name) }
                    td.n { (format!("{:.2} %", share * 100.0)) }
                    td.n { (format!("{:.1} %", gain_of_halving(*share) * 100.0)) }
                }
            }
        } }
        p {
            "Largest: "
            @for (k, (low, high, which)) in found.budget.dominated(n).iter().enumerate() {
                @if k > 0 { "; " }
                (found.budget.contributors[*which].name) " from " (format!("{low:.2e}")) " to " (format!("{high:.2e}")) " Hz"
            }
            "."
        }
    }
}

/// Contributors that are a twentieth of the whole somewhere, largest first.
fn parts(found: &Found, n: usize) -> Vec<Curve> {
    let total = found.budget.total(n);
    let mut kept: Vec<(f64, usize)> = found
        .budget
        .contributors
        .iter()
        .enumerate()
        .map(|(which, c)| {
            let share = c.density[n].iter().zip(&total).map(|(d, t)| d / t.max(1e-300));
            (share.fold(0.0, f64::max), which)
        })
        .filter(|(share, _)| *share > 0.05)
        .collect();
    kept.sort_by(|a, b| b.0.total_cmp(&a.0));
    let curve = |(k, (_, which)): (usize, &(f64, usize))| {
        let c = &found.budget.contributors[*which];
        let f = found.budget.frequency_hz.iter();
        let points = f.copied().zip(c.density[n].iter().copied()).collect();
        Curve { label: c.name.to_owned(), colour: PARTS[k], points }
    };
    kept.iter().take(PARTS.len()).enumerate().map(curve).collect()
}

fn torque(found: &Found, total: &[f64], lines: &[Line]) -> Option<Markup> {
    let torque = found.budget.torque(total)?;
    let p = found.budget.pendulum.as_ref()?;
    let curve = |label: &str, colour, f: &[f64], torque: &[f64]| Curve {
        label: label.to_owned(),
        colour,
        points: f.iter().copied().zip(torque.iter().map(|t| p.acceleration(*t))).collect(),
    };
    let mut curves = Vec::new();
    if let Some(r) = &found.torque {
        curves.push(curve("recorded", (150, 150, 150), &r.frequency_hz, &r.measured));
    }
    curves.push(curve("predicted, all", BLACK, &found.budget.frequency_hz, &torque));
    for (label, _, points) in lines {
        let label = format!("requirement: {label}");
        curves.push(Curve { label, colour: (176, 0, 32), points: points.clone() });
    }
    let drawn = Figure {
        title: "equivalent acceleration of one mass".to_owned(),
        x: "frequency / Hz".to_owned(),
        y: "density / (m/s²/rtHz)".to_owned(),
        scale: Scale::LogLog,
        curves,
        ..Figure::default()
    };
    let caption = "Torque over arm and mass: predicted, the angle's density times the pendulum's stiffness; recorded, \
                   I a + b v + kappa x in time, in which the free swing is nothing.";
    Some(figure(&drawn, caption))
}

fn trials(found: &Found) -> Markup {
    html! {
        h2 { "Simulated beside predicted" }
        div.wide { table {
            thead { tr { th { "contributor" } th { "of" } th { "measured" } th { "predicted" } th { "ratio" } th { "by chance" } } }
            @for t in &found.trials {
                tr {
                    td { (t.name) }
                    td { (t.quantity) }
                    td.n { (format!("{:.3e}", t.measured)) }
                    td.n { (format!("{:.3e}", t.predicted)) }
                    td.n class=(if t.holds() { "pass" } else { "missed" }) { (format!("{:.3}", t.ratio())) }
                    td.n { (format!("{:.3} to {:.3}", t.allowed[0], t.allowed[1])) }
                }
            }
        } }
    }
}
