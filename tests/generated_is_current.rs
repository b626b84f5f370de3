//! Evidence: what is written down twice is the same. The table of limits in docs/accuracy.md,
//! the built-in sensors' FIR stages and the script that made them.

use quietgap_sim::limits::TABLE;
use quietgap_sim::sensor::{BUILT_IN, Sensor};
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

#[test]
fn built_in_sensors_share_one_set_of_fir_stages() {
    let stages = |text: &str| text[text.find("[[plan.fir]]").expect("FIR stages")..].to_owned();
    let first = stages(BUILT_IN[0].1);
    for (name, text) in BUILT_IN {
        assert_eq!(stages(text), first, "{name}");
        let sensor = Sensor::load(name).expect("a good sensor");
        let sums: Vec<i64> =
            sensor.plan.firs.iter().map(|f| f.taps.iter().map(|t| i64::from(*t)).sum()).collect();
        // Gain at zero frequency exactly one.
        assert_eq!(sums, [1 << 30; 3], "{name}");
    }
}
