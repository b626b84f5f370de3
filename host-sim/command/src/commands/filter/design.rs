//! `quietgap filter design`.

use crate::commands::{distinct, print_json, say};
use clap::Args;
use quietgap_sim::error::Result;
use quietgap_sim::filter::check::cpu;
use quietgap_sim::filter::design::search::{Found, search};
use quietgap_sim::filter::design::write;
use quietgap_sim::filter::spec::Spec;
use quietgap_sim::output::write_text;
use serde_json::json;
use std::path::{Path, PathBuf};

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
    let comment = comment(&spec, &found, &options.spec);
    write_text(&options.out, &write::plan(&found.subject, &comment))?;
    if options.json {
        let subject = &found.subject;
        let plan = &subject.plan;
        print_json(&json!({
            "schema": 1, "command": "filter design", "pass": true, "order": plan.order,
            "ratio": plan.ratio,
            "firs": plan.firs.iter()
                .map(|f| json!({"ratio": f.ratio, "taps": f.taps.len()})).collect::<Vec<_>>(),
            "instructions_per_sample": found.cost, "delay_s": subject.delay_s(),
            "candidates": found.candidates[0], "worked_out": found.candidates[1],
            "wall_s": started.elapsed().as_secs_f64(),
        }));
    }
    let lines = comment.join("\n");
    let out = options.out.display();
    say(
        options.json,
        &format!("{lines}\n{out} written, {:.1} s\n", started.elapsed().as_secs_f64()),
    );
    Ok(true)
}

/// What stands at the top of the plan file.
fn comment(spec: &Spec, found: &Found, path: &Path) -> Vec<String> {
    let plan = &found.subject.plan;
    let firs = plan.firs.iter().map(|f| format!("FIR {} taps, ratio {}", f.taps.len(), f.ratio));
    let stages = std::iter::once(format!("CIC of order {}, ratio {}", plan.order, plan.ratio));
    let name = path.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned());
    vec![
        format!("Made by `quietgap filter design` from {name}."),
        stages.chain(firs).collect::<Vec<_>>().join("; ") + ".",
        format!(
            "{:.2} instructions per sample and channel on a {}, delay {} s; cheapest of {} plans worked out, \
             of {} that were listed.",
            found.cost,
            cpu(Some(&spec.mask)).name,
            found.subject.delay_s(),
            found.candidates[1],
            found.candidates[0]
        ),
    ]
}
