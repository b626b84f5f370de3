//! **Structure**: where the integers of two plans differ, stage by stage.

use super::rows::Row;
use super::tolerance::{Structure, Tolerance};
use crate::filter::subject::{Subject, stage_name};
use crate::instrument::file::{FirFile, LineFile, MaskFile};

/// One row for each difference; one that says so where there is none.
#[must_use]
pub fn rows(old: &Subject, new: &Subject, tolerance: &Tolerance) -> Vec<Row> {
    let pass = tolerance.structure == Structure::Free;
    let mut out = Vec::new();
    let mut differ = |stage: &str, name: &str, old: String, new: String| {
        if old != new {
            out.push(Row::text(stage, name, old, new, pass));
        }
    };
    let number = |x: f64| format!("{x}");
    differ("converter", "rate_hz", number(old.rate_hz), number(new.rate_hz));
    differ("converter", "code_bits", old.code_bits.to_string(), new.code_bits.to_string());
    differ("converter", "channels", old.channels.to_string(), new.channels.to_string());
    differ("carrier", "carrier_hz", number(old.carrier_hz), number(new.carrier_hz));
    let (a, b) = (&old.plan, &new.plan);
    differ("CIC", "order", a.order.to_string(), b.order.to_string());
    differ("CIC", "ratio", a.ratio.to_string(), b.ratio.to_string());
    let delays = [a, b].map(|p| p.differential_delay.to_string());
    let [from, to] = delays;
    differ("CIC", "differential_delay", from, to);
    differ("CIC", "register_bits", a.register_bits.to_string(), b.register_bits.to_string());
    differ("CIC", "pruned_bits", a.pruned_bits.to_string(), b.pruned_bits.to_string());
    differ("CIC", "path", format!("{:?}", a.path), format!("{:?}", b.path));
    differ("FIR", "stages", a.firs.len().to_string(), b.firs.len().to_string());
    for (n, (x, y)) in a.firs.iter().zip(&b.firs).enumerate() {
        let stage = stage_name(n + 1);
        differ(&stage, "ratio", x.ratio.to_string(), y.ratio.to_string());
        differ(&stage, "scale_bits", x.scale_bits.to_string(), y.scale_bits.to_string());
        if x.taps != y.taps {
            let [from, to] = taps(x, y);
            differ(&stage, "taps", from, to);
        }
    }
    let masks = [a, b].map(|p| p.mask.as_ref().map_or("none".to_owned(), mask));
    let [from, to] = masks;
    differ("mask", "mask", from, to);
    let [from, to] = [a, b].map(|p| p.lines.iter().map(line).collect::<Vec<_>>().join("; "));
    differ("mask", "line", from, to);
    if out.is_empty() {
        out.push(Row::text("all", "integers", "same".to_owned(), "same".to_owned(), true));
    }
    out
}

fn mask(mask: &MaskFile) -> String {
    let MaskFile { pass_hz, pass_db, alias_into_hz, alias_db, .. } = mask;
    let mut text = format!(
        "to {pass_hz} Hz within {pass_db} dB, aliases into {alias_into_hz} Hz down {alias_db} dB"
    );
    if let Some(delay) = mask.delay_s {
        text += &format!(", delay {delay} s");
    }
    if let Some(instructions) = mask.instructions_per_sample {
        let cpu = mask.cpu.as_deref().unwrap_or("m7");
        text += &format!(", {instructions} instructions on a {cpu}");
    }
    text
}

fn line(line: &LineFile) -> String {
    format!("{} at {} Hz down {} dB", line.name, line.frequency_hz, line.reject_db)
}

/// How taps differ, in words.
fn taps(old: &FirFile, new: &FirFile) -> [String; 2] {
    let from = format!("{} taps", old.taps.len());
    if old.taps.len() != new.taps.len() {
        return [from, format!("{} taps", new.taps.len())];
    }
    let apart = old.taps.iter().zip(&new.taps).map(|(a, b)| i64::from(*b) - i64::from(*a));
    let differing: Vec<(usize, i64)> = apart.enumerate().filter(|(_, d)| *d != 0).collect();
    let (at, most) = differing.iter().max_by_key(|(_, d)| d.abs()).copied().unwrap_or((0, 0));
    let count = differing.len();
    [from, format!("{count} of {} taps differ, tap {at} by {most:+} steps", new.taps.len())]
}
