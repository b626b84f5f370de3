//! Evidence: what is written down twice is the same. The table of limits in docs/accuracy.md,
//! the board page and the committed figures, FIR stages of two built-in sensors.

use quietgap_sim::instrument::{BUILT_IN, Sensor};
use quietgap_sim::readout::limits::TABLE;
use std::path::Path;

fn read(path: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).expect("readable")
}

#[test]
fn accuracy_page_lists_the_limits_in_force() {
    let page = read("docs/accuracy.md");
    for limit in TABLE {
        let default = limit.default.map_or("the sensor's".to_owned(), |d| format!("{d:e}"));
        let unit = if limit.unit.is_empty() { "" } else { &format!(" {}", limit.unit) };
        let row = format!("| `{}` | {default}{unit} | {} |", limit.name, limit.why);
        assert!(page.contains(&row), "docs/accuracy.md lacks the row\n{row}");
    }
    let rows = page.lines().filter(|line| line.starts_with("| `")).count();
    assert_eq!(rows, TABLE.len(), "docs/accuracy.md lists limits that are not in force");
}

/// The board page's table of memory, from the committed figures.
#[test]
fn board_page_has_the_committed_footprint() {
    let page = read("docs/board.md");
    let footprint = read("benches/cortex-m/expected/footprint.txt");
    let counts = read("benches/cortex-m/expected/m7.txt");
    let value = |text: &str, line: &str, key: &str| -> u64 {
        let line = text.lines().find(|l| l.starts_with(line)).expect("a line");
        let word = line.split(' ').find_map(|word| word.strip_prefix(&format!("{key}=")));
        word.expect("a key").parse().expect("a number")
    };
    let grouped = |n: u64| match n / 1000 {
        0 => n.to_string(),
        thousands => format!("{thousands} {:03}", n % 1000),
    };
    let images = ["two-bridge", "six-axis", "quarter-rate", "set-up"];
    for (what, key) in [
        ("flash: vectors (1024), chain, its start, its constants", "flash"),
        ("of this the running chain's code", "run_code"),
        ("stack, running", "stack"),
        ("stack, start included", "set_up_stack"),
    ] {
        let cells = images.map(|name| grouped(value(&footprint, &format!("m7 {name} "), key)));
        let row = format!("| {what} | {} |", cells.join(" | "));
        assert!(page.contains(&row), "docs/board.md lacks the row\n{row}");
    }
    let sensors = ["vault-two-bridge", "vault-six-axis", "vault-quarter-rate", "vault-six-axis"];
    let ram = sensors.map(|name| grouped(value(&counts, &format!("{name} "), "ram")));
    let row = format!("| RAM of the readout | {} |", ram.join(" | "));
    assert!(page.contains(&row), "docs/board.md lacks the row\n{row}");
    // What a sample costs, to one digit.
    for (what, case) in [
        ("two bridges, 10 samples a carrier period, ratio 160", "vault-two-bridge "),
        ("six axes with monitor, the same", "vault-six-axis "),
        ("quarter rate, ratio 128", "vault-quarter-rate "),
        (
            "two bridges, the same filters, a carrier that is not coherent",
            "vault-two-bridge,not-coherent ",
        ),
        ("six axes with monitor, the same", "vault-six-axis,not-coherent "),
    ] {
        let samples = value(&counts, case, "samples") as f64;
        let cost = |key| value(&counts, case, key) as f64 / samples;
        let row = format!("| {what} | {:.1} | {:.1} |", cost("front_end"), cost("chain"));
        assert!(page.contains(&row), "docs/board.md lacks the row\n{row}");
    }
}

#[test]
fn fir_stages_of_the_built_in_sensors() {
    for (name, _) in BUILT_IN {
        let sensor = Sensor::load(name).expect("a good sensor");
        assert!(sensor.plan.firs.len() > 2, "{name}");
        for fir in &sensor.plan.firs {
            // Gain at zero frequency exactly one.
            assert_eq!(fir.taps.iter().map(|t| i64::from(*t)).sum::<i64>(), 1 << 30, "{name}");
        }
    }
}
