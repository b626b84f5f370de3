//! `quietgap filter design`.

use crate::commands::{distinct, print_json, say};
use crate::error::Result;
use crate::filter::check::cpu;
use crate::filter::design::search::{Found, search};
use crate::filter::design::write;
use crate::filter::spec::Spec;
use crate::output::write_text;
use clap::Args;
use serde_json::json;
use std::path::PathBuf;

/// Arguments.
#[derive(Args, Debug)]
pub struct Options {
    /// Specification of the plan
    spec: PathBuf,
    /// Plan file to write
    #[arg(long, value_name = "PLAN")]
    out: PathBuf,
    /// One JSON object on standard output
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &Options) -> Result<bool> {
    distinct(&[&options.spec], &[&options.out])?;
    let spec = Spec::load(&options.spec)?;
    let started = std::time::Instant::now();
    let found = match search(&spec) {
        Ok(found) => found,
        Err(refusal) => {
            if options.json {
                print_json(&json!({
                    "schema": 1, "command": "filter design", "pass": false, "line": refusal.key,
                    "asked": refusal.asked, "nearest": refusal.nearest, "unit": refusal.unit,
                    "why": refusal.why,
                }));
            }
            let path = options.spec.display();
            say(options.json, &format!("{path}: {refusal}\nnothing is written\n"));
            return Ok(false);
        }
    };
    let text = write::plan(&found.subject, &comment(&spec, &found));
    write_text(&options.out, &text)?;
    say(
        options.json,
        &format!("{:.1} s\n{:?}\n", started.elapsed().as_secs_f64(), comment(&spec, &found)),
    );
    Ok(true)
}

fn comment(spec: &Spec, found: &Found) -> Vec<String> {
    let plan = &found.subject.plan;
    let firs = plan.firs.iter().map(|f| format!("FIR {} taps, ratio {}", f.taps.len(), f.ratio));
    let stages = std::iter::once(format!("CIC of order {}, ratio {}", plan.order, plan.ratio));
    vec![
        stages.chain(firs).collect::<Vec<_>>().join("; "),
        format!(
            "{:.2} instructions per sample and channel on a {}, delay {} s; cheapest of {} worked out, \
             {} listed",
            found.cost,
            cpu(Some(&spec.mask)).name,
            found.subject.delay_s(),
            found.candidates[1],
            found.candidates[0]
        ),
    ]
}
