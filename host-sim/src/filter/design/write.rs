//! **Write**: a plan as the text of a plan file.

use crate::filter::subject::Subject;
use crate::instrument::file::{MaskFile, PathFile};
use std::fmt::Write;

/// The plan as TOML, behind `comment` lines.
#[must_use]
pub fn plan(subject: &Subject, comment: &[String]) -> String {
    let plan = &subject.plan;
    let mut text = String::new();
    let mut line = |s: String| {
        text += &s;
        text.push('\n');
    };
    comment.iter().for_each(|c| line(format!("# {c}")));
    line(String::new());
    line(format!("order = {}", plan.order));
    line(format!("ratio = {}", plan.ratio));
    if plan.differential_delay != 1 {
        line(format!("differential_delay = {}", plan.differential_delay));
    }
    match plan.path {
        PathFile::Auto => {}
        PathFile::Coherent => line("path = \"coherent\"".to_owned()),
        PathFile::General => line("path = \"general\"".to_owned()),
    }
    if plan.pruned_bits > 0 {
        line(format!("pruned_bits = {}", plan.pruned_bits));
    }
    line(format!("rate_hz = {:?}", subject.rate_hz));
    line(format!("carrier_hz = {:?}", subject.carrier_hz));
    line(format!("output_rate_hz = {:?}", subject.output_rate_hz()));
    line(format!("code_bits = {}", subject.code_bits));
    line(format!("channels = {}", subject.channels));
    line(format!("register_bits = {}", plan.register_bits));
    if let Some(mask) = &plan.mask {
        line(mask_table(mask));
    }
    for tone in &plan.lines {
        line(format!(
            "\n[[line]]\nname = {}\nfrequency_hz = {:?}\nreject_db = {:?}",
            toml::Value::from(tone.name.as_str()),
            tone.frequency_hz,
            tone.reject_db
        ));
    }
    for fir in &plan.firs {
        line(format!(
            "\n[[fir]]\nratio = {}\nscale_bits = {}{}\ntaps = [",
            fir.ratio,
            fir.scale_bits,
            if fir.symmetric { "" } else { "\nsymmetric = false" }
        ));
        for taps in fir.taps.chunks(8) {
            let taps: Vec<String> = taps.iter().map(i32::to_string).collect();
            line(format!("    {},", taps.join(", ")));
        }
        line("]".to_owned());
    }
    text
}

fn mask_table(mask: &MaskFile) -> String {
    let mut text = String::from("\n[mask]");
    let mut key = |name: &str, value: f64| {
        let _ = write!(text, "\n{name} = {value:?}");
    };
    key("pass_hz", mask.pass_hz);
    key("pass_db", mask.pass_db);
    key("alias_into_hz", mask.alias_into_hz);
    key("alias_db", mask.alias_db);
    if let Some(delay) = mask.delay_s {
        key("delay_s", delay);
    }
    if let Some(instructions) = mask.instructions_per_sample {
        key("instructions_per_sample", instructions);
    }
    if let Some(cpu) = &mask.cpu {
        let _ = write!(text, "\ncpu = {}", toml::Value::from(cpu.as_str()));
    }
    text
}
