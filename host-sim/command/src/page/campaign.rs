//! One page of all analyses of a campaign.

use crate::page::report::page;
use maud::{Markup, PreEscaped, html};
use quietgap_sim::campaign::list::Campaign;
use quietgap_sim::campaign::store::{Done, REPORT};
use quietgap_sim::instrument::{BUILT_IN, Sensor};
use quietgap_sim::readout::readings::settings_checksum;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;

/// Digits of a sum that are shown.
const DIGITS: usize = 12;

/// The page: what was run over what, then each analysis' own page.
#[must_use]
pub fn html(campaign: &Campaign, folder: &Path, done: &[Done]) -> String {
    let body = html! {
        h1 { (campaign.name) }
        nav { ol { @for d in done { li { a href=(format!("#{}", d.analysis.name)) { (title(d)) } } } } }
        (sensors(folder, done))
        @for d in done { (section(d)) }
        h2 { "How to run it again" }
        p { "Every analysis is one command of " code { (concat!("quietgap ", env!("CARGO_PKG_VERSION"))) }
            ", run in the campaign's folder; a folder within braces is that of an earlier analysis. The same input gives \
             the same files, to the bit." }
        @for d in done {
            h3 { (d.analysis.name) }
            div.wide { pre { "quietgap " (d.analysis.run.join(" ")) } }
            div.wide { table {
                thead { tr { th { "file" } th { "SHA-256 begins" } } }
                tbody { @for (name, sum) in &d.files { tr { td { (name) } td { code { (&sum[..DIGITS]) } } } } }
            } }
        }
    };
    page(&campaign.name, &body)
}

/// Sensors whose files the analyses name, each once; `folder` is the campaign's.
fn sensors(folder: &Path, done: &[Done]) -> Markup {
    let named: BTreeSet<&str> =
        done.iter().flat_map(|d| &d.analysis.run).map(String::as_str).collect();
    let may = |name: &&str| name.ends_with(".toml") || BUILT_IN.iter().any(|(n, _)| n == name);
    let found = named.into_iter().filter(may).filter_map(|name| {
        let file = folder.join(name);
        let path =
            if file.is_file() { file.to_string_lossy().into_owned() } else { name.to_owned() };
        Some((name, Sensor::load(&path).ok()?))
    });
    let found: Vec<(&str, Sensor)> = found.collect();
    if found.is_empty() {
        return html! {};
    }
    html! {
        h2 { "Sensor" }
        div.wide { table {
            thead { tr { th { "file" } th { "name" } th { "kS/s" } th { "carrier / kHz" } th { "readings / s" } th { "bridges" } th { "settings" } th { "calibrated" } } }
            tbody { @for (name, s) in &found { tr {
                td { (name) }
                td { (s.file.name) }
                td.n { (s.rate_hz() / 1e3) }
                td.n { (s.file.carrier.frequency_hz / 1e3) }
                td.n { (s.output_rate_hz()) }
                td { (s.file.bridges.iter().map(|b| b.name.as_str()).collect::<Vec<_>>().join(", ")) }
                td { code { (settings_checksum(s)) } }
                td { (s.file.calibration.as_ref().map_or("no", |c| c.date.as_str())) }
            } } }
        } }
    }
}

fn title(done: &Done) -> &str {
    done.analysis.title.as_deref().unwrap_or(&done.analysis.name)
}

fn section(done: &Done) -> Markup {
    let report = std::fs::read_to_string(done.folder.join(REPORT)).ok();
    let inner = report.as_deref().and_then(|page| {
        let (_, rest) = page.split_once("<body>")?;
        rest.split_once("</body>").map(|(inner, _)| inner.to_owned())
    });
    html! {
        section id=(done.analysis.name) {
            h2 { (title(done)) }
            @match inner {
                // Its own headings go below this one.
                Some(inner) => (PreEscaped(lowered(&inner))),
                None => (figures(&done.result)),
            }
        }
    }
}

/// Headings two steps lower, deepest first.
fn lowered(inner: &str) -> String {
    let mut out = inner.to_owned();
    for level in (1..=3).rev() {
        for edge in ["<h", "</h"] {
            out = out.replace(&format!("{edge}{level}>"), &format!("{edge}{}>", level + 2));
        }
    }
    out
}

/// Single figures of a result without a page.
fn figures(result: &Value) -> Markup {
    let empty = serde_json::Map::new();
    let object = result.as_object().unwrap_or(&empty);
    let single = object.iter().filter(|(key, value)| {
        !value.is_array() && !value.is_object() && !["schema", "command"].contains(&key.as_str())
    });
    html! {
        div.wide { table { tbody {
            @for (key, value) in single { tr {
                th scope="row" { (key) }
                td.n { @match value.as_str() { Some(text) => (text), None => (value.to_string()) } }
            } }
        } } }
    }
}
