//! **On the board**: images cross-compiled for Cortex-M4F, M7 and M33 run in the emulator and
//! give the bits of the host, within the committed instruction counts, stack and memory.
//!
//! `QUIETGAP_REWRITE=1 cargo test --test evidence on_target:: -- --ignored` rewrites the expected figures in
//! `benches/cortex-m/expected`.

#[path = "../benches/cortex-m/src/plans/example.rs"]
#[allow(dead_code)]
mod example;
mod line;

use crate::build::Core;
use crate::cases::{self, Case};
use crate::digest;
use crate::emulator::{self, Run};
use crate::source;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::PathBuf;

/// Counts may differ from the expected ones by this share.
const TOLERANCE: f64 = 0.02;

/// The three sensor plans, a carrier that is not coherent, random plans, every block cut: digests
/// of all output words as on the host; instruction counts, stack and memory as committed.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn same_bits_and_counts() {
    let cases = cases::all(300, 12);
    for core in Core::ALL {
        let runs =
            emulator::run(core, &core.build(false), "bench", cases.iter().map(Case::to_bytes));
        compare_bits(core, &cases, &runs);
        compare_counts(core, &cases, &runs);
    }
}

/// A core without long products, division and saturation (Armv6-M), on the M4's board, and one of another kind
/// (RV32IMAC): the same bits, and what they cost there.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn other_cores_say_the_same() {
    let cases = cases::all(300, 4);
    for core in [Core::M0, Core::Riscv32] {
        let images = core.build(false);
        let runs = emulator::run(core, &images, "bench", cases.iter().map(Case::to_bytes));
        compare_bits(core, &cases, &runs);
        compare_counts(core, &cases, &runs);
    }
}

/// The sensors' exported packages in images of every level, built without the flags that tune loops: the host's
/// bits, and within 5 % of the committed counts.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn packages_cost_the_same_at_any_level() {
    let cases: Vec<Case> = cases::all(300, 0)
        .into_iter()
        .filter(|case| case.counted && !case.name.contains(','))
        .collect();
    let tuned = committed(Core::M7);
    for level in ["release", "two", "size", "small"] {
        let runs = emulator::run(
            Core::M7,
            &Core::M7.build_at(level),
            "levels",
            cases.iter().map(Case::to_bytes),
        );
        assert_eq!(runs.len(), 3, "{level}");
        for (case, run) in cases.iter().zip(&runs) {
            let name = format!("{level}, {}", case.name);
            let digest = format!("{:016x}", case.on_host().digest);
            assert_eq!(run.text("digest"), digest, "{name}");
            let off = run.number("chain") as f64 / tuned[&(case.name.clone(), "chain")] - 1.0;
            println!("{name}: {:+.1} % of the tuned count", 100.0 * off);
            assert!(off.abs() < 0.05, "{name}: {:+.1} %", 100.0 * off);
        }
    }
}

/// Overflow and bounds checks on: no panic, the same bits.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn same_bits_in_debug() {
    let cases = cases::all(110, 4);
    let core = Core::M7;
    let runs = emulator::run(core, &core.build(true), "bench", cases.iter().map(Case::to_bytes));
    compare_bits(core, &cases, &runs);
}

/// The example firmware: an interrupt at the block rate, a queue, the chain in the main loop. No
/// block is lost or refused, the queue of seven never fills, and all cores, whose plan the compiler
/// made, read what the host reads, which made it at run time.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn example_loses_no_block() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut readout = example::Board::new(&example::CONFIG).expect("a good plan");
    let (mut source, mut host) = (source::Source::new(3), digest::Digest::new());
    for _ in 0..3000 {
        let mut codes = [0; 160];
        source.fill(&mut codes, example::CHANNELS, &[6000, -6000], 12);
        readout.push(&codes, |reading| host.reading(reading));
    }
    for core in Core::ALL {
        let image = core.build(false).join("board");
        let text = emulator::finish(core.emulator(&image, folder.path()));
        let line = text.lines().find(|line| line.starts_with("board ")).expect("a line").to_owned();
        let run = Run::of(&line);
        let [blocks, lost, refused] = ["blocks", "lost", "refused"].map(|key| run.number(key));
        assert_eq!((blocks, lost, refused), (3000, 0, 0), "{core:?}: {line}");
        assert!(run.number("deepest") < 7, "{core:?}: {line}");
        // 3000 blocks of 80 frames, a reading every 800.
        assert_eq!(run.number("readings"), 300, "{core:?}: {line}");
        assert_eq!(run.text("digest"), format!("{:016x}", host.0), "{core:?}: {line}");
    }
}

/// Every bit of a readout flipped, one at a time, in mid-run: the readings are those of the run
/// without it, or become them when the filters have forgotten the flip, or the next reading is
/// flagged; and a readout built anew goes on where the flagged one ended. Nothing panics or hangs.
#[test]
#[ignore = "minutes: builds and runs the boards' images; cargo test --workspace --tests -- --ignored"]
fn flipped_bits_heal_or_are_flagged() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = Core::M7.build(false).join("flips");
    let text = emulator::finish(Core::M7.uncounted(&image, folder.path()));
    let runs: Vec<Run> = text.lines().filter(|l| l.starts_with("flips=")).map(Run::of).collect();
    assert_eq!(runs.len(), 4, "{text}");
    for run in runs {
        let [bits, nothing, healed, flagged, wrong] =
            ["bits", "nothing", "healed", "flagged", "wrong"].map(|key| run.number(key));
        assert_eq!(wrong, 0, "{text}");
        assert_eq!(bits, nothing + healed + flagged, "{text}");
        // A third of the bits are constants, a tenth sums.
        assert!(flagged > bits / 3 && healed > bits / 20, "{text}");
    }
}

fn compare_bits(core: Core, cases: &[Case], runs: &[Run]) {
    assert_eq!(runs.len(), cases.len(), "{core:?}: lines");
    for (case, run) in cases.iter().zip(runs) {
        let want = case.on_host();
        let name = format!("{core:?}, {}", case.name);
        assert_eq!(run.number("readings"), want.readings, "{name}: readings");
        assert!(want.readings > 0, "{name}: nothing was read");
        for (key, digest) in
            [("digest", want.digest), ("phasors", want.phasors), ("firs", want.firs)]
        {
            assert_eq!(run.text(key), format!("{digest:016x}"), "{name}: {key}");
        }
    }
}

/// What is committed for each case, with what it is a count of.
const COUNTED: [&str; 11] = [
    "chain",
    "alone",
    "busiest",
    "front_end",
    "fir",
    "reading",
    "stack",
    "ram",
    "ram_front_end",
    "ram_firs",
    "samples",
];

/// What the busiest interval without a reading may take of a mean one.
const EVEN: f64 = 1.15;

/// What the built-in sensors may cost an input sample and channel on an M7: whole chain, front end. Of a mass near
/// its centre: a reading takes two rounds there.
const BUDGETS: [(&str, f64, f64); 4] = [
    ("two-bridge", 8.1, 6.8),
    ("six-axis", 7.2, 6.2),
    ("quarter-rate", 8.3, 6.7),
    ("not-coherent", 18.0, 16.7),
];

fn compare_counts(core: Core, cases: &[Case], runs: &[Run]) {
    let mut is = BTreeMap::new();
    let mut table = format!(
        "# {core:?}: made by QUIETGAP_REWRITE=1 cargo test --test evidence on_target:: -- --ignored\n# {}\n",
        core.compiler()
    );
    for (case, run) in cases.iter().zip(runs).filter(|(case, _)| case.counted) {
        let _ = write!(table, "{}", case.name);
        for key in COUNTED {
            let value = if key == "samples" { case.samples() } else { run.number(key) };
            is.insert((case.name.clone(), key), value);
            let _ = write!(table, " {key}={value}");
        }
        table.push('\n');
        if case.name.starts_with("vault-six-axis") && !case.name.contains("not-coherent") {
            let ram = run.number("ram");
            assert!(ram < 17 * 1024, "{core:?}, {}: {ram} bytes", case.name);
        }
        let [chain, front_end] =
            ["chain", "front_end"].map(|key| run.number(key) as f64 / case.samples() as f64);
        println!(
            "{core:?} {}: {chain:.2} instructions a sample and channel, front end {front_end:.2}",
            case.name,
        );
        let [alone, busiest] = ["alone", "busiest"].map(|key| run.number(key) as f64);
        let busiest = busiest / (alone / case.intervals());
        println!("{core:?} {}: the busiest interval {busiest:.3} of the mean", case.name);
        // A core without long products takes more for FIR stages, of which a piece of work is a share.
        assert!(
            busiest < EVEN || !Core::ALL.contains(&core),
            "{core:?}, {}: an interval of {busiest:.3} of the mean",
            case.name
        );
        for (plan, most, most_front_end) in BUDGETS {
            if core == Core::M7 && case.name.ends_with(plan) {
                assert!(chain <= most, "{}: {chain} instructions, at most {most}", case.name);
                assert!(front_end <= most_front_end, "{}: front end {front_end}", case.name);
            }
        }
    }
    let path = expected(core);
    if std::env::var_os("QUIETGAP_REWRITE").is_some() {
        std::fs::write(&path, table).expect("the expected file can be written");
        return;
    }
    let committed = committed(core);
    assert_eq!(committed.len(), is.len(), "{}: cases", path.display());
    for ((name, key), want) in committed {
        let now = is[&(name.clone(), key)] as f64;
        assert!(
            (now - want).abs() <= TOLERANCE * want,
            "{core:?}, {name}: {key} is {now} of {}, committed {want}, of the compiler in {}: rewrite, if that is meant",
            core.compiler(),
            path.display(),
        );
    }
}

fn expected(core: Core) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join(format!("benches/cortex-m/expected/{}.txt", core.name()))
}

/// The committed figures of a core, by case and what they count.
fn committed(core: Core) -> BTreeMap<(String, &'static str), f64> {
    let text = std::fs::read_to_string(expected(core)).expect("an expected file");
    let mut figures = BTreeMap::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let mut words = line.split(' ');
        let name = words.next().expect("a name");
        for word in words {
            let (key, value) = word.split_once('=').expect("key=value");
            let key = COUNTED.into_iter().find(|k| *k == key).expect("a known key");
            figures.insert((name.to_owned(), key), value.parse().expect("a number"));
        }
    }
    figures
}
