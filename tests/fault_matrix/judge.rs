//! What a fault did to readings, and what told of it.

use super::faults::Fault;
use super::host::Told;
use super::recording::At;
use quietgap_acquisition::Faults;
use quietgap_core::Health;
use quietgap_sim::instrument::Sensor;
use std::fmt::Write as _;
use std::path::Path;

/// Of one run with a fault.
#[derive(Debug)]
pub struct Verdict {
    /// Readings without a flag that hold samples of the fault.
    pub unflagged: usize,
    /// How far the worst of these was from that of the sound bench, and the worst of all, of the gap or the angle range.
    pub unflagged_off: f64,
    pub off: f64,
    pub health: Health,
    pub faults: Faults,
    /// Readings after the fault's end until they are as those of the sound bench, for good.
    pub recovery: usize,
}

/// Readings of the fault's run against those of the sound bench.
pub fn judge(sensor: &Sensor, fault: &Fault, at: &At, told: &[Told], clean: &[Told]) -> Verdict {
    let gap = sensor.file.electrodes[0].gap_m;
    let span = sensor.settings.interval() as i64;
    // Half samples from a reading's instant to its end; the last reading's end is known.
    let delay = 2 * (clean.len() as i64 * span) - clean[clean.len() - 1].half_samples;
    let end = |reading: &Told| (reading.half_samples + delay) / 2;
    let anew = told.iter().any(|reading| reading.starts > 1);
    let touched: Vec<&Told> =
        told.iter().filter(|r| r.starts > 1 || !anew && end(r) > at.from as i64).collect();
    let first_flagged = touched.iter().position(|r| !r.health.is_ok()).unwrap_or(usize::MAX);
    assert!(first_flagged <= 1, "{}: {first_flagged} readings before it is told", fault.name);

    let off = |reading: &Told| -> f64 {
        let same = clean.iter().find(|c| c.half_samples == reading.half_samples);
        let Some(same) = same.filter(|_| !anew) else { return 0.0 };
        let pairs = reading.axes.iter().zip(&same.axes).zip(sensor.axes());
        let of_range = |((a, b), axis): ((&i64, &i64), &usize)| {
            (*a as f64 - *b as f64).abs() * 1e-18 / if *axis < 3 { gap } else { gap / 0.022 }
        };
        pairs.map(of_range).fold(0.0, f64::max)
    };
    // None is wrong and healthy, then or later, by more than the picometres that slow filters make of their last samples.
    for reading in touched.iter().filter(|r| r.health.is_ok()) {
        assert!(off(reading) < 1e-9, "{}: {} off and healthy", fault.name, off(reading));
    }
    let over = |reading: &&&Told| anew || end(reading) > at.to as i64;
    let worst =
        |readings: &mut dyn Iterator<Item = &&Told>| readings.map(|r| off(r)).fold(0.0, f64::max);
    // A flag that stood and fell while the fault went on would hide it.
    let during: Vec<&Told> =
        touched.iter().filter(|r| end(r) <= at.to as i64).skip(1).copied().collect();
    assert!(
        anew || during.iter().all(|r| !r.health.is_ok()),
        "{}: a reading of it is sound",
        fault.name
    );
    let after: Vec<&Told> = touched.iter().filter(over).copied().collect();
    // As the sound bench's: its bits, but for a drift of the clock's count.
    let sound = |r: &Told| r.health.is_ok() && off(r) < 1e-9;
    let recovery = after.len() - after.iter().rev().take_while(|r| sound(r)).count();
    let all = |f: fn(&Told) -> u16| touched.iter().fold(0, |all, r| all | f(r));
    Verdict {
        unflagged: first_flagged,
        unflagged_off: worst(&mut touched.iter().take(first_flagged)),
        off: worst(&mut touched.iter()),
        health: Health::from_bits(all(|r| r.health.bits())),
        faults: Faults::from_bits(all(|r| r.faults.bits())),
        recovery,
    }
}

/// A row of the table, from runs with the fault at different places of an interval.
pub fn row(fault: &Fault, verdicts: &[Verdict]) -> String {
    let mut row = String::new();
    for verdict in verdicts {
        assert!(verdict.health.has(fault.health), "{}: {verdict:?}", fault.name);
        assert!(verdict.faults.has(fault.faults), "{}: {verdict:?}", fault.name);
    }
    let most = |f: fn(&Verdict) -> f64| verdicts.iter().map(f).fold(0.0, f64::max);
    let names = |bits: &dyn Fn(&Verdict) -> u16, all: &[(u16, &str)]| -> Vec<String> {
        let seen = verdicts.iter().fold(u16::MAX, |seen, verdict| seen & bits(verdict));
        all.iter().filter(|(bit, _)| seen & bit != 0).map(|(_, name)| format!("`{name}`")).collect()
    };
    let health: Vec<(u16, &str)> = Health::NAMES.iter().map(|(f, n)| (f.bits(), *n)).collect();
    let faults: Vec<(u16, &str)> = Faults::NAMES.iter().map(|(f, n)| (f.bits(), *n)).collect();
    let mut told = names(&|v| v.health.bits(), &health);
    told.extend(names(&|v| v.faults.bits(), &faults));
    let soon: Vec<&str> =
        verdicts.iter().map(|v| if v.unflagged == 0 { "that" } else { "next" }).collect();
    let share = |x: f64| if x == 0.0 { "0".to_owned() } else { format!("{x:.0e}") };
    let _ = writeln!(
        row,
        "| {} | {} | {} | {} | {} | {} |",
        fault.name,
        told.join(", "),
        soon.join(", "),
        share(most(|v| v.unflagged_off)),
        share(most(|v| v.off)),
        verdicts.iter().map(|v| v.recovery).max().unwrap_or(0),
    );
    row
}

/// Writes the table into the page, or demands that it stands there.
pub fn hold(table: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/faults.md");
    let page = std::fs::read_to_string(&path).expect("the page");
    let head = "|---|---|---|---|---|---|\n";
    let (before, rest) = page.split_once(head).expect("a table");
    let end = rest.find("\n\n").map_or(rest.len(), |n| n + 1);
    let (old, after) = rest.split_at(end);
    if std::env::var_os("QUIETGAP_REWRITE").is_some() {
        std::fs::write(&path, format!("{before}{head}{table}{after}")).expect("written");
    } else {
        assert_eq!(old, table, "docs/faults.md: rewrite, if that is meant");
    }
}
