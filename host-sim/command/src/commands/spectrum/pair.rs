//! What `spectrum` found of two columns, as text and JSON.

use super::Pair;
use quietgap_sim::analysis::density::{chi2_factors, coherence_threshold, unbiased_coherence};
use serde_json::{Value, json};
use std::fmt::Write;

impl Pair {
    pub(super) fn text(&self, confidence: f64) -> String {
        let [x, y] = &self.names;
        let mut text = format!(
            "{y} over {x} ({}/{}): coherence without its bias, gain, phase\n",
            self.units[1], self.units[0]
        );
        let coherence = self.cross.coherence();
        let rows = self.cross.x.bins.iter().zip(coherence).zip(self.cross.transfer());
        let mut next = 0.0;
        for ((bin, g), t) in rows {
            let f = bin.frequency_hz;
            if f <= 0.0 || f < next {
                continue;
            }
            next = f * 10f64.sqrt();
            let averages = bin.degrees / 2.0;
            let chance = if g < coherence_threshold(averages, confidence) {
                "  (may be chance)"
            } else {
                ""
            };
            let _ = writeln!(
                text,
                "  {f:>10.3e} Hz  {:.3}  {:.3e} ({:.1} %)  {:.3} rad{chance}",
                unbiased_coherence(g, averages),
                t.value.norm(),
                t.uncertainty * 100.0,
                t.value.arg()
            );
        }
        text
    }

    pub(super) fn json(&self, confidence: f64) -> Value {
        let averages: Vec<f64> = self.cross.averages().collect();
        let coherence = self.cross.coherence();
        let transfer = self.cross.transfer();
        let finite = |x: f64| x.is_finite().then_some(x);
        json!({
            "input": self.names[0], "output": self.names[1], "unit": format!("{}/{}", self.units[1], self.units[0]),
            "frequency_hz": self.cross.x.frequencies().collect::<Vec<_>>(),
            "coherence_unbiased": coherence.iter().zip(&averages).map(|(g, k)| unbiased_coherence(*g, *k)).collect::<Vec<_>>(),
            "coherence": coherence,
            "threshold": averages.iter().map(|k| coherence_threshold(*k, confidence)).collect::<Vec<_>>(),
            "gain": transfer.iter().map(|t| finite(t.value.norm())).collect::<Vec<_>>(),
            "phase_rad": transfer.iter().map(|t| t.value.arg()).collect::<Vec<_>>(),
            "relative_uncertainty": transfer.iter().map(|t| finite(t.uncertainty)).collect::<Vec<_>>(),
            "interval_factors": averages.iter().map(|k| chi2_factors(2.0 * k, confidence)).collect::<Vec<_>>(),
        })
    }
}
