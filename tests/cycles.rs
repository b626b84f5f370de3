//! **Cycles**: the predicted instruction counts against those of the images in the emulator.
//!
//! `QUIETGAP_REWRITE=1 cargo test --test cycles` fits the coefficients anew and writes
//! `host-sim/src/cycles/coefficients.rs`; the next run checks them on plans that were not fitted.

#[path = "on_target/build.rs"]
mod build;
#[path = "on_target/cases.rs"]
#[allow(dead_code)]
mod cases;
#[path = "../benches/cortex-m/src/digest.rs"]
#[allow(dead_code)]
mod digest;
#[path = "on_target/emulator.rs"]
#[allow(dead_code)]
mod emulator;
#[path = "../benches/cortex-m/src/source.rs"]
#[allow(dead_code)]
mod source;

use build::Core;
use cases::Case;
use emulator::Run;
use nalgebra::{DMatrix, DVector};
use quietgap_sim::cycles::CPUS;
use std::fmt::Write as _;
use std::path::Path;

/// Share by which the predicted count of the whole chain may be off.
const TOLERANCE: f64 = 0.05;

#[test]
fn predicted_counts_are_the_emulators() {
    let rewrite = std::env::var_os("QUIETGAP_REWRITE").is_some();
    let sensors = || cases::all(300, 0).into_iter().filter(|case| case.counted);
    let mut written = String::from(
        "//! Coefficients fitted to counts in the emulator. Made by\n\
         //! `QUIETGAP_REWRITE=1 cargo test --test cycles`; do not edit.\n\n\
         use super::Coefficients;\n",
    );
    for core in Core::ALL {
        let images = core.build(false);
        if rewrite {
            let cases: Vec<Case> = cases::plans(false).into_iter().chain(sensors()).collect();
            let runs = emulator::run(core, &images, &cases);
            written += &fitted(core, &cases, &runs);
            continue;
        }
        let cases: Vec<Case> = sensors().chain(cases::plans(true)).collect();
        let runs = emulator::run(core, &images, &cases);
        let cpu = CPUS.iter().find(|cpu| cpu.name == core.name()).expect("a model");
        let (mut worst, mut missed) = (0f64, false);
        for (case, run) in cases.iter().zip(&runs) {
            let shape = case.shape();
            let counts = shape.instructions(cpu.coefficients);
            println!(
                "{core:?} {}: FIR {:.0} predicted {:.0}, reading {:.0} predicted {:.0}",
                case.name,
                run.number("fir") as f64 / case.intervals(),
                counts.firs,
                run.number("reading") as f64 / 100.0,
                counts.reading
            );
            for (what, predicted) in
                [("chain", counts.chain(&shape)), ("front_end", counts.front_end)]
            {
                let measured = run.number(what) as f64 / case.intervals();
                let off = predicted / measured - 1.0;
                worst = worst.max(off.abs());
                println!(
                    "{core:?} {} {what}: {measured:.0} an interval, predicted {:+.1} %",
                    case.name,
                    100.0 * off
                );
                missed |= what == "chain" && off.abs() > TOLERANCE;
            }
        }
        assert!(!missed, "{core:?}: a prediction is off by more than {TOLERANCE}");
        assert!(worst > 0.0, "predictions cannot all be exact: is anything predicted?");
    }
    if rewrite {
        let path =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("host-sim/src/cycles/coefficients.rs");
        std::fs::write(path, written).expect("the coefficients can be written");
    }
}

/// The coefficients of one core, as source.
fn fitted(core: Core, cases: &[Case], runs: &[Run]) -> String {
    let rows = || cases.iter().map(|case| (case, case.shape())).zip(runs);
    let per_interval = |case: &Case, run: &Run, what| run.number(what) as f64 / case.intervals();
    let split = |folded: bool| rows().filter(move |((_, shape), _)| shape.is_folded() == folded);
    let front = |case: &Case, run: &Run| per_interval(case, run, "front_end");
    let folded = solve(split(true).map(|((c, s), r)| (s.folded().to_vec(), front(c, r))).collect());
    let mixed = solve(split(false).map(|((c, s), r)| (s.mixed().to_vec(), front(c, r))).collect());
    let with_firs = rows().filter(|((_, s), _)| s.firs()[0] > 0.0);
    let firs = solve(
        with_firs.map(|((c, s), r)| (s.firs().to_vec(), per_interval(c, r, "fir"))).collect(),
    );
    let reading = solve(
        rows()
            .map(|((_, s), r)| (s.reading().to_vec(), r.number("reading") as f64 / 100.0))
            .collect(),
    );
    // What joins the stages is the small rest of the chain: its error is a share of that.
    let join = solve_to(
        rows()
            .map(|((c, s), r)| {
                let parts = front(c, r)
                    + if s.firs()[0] > 0.0 { per_interval(c, r, "fir") } else { 0.0 }
                    + r.number("reading") as f64 / 100.0 / s.intervals();
                let chain = per_interval(c, r, "chain");
                (s.join().to_vec(), chain - parts, chain)
            })
            .collect(),
    );
    let mut text =
        format!("\npub const {}: Coefficients = Coefficients {{\n", core.name().to_uppercase());
    for (name, values) in
        [("folded", folded), ("mixed", mixed), ("firs", firs), ("reading", reading), ("join", join)]
    {
        let numbers: Vec<String> = values.iter().map(|v| format!("{v:.3}")).collect();
        let _ = writeln!(text, "    {name}: [{}],", numbers.join(", "));
    }
    text + "};\n"
}

/// Least squares of relative errors.
fn solve(rows: Vec<(Vec<f64>, f64)>) -> Vec<f64> {
    solve_to(rows.into_iter().map(|(features, count)| (features, count, count)).collect())
}

/// Least squares of errors relative to the third number, the shortest solution where there are many.
fn solve_to(rows: Vec<(Vec<f64>, f64, f64)>) -> Vec<f64> {
    let width = rows[0].0.len();
    let a = DMatrix::from_fn(rows.len(), width, |i, j| rows[i].0[j] / rows[i].2);
    let b = DVector::from_fn(rows.len(), |i, _| rows[i].1 / rows[i].2);
    let svd = a.svd(true, true);
    svd.solve(&b, 1e-9).expect("both factors").iter().copied().collect()
}
