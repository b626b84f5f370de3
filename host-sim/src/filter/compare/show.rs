//! **Show**: a comparison as text, JSON and Markdown.

use super::Comparison;
use super::rows::{Cell, Row};
use crate::filter::check::show::short;
use serde_json::{Value, json};
use std::fmt::Write;

fn cell(cell: &Cell) -> String {
    match cell {
        Cell::Text(text) => text.clone(),
        Cell::Number(x) => short(*x),
    }
}

fn value(cell: &Cell) -> Value {
    match cell {
        Cell::Text(text) => json!(text),
        Cell::Number(x) => json!(x),
    }
}

fn optional(x: Option<f64>) -> String {
    x.map_or(String::new(), short)
}

fn verdict(row: &Row) -> &'static str {
    if row.pass { "pass" } else { "MISSED" }
}

impl Comparison {
    /// One JSON object.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({
            "schema": 1, "command": "filter compare",
            "old": self.old.subject.name, "new": self.new.subject.name,
            "rows": self.rows.iter().map(|r| json!({
                "name": r.name, "stage": r.stage, "unit": r.unit, "old": value(&r.old),
                "new": value(&r.new), "change": r.change, "worse_by": r.worse, "allowed": r.allowed,
                "pass": r.pass,
            })).collect::<Vec<_>>(),
            "readings": self.difference.as_ref().map(|d| json!({
                "compared": d.readings, "rms_of_full_scale": d.rms, "max_of_full_scale": d.max,
                "density_code_per_rthz": d.density, "interpolated": d.interpolated,
            })),
            "pass": self.pass(),
        })
    }

    /// Cells of all rows, each with whether it is a number, and the verdict.
    #[must_use]
    pub fn cells(&self) -> Vec<([(String, bool); 5], bool)> {
        let number = |c: &Cell| (cell(c), matches!(c, Cell::Number(_)));
        let row = |r: &Row| {
            let name = (format!("{} {}", r.name, r.unit), false);
            let allowed = (optional(r.allowed), true);
            ([name, (r.stage.clone(), false), number(&r.old), number(&r.new), allowed], r.pass)
        };
        self.rows.iter().map(row).collect()
    }

    /// For people.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("{} -> {}\n\n", self.old.subject.name, self.new.subject.name);
        let _ = writeln!(
            text,
            "{:<26} {:<10} {:>16} {:>16} {:>11} {:>11} {:<5} result",
            "quantity", "stage", "old", "new", "worse by", "allowed", "unit"
        );
        for r in &self.rows {
            let [old, new] = [&r.old, &r.new].map(cell);
            let [worse, allowed] = [r.worse, r.allowed].map(optional);
            // Long words would push the columns apart.
            let long = old.len() > 15 || new.len() > 15;
            let [short_old, short_new] = if long { ["", ""] } else { [old.as_str(), new.as_str()] };
            let _ = writeln!(
                text,
                "{:<26} {:<10} {short_old:>16} {short_new:>16} {worse:>11} {allowed:>11} {:<5} {}",
                r.name,
                r.stage,
                r.unit,
                verdict(r)
            );
            if long {
                let _ = writeln!(text, "    old: {old}\n    new: {new}");
            }
        }
        text += &self.note();
        text
    }

    /// A short table for a review: what changed, and the verdict.
    #[must_use]
    pub fn markdown(&self) -> String {
        let verdict_all = if self.pass() { "within tolerance" } else { "**outside tolerance**" };
        let escape = |s: String| s.replace('|', "\\|");
        let mut text = format!(
            "### Filter plan: {verdict_all}\n\n`{}` to `{}`\n\n| quantity | stage | old | new | allowed change | \
             result |\n|---|---|---:|---:|---:|---|\n",
            self.old.subject.name, self.new.subject.name
        );
        for r in self.rows.iter().filter(|r| !r.pass || r.old != r.new || r.name == "integers") {
            let result = if r.pass { "pass" } else { "**MISSED**" };
            let with_unit = |c: &Cell| match c {
                Cell::Number(_) if !r.unit.is_empty() => format!("{} {}", cell(c), r.unit),
                _ => cell(c),
            };
            let _ = writeln!(
                text,
                "| {} | {} | {} | {} | {} | {result} |",
                r.name,
                r.stage,
                escape(with_unit(&r.old)),
                escape(with_unit(&r.new)),
                optional(r.allowed)
            );
        }
        text + "\n" + &self.note()
    }

    fn note(&self) -> String {
        match &self.difference {
            Some(d) if d.interpolated => format!(
                "\n{} readings compared on the same codes, the new ones interpolated (splines): they stand \
                 for other instants.\n",
                d.readings
            ),
            Some(d) => format!("\n{} readings compared on the same codes.\n", d.readings),
            None => {
                "\nNo readings compared: the plans do not take the same codes, or the core refuses \
                     one.\n"
                    .to_owned()
            }
        }
    }
}
