//! What `budget` found, as text, JSON, a record and a page.

use super::recorded::Recorded;
use super::{Found, page};
use crate::commands::spectrum::against::Against;
use quietgap_sim::budget::measure::Trial;
use quietgap_sim::budget::{Budget, Enters, gain_of_halving};
use quietgap_sim::error::Result;
use quietgap_sim::instrument::AXES;
use quietgap_sim::readout::readings;
use quietgap_sim::records::write::{Cell, Kind, Writer};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;

impl Found {
    /// What the demo says of it: an axis, a frequency, recorded and predicted densities there.
    pub(in crate::commands) fn figures(&self, frequency_hz: f64) -> Vec<(String, f64, f64)> {
        let at = |r: &Recorded| {
            // The mean power of a third of a decade around.
            let near = |f: &f64| (f / frequency_hz).ln().abs() < 0.38;
            let picked =
                || r.frequency_hz.iter().enumerate().filter(|(_, f)| near(f)).map(|(k, _)| k);
            let mean = |values: &[f64]| {
                let sum: f64 = picked().map(|k| values[k] * values[k]).sum();
                (sum / picked().count().max(1) as f64).sqrt()
            };
            (mean(&r.measured), mean(&r.predicted))
        };
        let mut out: Vec<(String, f64, f64)> = Vec::new();
        for r in &self.recorded {
            let (measured, predicted) = at(r);
            out.push((Budget::axis(&self.sensor, r.axis).0.to_owned(), measured, predicted));
        }
        if let (Some(r), Some(p)) = (&self.torque, &self.budget.pendulum) {
            let (measured, predicted) = at(r);
            out.push((
                "acceleration_m_per_s2".to_owned(),
                p.acceleration(measured),
                p.acceleration(predicted),
            ));
        }
        out
    }

    pub(in crate::commands) fn text(&self) -> String {
        let at: Vec<String> = self
            .sensor
            .axes()
            .iter()
            .map(|a| format!("{} = {:e}", AXES[*a].1, self.place[*a]))
            .collect();
        let mut text =
            format!("{}: predicted noise, the mass at {}\n", self.sensor.file.name, at.join(", "));
        let [from, to] = self.band;
        for n in 0..self.sensor.axes().len() {
            let (column, unit) = Budget::axis(&self.sensor, n);
            let total = self.budget.total(n);
            let _ = writeln!(text, "{column}: total and largest contributor");
            let mut next = 0.0;
            for (k, f) in self.budget.frequency_hz.iter().enumerate() {
                if *f < next {
                    continue;
                }
                next = f * 9.999;
                let _ = write!(text, "  {f:>9.2e} Hz  {:.3e} {unit}/rtHz", total[k]);
                if self.budget.swings == Some(n) {
                    let torque = self.budget.torque(&total).expect("it swings")[k];
                    let p = self.budget.pendulum.as_ref().expect("it swings");
                    let _ = write!(
                        text,
                        "  {torque:.3e} N m/rtHz  {:.3e} m/s^2/rtHz",
                        p.acceleration(torque)
                    );
                }
                text.push('\n');
            }
            let _ = writeln!(
                text,
                "  of the power from {from} to {to} Hz (gain in the total if one is halved):"
            );
            for (which, share) in
                self.budget.ranked(n, from, to).iter().take(5).filter(|(_, s)| *s > 1e-4)
            {
                let _ = writeln!(
                    text,
                    "    {:>5.1} %  {} ({:.1} %)",
                    share * 100.0,
                    self.budget.contributors[*which].name,
                    gain_of_halving(*share) * 100.0
                );
            }
        }
        if !self.trials.is_empty() {
            text += "simulated beside predicted:\n";
        }
        for t in &self.trials {
            let [low, high] = t.allowed;
            let _ = writeln!(
                text,
                "  {:<26} {:<12} {:.3e} / {:.3e} = {:.3} (by chance {low:.3} to {high:.3}){}",
                t.name,
                t.quantity,
                t.measured,
                t.predicted,
                t.ratio(),
                if t.holds() { "" } else { "  UNEXPLAINED" }
            );
        }
        for r in &self.recorded {
            let (column, unit) = Budget::axis(&self.sensor, r.axis);
            let unexplained = r.unexplained();
            let count = unexplained.iter().flatten().count();
            let _ = writeln!(
                text,
                "{column}: recorded noise is above the prediction at {count} of {} frequencies",
                r.frequency_hz.len()
            );
            let mut next = 0.0;
            for (k, f) in r.frequency_hz.iter().enumerate() {
                if *f < next {
                    continue;
                }
                next = f * 10f64.sqrt();
                let rest = unexplained[k]
                    .map_or("explained".to_owned(), |x| format!("{x:.3e} unexplained"));
                let _ = writeln!(
                    text,
                    "  {f:>9.2e} Hz  {:.3e} {unit}/rtHz recorded, {:.3e} predicted: {rest}",
                    r.measured[k], r.predicted[k]
                );
            }
        }
        text
    }

    pub(in crate::commands) fn json(&self) -> Value {
        let [from, to] = self.band;
        let axes: Vec<Value> = (0..self.sensor.axes().len())
            .map(|n| {
                let (column, unit) = Budget::axis(&self.sensor, n);
                let total = self.budget.total(n);
                let name = |which: usize| self.budget.contributors[which].name;
                let swings = self.budget.swings == Some(n);
                let torque = swings.then(|| self.budget.torque(&total)).flatten();
                let p = self.budget.pendulum.as_ref();
                let acceleration: Option<Vec<f64>> = torque.as_ref().zip(p).map(|(torque, p)| {
                    torque.iter().map(|t| p.acceleration(*t)).collect()
                });
                let densities: serde_json::Map<String, Value> = self
                    .budget
                    .contributors
                    .iter()
                    .map(|c| (c.name.to_owned(), json!(c.density[n])))
                    .collect();
                let ranked: Vec<Value> = self
                    .budget
                    .ranked(n, from, to)
                    .iter()
                    .map(|(which, share)| json!({
                        "contributor": name(*which), "share": share, "gain_if_halved": gain_of_halving(*share),
                    }))
                    .collect();
                let dominated: Vec<Value> = self
                    .budget
                    .dominated(n)
                    .iter()
                    .map(|(from, to, which)| json!({ "from_hz": from, "to_hz": to, "contributor": name(*which) }))
                    .collect();
                json!({
                    "name": column, "unit": unit, "total_asd": total, "torque_asd": torque,
                    "acceleration_asd": acceleration, "contributors": densities, "ranked": ranked,
                    "dominated": dominated,
                })
            })
            .collect();
        let notes: serde_json::Map<String, Value> =
            self.budget.contributors.iter().map(|c| (c.name.to_owned(), json!(c.note))).collect();
        let forces: Vec<&str> = self
            .budget
            .contributors
            .iter()
            .filter(|c| c.enters == Enters::Force)
            .map(|c| c.name)
            .collect();
        let trials: Vec<Value> = self
            .trials
            .iter()
            .map(|t| json!({
                "name": t.name, "quantity": t.quantity, "from_hz": t.from_hz, "to_hz": t.to_hz,
                "measured": t.measured, "predicted": t.predicted, "ratio": t.ratio(), "allowed": t.allowed,
                "holds": t.holds(),
            }))
            .collect();
        let recorded: Vec<Value> = self
            .recorded
            .iter()
            .map(|r| json!({
                "name": Budget::axis(&self.sensor, r.axis).0, "frequency_hz": r.frequency_hz,
                "measured": r.measured, "predicted": r.predicted,
                "unexplained": r.unexplained().iter().map(|x| x.unwrap_or(0.0)).collect::<Vec<_>>(),
            }))
            .collect();
        json!({
            "schema": 1, "command": "budget", "sensor": self.sensor.file.name,
            "frequency_hz": self.budget.frequency_hz, "band_hz": self.band, "axes": axes, "notes": notes,
            "forces": forces, "trials": (!trials.is_empty()).then_some(trials),
            "recorded": (!recorded.is_empty()).then_some(recorded),
            "recorded_torque": self.torque.as_ref().map(|r| json!({
                "frequency_hz": r.frequency_hz, "measured": r.measured, "predicted": r.predicted,
            })),
            "pass": self.trials.iter().all(Trial::holds),
        })
    }

    pub(in crate::commands) fn write(&self, path: &Path) -> Result<()> {
        let mut meta = readings::meta(&self.sensor);
        meta.set("budget", "predicted one-sided amplitude densities");
        let mut columns = vec![("frequency_hz".to_owned(), Kind::Number)];
        let mut values: Vec<Vec<f64>> = Vec::new();
        for n in 0..self.sensor.axes().len() {
            let (column, _) = Budget::axis(&self.sensor, n);
            columns.push((format!("{column}_asd"), Kind::Number));
            values.push(self.budget.total(n));
            for c in &self.budget.contributors {
                let plain: String = c
                    .name
                    .chars()
                    .map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '_' })
                    .collect();
                columns.push((format!("{column}_{plain}"), Kind::Number));
                values.push(c.density[n].clone());
            }
        }
        let mut writer = Writer::create(path, &columns, &meta)?;
        for (k, f) in self.budget.frequency_hz.iter().enumerate() {
            let row: Vec<Cell> = std::iter::once(Cell::Number(*f))
                .chain(values.iter().map(|v| Cell::Number(v[k])))
                .collect();
            writer.push(&row)?;
        }
        writer.finish()
    }

    pub(in crate::commands) fn html(&self) -> String {
        let of = |column: &'static str, n: usize| -> Vec<page::Line> {
            let one = |a: &Against| {
                let name = a.path.file_name().map(|f| f.to_string_lossy().into_owned());
                Some((name.unwrap_or_default(), n, a.line_of(column)?))
            };
            self.against.iter().filter_map(one).collect()
        };
        let axes = 0..self.sensor.axes().len();
        let lines: Vec<page::Line> =
            axes.flat_map(|n| of(Budget::axis(&self.sensor, n).0, n)).collect();
        page::html(self, &lines, &of("acceleration_m_per_s2", 0))
    }
}
