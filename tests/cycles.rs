//! **Cycles**: the predicted instruction counts against those of the images in the emulator.
//!
//! `QUIETGAP_REWRITE=1 cargo test --test evidence cycles:: -- --ignored` fits the coefficients anew and writes
//! `host-sim/src/cycles/coefficients.rs`; the next run checks them on plans that were not fitted.

use crate::build::Core;
use crate::cases::{self, Case};
use crate::emulator::{self, Run};
use crate::orders;
use nalgebra::{DMatrix, DVector};
use quietgap_sim::cycles::{CPUS, Shape};
use std::fmt::Write as _;
use std::path::Path;

/// Share by which a predicted count may be off.
const TOLERANCE: f64 = 0.05;

/// The three sensors, lean and not coherent, and seven other plans: the whole chain. On M4 and M7 front ends of every
/// order, pruned ones too, by themselves; some with all that stands behind them.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn predicted_counts_are_the_emulators() {
    let rewrite = std::env::var_os("QUIETGAP_REWRITE").is_some();
    // Side by side: most of the time goes into building the images, one step after another for each core.
    let fitted: Vec<String> = std::thread::scope(|scope| {
        let cores = Core::ALL.map(|core| scope.spawn(move || of_core(core, rewrite)));
        cores.map(|core| core.join().expect("as predicted")).into_iter().collect()
    });
    if rewrite {
        let head = "//! Coefficients fitted to counts in the emulator. Made by\n\
             //! `QUIETGAP_REWRITE=1 cargo test --test evidence cycles:: -- --ignored`; do not edit.\n\n\
             use super::Coefficients;\n";
        let path =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("host-sim/src/cycles/coefficients.rs");
        std::fs::write(path, head.to_owned() + &fitted.concat())
            .expect("the coefficients can be written");
    }
}

/// Compares predicted counts of one core with the emulator's, or fits its coefficients anew: as source.
fn of_core(core: Core, rewrite: bool) -> String {
    let restless = |case: &Case| case.name.ends_with(cases::RESTLESS);
    let all = || cases::all(300, 0).into_iter().filter(|case| case.counted);
    let sensors = || all().filter(|case| !restless(case));
    let images = core.build(false);
    let run = |image, cases: Vec<Case>| {
        let runs = emulator::run(core, &images, image, cases.iter().map(Case::to_bytes));
        println!("{core:?} {image}: {} cases", cases.len());
        assert_eq!(runs.len(), cases.len());
        cases.into_iter().zip(runs).collect::<Vec<_>>()
    };
    if rewrite && core == Core::M33 {
        // The M4's are its, too.
        return String::new();
    }
    if rewrite {
        let chains =
            run("bench", cases::sized::plans(false).into_iter().chain(sensors()).collect());
        let looked = run("bench", all().filter(restless).collect());
        return fitted(core, &chains, &run("orders", orders::plans(false)), &looked[0]);
    }
    let cpu = CPUS.iter().find(|cpu| cpu.name == core.name()).expect("a model");
    let mut worst = 0f64;
    let mut check = |case: &Case, run: &Run, what: &str, predicted: f64| {
        // The busiest is one.
        let intervals = if what == "busiest" { 1.0 } else { case.intervals() };
        let measured = run.number(what) as f64 / intervals;
        let off = predicted / measured - 1.0;
        println!(
            "{core:?} {} {what}: {measured:.0} an interval, predicted {:+.1} %",
            case.name,
            100.0 * off
        );
        worst = worst.max(off.abs());
    };
    for (case, run) in run("bench", sensors().chain(cases::sized::plans(true)).collect()) {
        let shape = case.shape();
        let counts = shape.instructions_at(cpu.coefficients, mean_rounds(&run));
        check(&case, &run, "chain", counts.chain(&shape));
        // Where every interval makes a reading there is none.
        if run.number("busiest") > 0 {
            check(&case, &run, "busiest", counts.busiest());
        }
    }
    for (case, run) in run("bench", all().filter(restless).collect()) {
        let shape = case.shape();
        let counts = shape.instructions_at(cpu.coefficients, mean_rounds(&run));
        check(&case, &run, "chain", counts.chain(&shape) + counts.look);
    }
    // An image of front ends of every order takes longest to build of all, and the M33's counts are the M4's.
    let orders = if core == Core::M33 { Vec::new() } else { run("orders", orders::plans(true)) };
    for (case, run) in orders {
        let shape = case.shape();
        let counts = shape.instructions_at(cpu.coefficients, mean_rounds(&run));
        let host = case.on_host();
        let same = |key, digest| {
            let digest = format!("{digest:016x}");
            assert_eq!(run.text(key), digest, "{core:?} {}: {key}", case.name);
        };
        same("phasors", host.phasors);
        if run.has("chain") {
            same("digest", host.digest);
            check(&case, &run, "chain", counts.chain(&shape));
        } else {
            check(&case, &run, "front_end", counts.front_end);
        }
    }
    let compiler = core.compiler();
    assert!(
        worst < TOLERANCE,
        "{core:?}, {compiler}: a prediction is off by {:.1} %",
        100.0 * worst
    );
    assert!(worst > 0.0, "predictions cannot all be exact: is anything predicted?");
    String::new()
}

/// The coefficients of one core, as source; `fronts` are front ends alone, of `looked` every block was looked at twice.
fn fitted(
    core: Core,
    chains: &[(Case, Run)],
    fronts: &[(Case, Run)],
    looked: &(Case, Run),
) -> String {
    let rows = || chains.iter().map(|(case, run)| (case, case.shape(), run));
    let per_interval = |case: &Case, run: &Run, what| run.number(what) as f64 / case.intervals();
    // A front end of each order.
    let by_order = |folded: bool, features: fn(&Shape) -> Vec<f64>| {
        let fit = |order: u8| {
            let rows = chains.iter().chain(fronts).filter(|(case, _)| case.order() == order);
            let rows = rows.map(|(case, run)| (case.shape(), per_interval(case, run, "front_end")));
            let rows = rows.filter(|(shape, _)| shape.is_folded() == folded);
            solve(rows.map(|(shape, count)| (features(&shape), count)).collect())
        };
        (1..=6).map(fit).collect::<Vec<_>>()
    };
    let with_firs = rows().filter(|(_, s, _)| s.firs()[0] > 0.0);
    let (restless, twice) = looked;
    let once =
        chains.iter().find(|(case, _)| restless.name.starts_with(&format!("{},", case.name)));
    let (once, run) = once.expect("the same sensor at rest");
    let more = per_interval(restless, twice, "front_end") - per_interval(once, run, "front_end");
    let look = more / (restless.shape().ratio * restless.shape().channels);
    let firs =
        solve(with_firs.map(|(c, s, r)| (s.firs().to_vec(), per_interval(c, r, "fir"))).collect());
    let reading = solve(
        rows()
            .map(|(_, s, r)| {
                let rounds = r.number("reading_rounds") as f64;
                (s.reading(rounds).to_vec(), r.number("reading") as f64 / 100.0)
            })
            .collect(),
    );
    // Not where every interval makes a reading.
    let spread = rows().filter(|(_, _, r)| r.number("busiest") > 0);
    let busiest = solve_to(
        spread
            .map(|(c, s, r)| {
                let count = r.number("busiest") as f64;
                let first = if s.firs()[0] > 0.0 { dot(&s.first_fir(), &firs) } else { 0.0 };
                let rest = count - per_interval(c, r, "front_end") - first;
                (s.busiest().to_vec(), rest, count)
            })
            .collect(),
    );
    // What joins the stages is the small rest of the chain: its error is a share of that.
    let join = solve_to(
        rows()
            .map(|(c, s, r)| {
                let parts = per_interval(c, r, "front_end")
                    + if s.firs()[0] > 0.0 { per_interval(c, r, "fir") } else { 0.0 }
                    + dot(&s.reading(mean_rounds(r)), &reading) / s.intervals();
                let chain = per_interval(c, r, "chain");
                (s.join().to_vec(), chain - parts, chain)
            })
            .collect(),
    );
    let mut text =
        format!("\npub const {}: Coefficients = Coefficients {{\n", core.name().to_uppercase());
    let numbers =
        |values: &[f64]| values.iter().map(|v| format!("{v:.3}")).collect::<Vec<_>>().join(", ");
    for (name, fitted) in [
        ("folded", by_order(true, |s| s.folded().to_vec())),
        ("mixed", by_order(false, |s| s.mixed().to_vec())),
    ] {
        let _ = writeln!(text, "    {name}: [");
        for values in fitted {
            let _ = writeln!(text, "        [{}],", numbers(&values));
        }
        let _ = writeln!(text, "    ],");
    }
    for (name, values) in
        [("firs", firs), ("reading", reading), ("join", join), ("busiest", busiest)]
    {
        let _ = writeln!(text, "    {name}: [{}],", numbers(&values));
    }
    let _ = writeln!(text, "    look: {look:.3},");
    text + "};\n"
}

/// Rounds of a reading of the chain, on the average.
fn mean_rounds(run: &Run) -> f64 {
    if run.has("rounds") {
        run.number("rounds") as f64 / run.number("readings") as f64
    } else {
        1.0
    }
}

fn dot(x: &[f64], y: &[f64]) -> f64 {
    x.iter().zip(y).map(|(x, y)| x * y).sum()
}

/// Least squares of relative errors.
fn solve(rows: Vec<(Vec<f64>, f64)>) -> Vec<f64> {
    solve_to(rows.into_iter().map(|(features, count)| (features, count, count)).collect())
}

/// Least squares of errors relative to the third number, the shortest solution where there are many.
fn solve_to(rows: Vec<(Vec<f64>, f64, f64)>) -> Vec<f64> {
    assert!(rows.iter().all(|row| row.2 > 0.0), "an error relative to nothing");
    let width = rows[0].0.len();
    let a = DMatrix::from_fn(rows.len(), width, |i, j| rows[i].0[j] / rows[i].2);
    let b = DVector::from_fn(rows.len(), |i, _| rows[i].1 / rows[i].2);
    let svd = a.svd(true, true);
    svd.solve(&b, 1e-9).expect("both factors").iter().copied().collect()
}
