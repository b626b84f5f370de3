//! What `fringes` found, as text, JSON and a page.

use super::Found;
use crate::page::figure::{Curve, Figure, Scale};
use crate::page::report::{BLUE, GREEN, figure, page};
use maud::html;
use quietgap_sim::instrument::AXES;
use quietgap_sim::interferometer::noise::{predicted, total};
use quietgap_sim::interferometer::readings::{FAULTS, Seen};
use quietgap_sim::interferometer::track::Track;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Frequency that the predicted noise is told at.
const TOLD_HZ: f64 = 1.0;

impl Found {
    /// Whether no reading but those that settle has a fault.
    pub(super) fn is_sound(&self) -> bool {
        FAULTS.iter().zip(self.faults).all(|((_, name), n)| *name == "settling" || n == 0)
    }

    fn fringe_m(&self) -> f64 {
        self.geometry.metres_per_radian * std::f64::consts::TAU
    }

    /// Fastest motion that can be followed, m/s.
    fn fastest_m_per_s(&self) -> f64 {
        self.fringe_m() * self.file.limits.step_turns * self.file.rate_hz
    }

    pub(super) fn text(&self) -> String {
        let mut text = format!(
            "{} readings of {} frames in {:.2} s; a fringe is {:.4} nm, index of the path {:.9}\n",
            self.rows,
            self.frames,
            self.wall_s,
            self.fringe_m() * 1e9,
            self.geometry.index
        );
        for ((beam, track), seen) in self.file.beams.iter().zip(&self.tracks).zip(&self.seen) {
            let _ = writeln!(text, "beam {}: {}", beam.name, self.beam_text(track, seen));
        }
        let at = predicted(&self.file, self.geometry.metres_per_radian, TOLD_HZ);
        let parts: Vec<String> =
            at.iter().map(|c| format!("{} {:.2e}", c.name, c.density)).collect();
        let _ = writeln!(
            text,
            "noise of a beam at {TOLD_HZ} Hz, predicted: {:.2e} m/rtHz ({})",
            total(&at),
            parts.join(", ")
        );
        let faults: Vec<String> = FAULTS
            .iter()
            .zip(self.faults)
            .filter(|(_, n)| *n > 0)
            .map(|((_, name), n)| format!("{name} {n}"))
            .collect();
        let faults = if faults.is_empty() { "none".to_owned() } else { faults.join(", ") };
        let _ = writeln!(text, "faults: {faults}");
        text
    }

    /// Density of a beam's displacement, white up to half the frames' rate, that moves points as far along the
    /// ellipse as they are off it.
    fn scatter_density(&self, scatter: f64, contrast: f64) -> f64 {
        let rad = scatter / contrast;
        rad * self.geometry.metres_per_radian * (2.0 / self.file.rate_hz).sqrt()
    }

    fn beam_text(&self, track: &Track, seen: &Seen) -> String {
        let nm = self.geometry.metres_per_radian * 1e9;
        let (first, last) = (track.knots[0], track.knots[track.knots.len() - 1]);
        let [p, q, v, r, a] = first.ellipse.numbers();
        let mut text = format!(
            "offsets {p:.5} and {q:.5}, contrast {v:.4}, ratio {r:.5}, {:.3} deg off a quarter turn; taken as a circle \
             it would be {:.3} nm off, {:.1} pm and {:.1} pm are left at one and two periods a fringe; balance {:.4} and \
             {:.4}",
            a.to_degrees(),
            first.ellipse.uncorrected_error() * nm,
            seen.periodic_rad[0] * nm * 1e3,
            seen.periodic_rad[1] * nm * 1e3,
            first.balance[0],
            first.balance[1],
        );
        match seen.intensity {
            Some(slope) => {
                let _ = write!(text, ", intensity rejected by {:.0} dB", rejection_db(slope));
            }
            None => text += ", light too steady to tell how intensity is rejected",
        }
        if let Some((uncertainty, scatter)) = track.told {
            let _ = write!(
                text,
                "; {} fits, offset known to {:.1e}, points scatter by {scatter:.1e}, as {:.2e} m/rtHz would",
                track.knots.len(),
                uncertainty[0],
                self.scatter_density(scatter, v)
            );
        }
        if track.knots.len() > 1 {
            let moved = (0..5).map(|k| last.ellipse.numbers()[k] - first.ellipse.numbers()[k]);
            let most = moved.fold(0.0, |m: f64, x| m.max(x.abs()));
            let _ = write!(text, "; the ellipse moved by {most:.1e}");
        }
        let _ = write!(
            text,
            "; fastest step {:.3} of a turn ({:.2e} m/s, followed to {:.2e}), contrast {:.2} to {:.2} of the ellipse's",
            seen.step_turns,
            seen.step_turns * self.fringe_m() * self.file.rate_hz,
            self.fastest_m_per_s(),
            seen.least,
            seen.largest
        );
        text
    }

    pub(super) fn json(&self, sensor: &str) -> Value {
        let nm = self.geometry.metres_per_radian;
        let beams: Vec<Value> = self
            .file
            .beams
            .iter()
            .zip(&self.tracks)
            .zip(&self.seen)
            .map(|((beam, track), seen)| {
                let knots: Vec<Value> = track
                    .knots
                    .iter()
                    .map(|knot| {
                        let [p, q, v, r, a] = knot.ellipse.numbers();
                        json!({
                            "t_s": knot.frame / self.file.rate_hz, "offset_x": p, "offset_y": q, "contrast": v,
                            "ratio": r, "quadrature_error_rad": a, "balance": knot.balance,
                        })
                    })
                    .collect();
                json!({
                    "name": beam.name, "ellipses": knots,
                    "uncertainty": track.told.map(|t| t.0), "scatter": track.told.map(|t| t.1),
                    "scatter_m_per_rthz": track.told.map(|t| self.scatter_density(t.1, track.knots[0].ellipse.contrast)),
                    "uncorrected_m": track.knots[0].ellipse.uncorrected_error() * nm,
                    "periodic_m": seen.periodic_rad.map(|x| x * nm),
                    "intensity_rejection_db": seen.intensity.map(rejection_db),
                    "fastest_step_turns": seen.step_turns, "least_contrast": seen.least,
                    "largest_contrast": seen.largest,
                })
            })
            .collect();
        let noise = predicted(&self.file, self.geometry.metres_per_radian, TOLD_HZ);
        let contributors: Vec<Value> = noise
            .iter()
            .map(|c| json!({ "name": c.name, "density_m_per_rthz": c.density }))
            .collect();
        let health: serde_json::Map<String, Value> = FAULTS
            .iter()
            .zip(self.faults)
            .map(|((_, name), n)| ((*name).to_owned(), n.into()))
            .collect();
        json!({
            "schema": 1, "command": "fringes", "sensor": sensor, "rows": self.rows, "frames": self.frames,
            "fringe_m": self.fringe_m(), "refractive_index": self.geometry.index,
            "fastest_m_per_s": self.fastest_m_per_s(), "beams": beams, "health": health,
            "noise": {
                "frequency_hz": TOLD_HZ, "density_m_per_rthz": total(&noise), "contributors": contributors,
            },
            "wall_s": self.wall_s,
            "msamples_per_s": self.frames as f64 * 4.0 * self.file.beams.len() as f64 / self.wall_s.max(1e-9) / 1e6,
            "pass": self.is_sound(),
        })
    }

    pub(super) fn html(&self, sensor: &str, points: &[(f64, Vec<f64>)]) -> String {
        let motion = |n: usize, axis: usize| Figure {
            title: format!("{} by the interferometer", AXES[axis].0),
            x: "time / s".to_owned(),
            y: format!("{} / {}", AXES[axis].0, AXES[axis].2),
            scale: Scale::Linear,
            curves: vec![Curve {
                label: AXES[axis].0.to_owned(),
                colour: if axis < 3 { BLUE } else { GREEN },
                points: points.iter().map(|(t, axes)| (*t, axes[n])).collect(),
            }],
            ..Figure::default()
        };
        let body = html! {
            h1 { (sensor) ": interferometer" }
            @for line in self.text().lines() { p { (line) } }
            @for (n, axis) in self.geometry.axes.iter().enumerate() {
                (figure(&motion(n, *axis), "From where the mass was in the first frame."))
            }
        };
        page(&format!("quietgap: {sensor}, interferometer"), &body)
    }
}

fn rejection_db(slope: f64) -> f64 {
    -20.0 * slope.abs().max(1e-12).log10()
}
