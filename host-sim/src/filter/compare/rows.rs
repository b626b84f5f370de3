//! **Rows**: quantities of both plans, how they changed and whether that is within the tolerance.

use super::run::Difference;
use super::tolerance::{Structure, Tolerance};
use crate::filter::check::Check;
use crate::filter::check::bands::furthest;
use crate::filter::check::noise::total_over_converter;
use crate::filter::check::settling::LEVELS;
use crate::instrument::design::fir_gain;

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A number.
    Number(f64),
}

/// One line of the verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Stage.
    pub stage: String,
    /// Quantity: a key of the tolerance, or of a plan.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// Of the plan in use.
    pub old: Cell,
    /// Of the new one.
    pub new: Cell,
    /// New less old.
    pub change: Option<f64>,
    /// What of it counts: for the worse, or either way.
    pub worse: Option<f64>,
    /// How much of it is allowed.
    pub allowed: Option<f64>,
    /// Whether it passes.
    pub pass: bool,
}

impl Row {
    /// A row of words.
    #[must_use]
    pub fn text(stage: &str, name: &str, old: String, new: String, pass: bool) -> Self {
        Self {
            stage: stage.to_owned(),
            name: name.to_owned(),
            unit: "",
            old: Cell::Text(old),
            new: Cell::Text(new),
            change: None,
            worse: None,
            allowed: None,
            pass,
        }
    }
}

/// Which changes count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Worse {
    /// More is worse.
    More,
    /// Less is worse.
    Less,
    /// Any change.
    Either,
}

/// Smallest change of a worst gain that counts, decibels: it is searched for, and found to some 1e-9.
const RESOLUTION_DB: f64 = 1e-6;

/// The same of what is worked out in floating point; integers, and what is read from them, count to the
/// last bit.
fn resolution(name: &str) -> f64 {
    match name {
        "overshoot" | "noise_ratio" | "rounding" | "headroom_bits" => 1e-9,
        _ => 0.0,
    }
}

/// Rows of all numbers.
#[must_use]
pub fn numbers(
    old: &Check,
    new: &Check,
    difference: Option<&Difference>,
    tolerance: &Tolerance,
) -> Vec<Row> {
    let mut out = Vec::new();
    let mut add = |name: &str, stage: &str, unit, values: [f64; 2], worse, allowed: f64| {
        let apart = values[1] - values[0];
        let counts = match worse {
            Worse::More => apart.max(0.0),
            Worse::Less => (-apart).max(0.0),
            Worse::Either => apart.abs(),
        };
        // Two infinities of one sign, a tone on a zero of both, are no change; nor is what two
        // evaluations of one quantity may differ by.
        let resolution = if unit == "dB" { RESOLUTION_DB } else { resolution(name) };
        let same = values[0] == values[1] || apart.abs() < resolution;
        let (apart, counts) = if same { (0.0, 0.0) } else { (apart, counts) };
        out.push(Row {
            stage: stage.to_owned(),
            name: name.to_owned(),
            unit,
            old: Cell::Number(values[0]),
            new: Cell::Number(values[1]),
            change: Some(apart),
            worse: Some(counts),
            allowed: Some(allowed),
            pass: counts <= allowed,
        });
    };
    let both = |value: &dyn Fn(&Check) -> f64| [value(old), value(new)];
    let t = tolerance;
    let rate = both(&|c| c.subject.output_rate_hz());
    add("output_rate_hz", "all", "Hz", rate, Worse::Either, t.output_rate_hz);
    let gain = both(&|c| c.subject.plan.firs.iter().map(fir_gain).product());
    add("gain", "all", "", gain, Worse::Either, t.gain);
    if old.pass_band.is_some() && new.pass_band.is_some() {
        let deviation = |c: &Check| c.pass_band.map_or(0.0, |b| furthest(b).db().abs());
        add("pass_band_db", "all", "dB", both(&deviation), Worse::More, t.pass_band_db);
        let rejection = |c: &Check| c.worst_alias().map_or(0.0, |a| -a.worst.db());
        let stage = new.limits.iter().find(|l| l.name == "alias rejection");
        let stage = stage.map_or("all", |l| l.stage.as_str());
        add("alias_db", stage, "dB", both(&rejection), Worse::Less, t.alias_db);
    }
    for (a, b) in old.tones.iter().zip(&new.tones).filter(|(a, _)| a.reject_db.is_some()) {
        let name = format!("tone_db {}", a.name);
        add(&name, "all", "dB", [a.rejection_db, b.rejection_db], Worse::Less, t.tone_db);
    }
    add("delay_s", "all", "s", both(&|c| c.subject.delay_s()), Worse::Either, t.delay_s);
    for (n, level) in LEVELS.iter().enumerate() {
        let name = format!("settled_s to {level:e}");
        add(&name, "all", "s", both(&|c| c.settling.settled_s[n]), Worse::More, t.settled_s);
    }
    add("overshoot", "all", "", both(&|c| c.settling.overshoot), Worse::More, t.overshoot);
    let least = |c: &Check| c.words.iter().map(|w| w.headroom_bits).fold(f64::INFINITY, f64::min);
    let tight = new.words.iter().min_by(|a, b| a.headroom_bits.total_cmp(&b.headroom_bits));
    let stage = tight.map_or("all", |w| w.stage.as_str());
    add("headroom_bits", stage, "bits", both(&least), Worse::Less, t.headroom_bits);
    let rounding = both(&|c| total_over_converter(&c.roundings));
    add("rounding", "all", "", rounding, Worse::More, t.rounding);
    let cost = both(&|c| c.cost.instructions_per_sample);
    add("instructions_per_sample", "all", "", cost, Worse::More, t.instructions_per_sample);
    let bytes = both(&|c| c.cost.bytes.iter().sum::<usize>() as f64);
    add("memory_bytes", "all", "B", bytes, Worse::More, t.memory_bytes);
    if let Some(d) = difference {
        add("readings_rms", "all", "", [0.0, d.rms], Worse::More, t.readings_rms);
        add("readings_max", "all", "", [0.0, d.max], Worse::More, t.readings_max);
        if let Some([a, b]) = d.density {
            add("noise_ratio", "all", "", [1.0, b / a], Worse::Either, t.noise_ratio);
        }
    }
    for (which, check) in [("old", old), ("new", new)] {
        for limit in check.limits.iter().filter(|l| !l.pass) {
            let name = match limit.name.as_str() {
                "the core takes it" => format!("the core takes the {which} plan"),
                "taps and their mirror" => format!("taps of the {which} plan and their mirror"),
                _ => continue,
            };
            let free = t.structure == Structure::Free && which == "old";
            let [taken, refused] = ["yes".to_owned(), limit.why.clone()];
            out.push(Row::text(&limit.stage, &name, taken, refused, free));
        }
    }
    out
}
