//! **Page**: a plan, or two overlaid, as one self-contained HTML page with tables beside the pictures.

use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLUE, ORANGE, figure, page};
use maud::{Markup, html};
use quietgap_sim::filter::check::Check;
use quietgap_sim::filter::check::show::short;
use quietgap_sim::filter::compare::Comparison;
use quietgap_sim::filter::curves;
use quietgap_sim::filter::subject::stage_name;

/// Colours of the plan in use (or the only one) and of the new one.
const COLOURS: [(u8, u8, u8); 2] = [BLUE, ORANGE];
const MASK: (u8, u8, u8) = (120, 120, 120);

/// Page of one plan.
#[must_use]
pub fn of_check(check: &Check) -> String {
    let verdict = if check.pass() { "keeps its mask" } else { "misses a line" };
    let body = html! {
        h1 { (check.subject.name) ": " (verdict) }
        (facts(check))
        h2 { "Limits" }
        (limits(check))
        (pictures(&[("response", check)]))
        h2 { "Words" }
        (words(check))
        h2 { "Rounding" }
        (rounding(check))
    };
    page(&format!("quietgap: {}, filters", check.subject.name), &body)
}

/// Page of a comparison.
#[must_use]
pub fn of_comparison(comparison: &Comparison) -> String {
    let (old, new) = (&comparison.old, &comparison.new);
    let verdict = if comparison.pass() { "within tolerance" } else { "outside tolerance" };
    let body = html! {
        h1 { (old.subject.name) " to " (new.subject.name) ": " (verdict) }
        div.wide { table {
            thead { tr { th { "quantity" } th { "stage" } th { "old" } th { "new" } th { "allowed change" } th { "result" } } }
            tbody { @for row in comparison.cells() { tr {
                @for cell in &row.0 { td.n[cell.1] { (cell.0) } }
                td class=(if row.1 { "pass" } else { "missed" }) { (if row.1 { "pass" } else { "MISSED" }) }
            } } }
        } }
        (pictures(&[("old", old), ("new", new)]))
        h2 { "Words, old" } (words(old))
        h2 { "Words, new" } (words(new))
    };
    page("quietgap: filter plans compared", &body)
}

fn facts(check: &Check) -> Markup {
    let s = &check.subject;
    html! {
        p { (s.rate_hz) " S/s, carrier " (s.carrier_hz) " Hz, " (s.code_bits) "-bit codes, " (s.channels)
            " channels, to " (s.output_rate_hz()) " S/s. Delay " (s.delay_s()) " s." }
        div.wide { table {
            thead { tr { th { "stage" } th { "ratio" } th { "taps" } th { "in, S/s" } th { "out, S/s" } } }
            tbody { @for row in check.stages() { tr {
                td { (row.name) } td.n { (row.ratio) } td.n { (row.taps) }
                td.n { (short(row.rate_in_hz)) } td.n { (short(row.rate_out_hz)) }
            } } }
        } }
    }
}

fn limits(check: &Check) -> Markup {
    html! { div.wide { table {
        thead { tr { th { "limit" } th { "stage" } th { "value" } th { "allowed" } th { "unit" } th { "result" } } }
        @for l in &check.limits { tbody {
            tr {
                td { (l.name) } td { (l.stage) } td.n { (short(l.value)) } td.n { (l.allowed()) }
                td { (l.unit) }
                td class=(if l.pass { "pass" } else { "missed" }) { (if l.pass { "pass" } else { "MISSED" }) }
            }
            tr.why { td colspan="6" { (l.why) } }
        } }
    } } }
}

/// Pictures of one plan or of two overlaid; the mask is the first one's.
fn pictures(plans: &[(&str, &Check)]) -> Markup {
    let mask = plans[0].1.subject.plan.mask.as_ref();
    let output = plans[0].1.subject.output_rate_hz();
    let draw = |of: &dyn Fn(&Check) -> Vec<(f64, f64)>| -> Vec<Curve> {
        let one = |((name, check), colour): (&(&str, &Check), (u8, u8, u8))| Curve {
            label: (*name).to_owned(),
            colour,
            points: of(check),
        };
        plans.iter().zip(COLOURS).map(one).collect()
    };
    let line = |label: &str, points: Vec<(f64, f64)>| Curve {
        label: label.to_owned(),
        colour: MASK,
        points,
    };
    let half = plans[0].1.subject.rate_hz / 2.0;
    let stop = mask.map(|m| (output - m.alias_into_hz, -m.alias_db));
    let with_stop = |mut curves: Vec<Curve>, to: f64| {
        curves.extend(stop.map(|(from, db)| line("mask: rejected", vec![(from, db), (to, db)])));
        curves.extend(
            mask.map(|m| line("mask: passed", vec![(m.pass_hz * 1e-2, 0.0), (m.pass_hz, 0.0)])),
        );
        curves
    };
    let axes = |title: &str, x: &str, y: &str, scale, curves| Figure {
        title: title.to_owned(),
        x: x.to_owned(),
        y: y.to_owned(),
        scale,
        curves,
        ..Figure::default()
    };
    let off = "frequency off the carrier / Hz";
    let near = 5.0 * output;
    html! {
        h2 { "Response" }
        (figure(&axes("largest gain, all frequencies", off, "gain / dB", Scale::LogX,
            with_stop(draw(&|c| curves::envelope(c, half)), half)),
            "From the integers: the largest gain of each of several hundred bands, equally wide on this axis. Grey: the mask."))
        (figure(&axes("gain near the carrier", off, "gain / dB", Scale::Linear,
            with_stop(draw(&|c| curves::linear(c, near)), near)),
            "Straight axis, to five output rates."))
        @if let Some(mask) = mask {
            (figure(&axes("pass band", off, "gain / dB", Scale::Linear, {
                let mut curves = draw(&|c| curves::linear(c, mask.pass_hz));
                for (label, db) in [("mask: most", mask.pass_db), ("mask: least", -mask.pass_db)] {
                    curves.push(line(label, vec![(0.0, db), (mask.pass_hz, db)]));
                }
                curves
            }), "Droop and ripple of all stages together."))
            @if plans.iter().any(|(_, check)| check.delays_s.is_some()) {
                (figure(&axes("group delay in the pass band", off, "delay / s", Scale::Linear, draw(&|c| curves::delay(c, mask.pass_hz))),
                    "A reading's time stamp takes off the delay at zero frequency."))
            }
            (figure(&axes("alias map", "frequency off the carrier / Hz", "worst gain in the band / dB", Scale::LogX,
                with_stop(draw(&curves::aliases), half)),
                "Each band that folds onto the mask's band, at its worst. Bands beyond repeat these, lower."))
        }
        (values(plans, output))
        h2 { "In time" }
        (figure(&axes("impulse response", "time / s", "response / (1/s)", Scale::Linear, draw(&curves::impulse)),
            "Of the whole chain, at the rate behind the CIC."))
        (figure(&axes("step response", "time / s", "response", Scale::Linear, draw(&curves::step)),
            "A step of the amplitude at time zero."))
        (figure(&axes("step response, distance from its end", "time / s", "distance / dB", Scale::Linear, draw(&curves::distance)),
            "-60, -120 and -180 dB are 1e-3, 1e-6 and 1e-9."))
    }
}

/// Values of the pictures at round frequencies.
fn values(plans: &[(&str, &Check)], output: f64) -> Markup {
    let multiples = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0, 1.5, 2.5, 5.5, 10.5, 50.5];
    html! {
        div.wide { table {
            thead { tr { th { "off the carrier, Hz" } @for (name, _) in plans { th { (name) ", dB" } } } }
            tbody { @for m in multiples { tr {
                td.n { (short(m * output)) }
                @for (_, check) in plans { td.n { (format!("{:.4}", curves::gain_db(check, m * output))) } }
            } } }
        } }
        @for (name, check) in plans {
            div.wide { table {
                thead { tr { th { (name) ": off the carrier, Hz" } th { "at the converter, Hz" } th { "lands at, Hz" } th { "rejection, dB" } th { "stage" } } }
                tbody {
                    @for a in check.worst_bands() { tr {
                        td.n { (format!("{:.4}", a.offset_hz)) }
                        td.n { (format!("{:.4}", check.at_converter_hz(a.offset_hz))) }
                        td.n { (format!("{:.4}", a.worst.offset_hz.abs())) }
                        td.n { (format!("{:.3}", -a.worst.db())) }
                        td { (stage_name(a.stage)) }
                    } }
                }
            } }
        }
    }
}

/// Word-length diagram: what the worst case takes of each word.
fn words(check: &Check) -> Markup {
    html! { div.wide { table {
        thead { tr { th { "stage" } th { "word" } th { "bits" } th { "headroom, bits" } th { "used, of 128 bits" } } }
        tbody { @for w in &check.words { tr {
            td { (w.stage) } td { (w.word) } td.n { (w.bits) } td.n { (format!("{:.2}", w.headroom_bits)) }
            td { svg viewBox="0 0 256 14" width="256" height="14" role="img" {
                rect x="0" y="1" width=(2 * w.bits) height="12" fill="#dde3ea" {}
                rect x="0" y="1" height="12" fill="#0072b2"
                    width=(format!("{:.1}", 2.0 * (f64::from(w.bits) - w.headroom_bits).max(0.0))) {
                    title { (format!("{:.2} of {} bits", f64::from(w.bits) - w.headroom_bits, w.bits)) }
                }
            } }
        } } }
    } } }
}

fn rounding(check: &Check) -> Markup {
    html! { div.wide { table {
        thead { tr { th { "stage" } th { "rounded" } th { "density, codes/rtHz" } th { "over an ideal converter" } } }
        tbody { @for r in &check.roundings { tr {
            td { (r.stage) } td { (r.what) } td.n { (format!("{:.3e}", r.density_code_per_rthz)) }
            td.n { (format!("{:.3e}", r.over_converter)) }
        } } }
    } } }
}
