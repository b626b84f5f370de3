//! Forty specifications against a slower search that shares nothing with the workbench.

#[path = "filter/forty.rs"]
mod forty;
#[path = "filter/specs.rs"]
#[allow(dead_code)]
mod specs;

use quietgap_sim::cycles::Shape;
use quietgap_sim::filter::check::cpu;
use quietgap_sim::filter::design::candidates::{Candidate, all, plan};
use quietgap_sim::filter::design::search::search;
use quietgap_sim::filter::spec::Spec;
use quietgap_sim::instrument::design::carrier_ratio;
use quietgap_sim::instrument::settings::core_carrier;
use serde_json::json;
use specs::spec;

/// Instructions a sample and channel of a structure with so many taps.
fn cost(spec: &Spec, candidate: &Candidate, taps: &[usize]) -> f64 {
    let front =
        quietgap_core::config::FrontEndConfig::from(&plan(spec, candidate.order, candidate.ratio));
    let carrier = core_carrier(carrier_ratio(spec.carrier_hz, spec.rate_hz)).expect("a carrier");
    let stages: Vec<(u16, usize)> =
        candidate.firs.iter().zip(taps).map(|(ratio, taps)| (*ratio as u16, *taps)).collect();
    let shape = Shape::filters(carrier, front, spec.code_bits, spec.channels.into(), &stages);
    shape.instructions(cpu(Some(&spec.mask)).coefficients).filters_per_sample(&shape)
}

#[test]
#[ignore = "writes what the slower search works on"]
fn list() {
    let mut out = Vec::new();
    for (name, text) in forty::specifications() {
        let spec = spec(&text);
        let Ok(mut candidates) = all(&spec, spec.interval().expect("whole"), cpu(Some(&spec.mask)))
        else {
            out.push(json!({"name": name, "text": text, "candidates": []}));
            continue;
        };
        let limit = spec.mask.delay_s.unwrap_or(f64::INFINITY);
        candidates.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        let total = candidates.len();
        let list: Vec<_> = candidates.iter().filter(|c| c.delay_s < 1.6 * limit).take(120).map(|c| {
            let slopes: Vec<f64> = (0..c.firs.len()).map(|n| {
                let mut more = c.taps.clone(); more[n] += 8; (cost(&spec, c, &more) - cost(&spec, c, &c.taps)) / 8.0
            }).collect();
            json!({"order": c.order, "ratio": c.ratio, "firs": c.firs, "taps": c.taps, "cost": c.cost, "slopes": slopes, "delay_s": c.delay_s})
        }).collect();
        let start = std::time::Instant::now();
        let found = search(&spec);
        let took = start.elapsed().as_secs_f64();
        let found = match found {
            Ok(f) => {
                json!({"cost": f.cost, "order": f.subject.plan.order, "ratio": f.subject.plan.ratio, "firs": f.subject.plan.firs.iter().map(|f| (f.ratio, f.taps.len())).collect::<Vec<_>>(), "tried": f.candidates, "delay_s": f.subject.delay_s()})
            }
            Err(e) => json!(e.to_string()),
        };
        eprintln!("{name}: {total} {took:.2} s {found}");
        out.push(json!({"name": name, "text": text, "rate": spec.rate_hz, "output": spec.output_rate_hz, "pass": spec.mask.pass_hz, "pass_db": spec.mask.pass_db, "into": spec.mask.alias_into_hz, "alias_db": spec.mask.alias_db, "delay": spec.mask.delay_s, "carrier": spec.carrier_hz, "candidates": list, "found": found}));
    }
    std::fs::write("/tmp/forty.json", serde_json::to_string(&out).unwrap()).unwrap();
}
