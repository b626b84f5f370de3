//! Comparing plans: every small thing that can go wrong in a plan is flagged, a plan against itself is
//! not, and a tolerance lets pass what it names and no more.

use crate::specs::{WORKLOADS, spec};
use quietgap_sim::filter::compare::Comparison;
use quietgap_sim::filter::compare::rows::Row;
use quietgap_sim::filter::compare::run::Codes;
use quietgap_sim::filter::compare::tolerance::{Structure, Tolerance};
use quietgap_sim::filter::design::search::search;
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::instrument::{BUILT_IN, Sensor};

/// Two FIR stages, quick to run.
fn plan() -> Subject {
    search(&spec(WORKLOADS[2].1)).expect("a plan").subject
}

fn compare(old: &Subject, new: &Subject, tolerance: &Tolerance) -> Comparison {
    Comparison::new(old.clone(), new.clone(), &Codes::Seeded(1), tolerance).expect("comparable")
}

fn missed(comparison: &Comparison) -> Vec<&Row> {
    comparison.rows.iter().filter(|r| !r.pass).collect()
}

fn names(comparison: &Comparison) -> Vec<String> {
    missed(comparison).iter().map(|r| format!("{} {}", r.stage, r.name)).collect()
}

#[test]
fn a_plan_passes_against_itself() {
    let plans = [plan(), Subject::of_sensor(&Sensor::load(BUILT_IN[2].0).expect("built in"))];
    for plan in plans {
        let comparison = compare(&plan, &plan, &Tolerance::default());
        assert!(comparison.pass(), "{:?}", names(&comparison));
        let difference = comparison.difference.expect("readings");
        assert_eq!((difference.rms, difference.max), (0.0, 0.0));
        assert!(difference.readings >= 100 && !difference.interpolated);
        let [a, b] = difference.density.expect("long enough");
        assert!(a == b && a > 0.0);
    }
}

/// A pair of mirrored taps, and one tap alone, wrong by the smallest step, in each place.
#[test]
fn one_step_in_one_tap_is_flagged() {
    let old = plan();
    let length = old.plan.firs[1].taps.len();
    for at in [0, 1, length / 2 - 1, length / 2] {
        // Both mirrors: a plan that the core takes.
        let mut new = old.clone();
        new.plan.firs[1].taps[at] += 1;
        let mirror = length - 1 - at;
        if mirror != at {
            new.plan.firs[1].taps[mirror] += 1;
        }
        let comparison = compare(&old, &new, &Tolerance::default());
        let found = names(&comparison);
        assert!(found.contains(&"FIR 2 taps".to_owned()), "{at}: {found:?}");
        assert!(found.contains(&"all gain".to_owned()), "{at}: {found:?}");
        // One alone: a slip.
        let mut new = old.clone();
        new.plan.firs[1].taps[at] += 1;
        if mirror != at {
            let comparison = compare(&old, &new, &Tolerance::default());
            let rows = missed(&comparison);
            assert!(rows.iter().any(|r| r.stage == "FIR 2" && r.name == "taps"));
            let refused = rows.iter().find(|r| r.name == "taps of the new plan and their mirror");
            let refused = format!("{:?}", refused.expect("refused"));
            let value = new.plan.firs[1].taps[at].to_string();
            assert!(refused.contains("FIR 2") && refused.contains(&value), "{refused}");
        }
    }
}

#[test]
fn ratios_swapped_are_flagged() {
    let old = plan();
    let mut new = old.clone();
    let [a, b] = [old.plan.firs[0].ratio, old.plan.firs[1].ratio];
    assert_ne!(a, b);
    (new.plan.firs[0].ratio, new.plan.firs[1].ratio) = (b, a);
    let comparison = compare(&old, &new, &Tolerance::default());
    let found = names(&comparison);
    assert!(found.contains(&"FIR 1 ratio".to_owned()), "{found:?}");
    assert!(found.contains(&"FIR 2 ratio".to_owned()), "{found:?}");
    // What it does, too: aliases come through, whatever the structure may do.
    let free = Tolerance { structure: Structure::Free, ..Tolerance::default() };
    let found = names(&compare(&old, &new, &free));
    assert!(found.iter().any(|n| n.ends_with("alias_db")), "{found:?}");
    assert!(found.contains(&"all readings_rms".to_owned()), "{found:?}");
}

#[test]
fn words_one_bit_short_are_flagged() {
    let old = plan();
    // Codes of a bit less, taps of a bit less with the same gain, taps of twice the gain.
    let mut codes = old.clone();
    codes.code_bits -= 1;
    let mut taps = old.clone();
    let stage = &mut taps.plan.firs[1];
    stage.scale_bits -= 1;
    stage.taps.iter_mut().for_each(|t| *t /= 2);
    let mut gain = old.clone();
    gain.plan.firs[0].scale_bits -= 1;
    for (new, name) in [
        (codes, "converter code_bits"),
        (taps, "FIR 2 scale_bits"),
        (gain.clone(), "FIR 1 scale_bits"),
    ] {
        let found = names(&compare(&old, &new, &Tolerance::default()));
        assert!(found.contains(&name.to_owned()), "{found:?}");
        assert!(found.iter().any(|n| n.ends_with("readings_rms")), "{found:?}");
    }
    let found = names(&compare(&old, &gain, &Tolerance::default()));
    assert!(found.iter().any(|n| n == "all gain"), "{found:?}");
    let mut register = old.clone();
    register.plan.register_bits = 128;
    let found = names(&compare(&old, &register, &Tolerance::default()));
    assert_eq!(found, ["CIC register_bits", "all memory_bytes"]);
}

/// All taps negated: readings are negated, and the check refuses the gain.
#[test]
fn a_sign_flipped_is_flagged() {
    let old = plan();
    let mut new = old.clone();
    new.plan.firs[1].taps.iter_mut().for_each(|t| *t = -*t);
    let free = Tolerance { structure: Structure::Free, ..Tolerance::default() };
    let comparison = compare(&old, &new, &free);
    let found = names(&comparison);
    assert!(found.contains(&"all gain".to_owned()), "{found:?}");
    assert!(found.contains(&"all readings_rms".to_owned()), "{found:?}");
    let gain = comparison.new.limits.iter().find(|l| l.name == "gain at zero frequency");
    let gain = gain.expect("a line");
    assert!(!gain.pass && gain.stage == "FIR 2" && gain.value == -1.0, "{gain:?}");
}

/// A tap of zero at either end of a stage: the same response, one sample of that stage's input later.
#[test]
fn a_delay_grown_by_one_sample_is_flagged() {
    let old = plan();
    for stage in 0..2 {
        let mut new = old.clone();
        let taps = &mut new.plan.firs[stage].taps;
        taps.insert(0, 0);
        taps.push(0);
        let comparison = compare(&old, &new, &Tolerance::default());
        let found = names(&comparison);
        assert!(found.contains(&"all delay_s".to_owned()), "{found:?}");
        let row = missed(&comparison);
        let row = row.iter().find(|r| r.name == "delay_s").expect("a row");
        let rates: u64 = old.plan.firs[..stage].iter().map(|f| u64::from(f.ratio)).product();
        let sample = (rates * u64::from(old.plan.ratio)) as f64 / old.rate_hz;
        assert!((row.change.expect("a change") - sample).abs() < 1e-15, "{row:?}");
        // Though nothing else that is judged changes for the worse but what belongs to it.
        let free = Tolerance { structure: Structure::Free, ..Tolerance::default() };
        let found = names(&compare(&old, &new, &free));
        assert!(!found.iter().any(|n| n.ends_with("alias_db") || n.ends_with("gain")), "{found:?}");
    }
}

/// The tolerance is a limit: the change itself passes, anything less does not.
#[test]
fn tolerances_are_limits() {
    let old = plan();
    let mut new = old.clone();
    new.plan.firs[0].taps.insert(0, 0);
    new.plan.firs[0].taps.push(0);
    let change = |name: &str, comparison: &Comparison| {
        comparison.rows.iter().find(|r| r.name == name).expect(name).change.expect("a change")
    };
    let strict = compare(&old, &new, &Tolerance::default());
    let delay = change("delay_s", &strict);
    let wide = Tolerance {
        structure: Structure::Free,
        delay_s: delay,
        settled_s: 1.0,
        instructions_per_sample: 1.0,
        memory_bytes: 1e4,
        readings_rms: 1.0,
        readings_max: 1.0,
        noise_ratio: 1.0,
        overshoot: 1.0,
        rounding: 1.0,
        pass_band_db: 0.0,
        ..Tolerance::default()
    };
    let good = compare(&old, &new, &wide);
    assert!(good.pass(), "{:?}", names(&good));
    let less = Tolerance { delay_s: delay * (1.0 - 1e-12), ..wide };
    assert_eq!(names(&compare(&old, &new, &less)), ["all delay_s"]);
}

/// The same seed gives the same numbers to the last bit, another seed others.
#[test]
fn seeded() {
    let old = plan();
    let new = search(&spec(&WORKLOADS[2].1.replace("channels", "orders = [2]\nchannels")));
    let new = new.expect("a plan").subject;
    let run = |seed| {
        let codes = Codes::Seeded(seed);
        let tolerance = Tolerance::default();
        let comparison = Comparison::new(old.clone(), new.clone(), &codes, &tolerance);
        comparison.expect("comparable").difference.expect("readings")
    };
    assert_eq!(run(1), run(1));
    assert_ne!(run(1).rms, run(2).rms);
    // Two good plans read the same to what their pass bands allow.
    assert!(run(1).rms < 1e-3, "{:e}", run(1).rms);
}
