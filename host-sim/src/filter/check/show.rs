//! **Show**: findings as text and as JSON.

use super::Check;
use super::noise::total_over_converter;
use super::settling::LEVELS;
use crate::filter::subject::stage_name;
use serde_json::{Value, json};
use std::fmt::Write;

/// Alias bands told one by one.
const BANDS: usize = 8;

impl Check {
    /// One JSON object.
    #[must_use]
    pub fn json(&self) -> Value {
        let subject = &self.subject;
        let delays = subject.delays();
        json!({
            "schema": 1, "command": "filter check", "plan": subject.name,
            "rate_hz": subject.rate_hz, "carrier_hz": subject.carrier_hz,
            "output_rate_hz": subject.output_rate_hz(), "code_bits": subject.code_bits,
            "channels": subject.channels, "samples_per_output": subject.interval(),
            "span_samples": subject.span(), "delay_samples": subject.delay_samples(),
            "delay_s": subject.delay_s(), "delay_varies": subject.delay_varies(),
            "stages": self.stages().iter().enumerate().map(|(n, s)| json!({
                "name": s.name, "ratio": s.ratio, "taps": s.taps, "scale_bits": s.scale_bits,
                "rate_in_hz": s.rate_in_hz, "rate_out_hz": s.rate_out_hz,
                "delay_s": delays[n] as f64 / 2.0 / subject.rate_hz,
            })).collect::<Vec<_>>(),
            "pass_band": self.pass_band.map(|band| json!({
                "max_db": band[0].db(), "max_at_hz": band[0].offset_hz,
                "min_db": band[1].db(), "min_at_hz": band[1].offset_hz,
            })),
            "pass_band_delay_s": self.delays_s.map(|[least, most]| json!({"min": least, "max": most})),
            "aliases": self.worst_bands().iter().map(|a| json!({
                "offset_hz": a.offset_hz, "converter_hz": self.at_converter_hz(a.offset_hz),
                "lands_hz": a.worst.offset_hz.abs(), "rejection_db": -a.worst.db(),
                "stage": stage_name(a.stage),
            })).collect::<Vec<_>>(),
            "tones": self.tones.iter().map(|t| json!({
                "name": t.name, "frequency_hz": t.frequency_hz, "rejection_db": t.rejection_db,
                "lands_hz": t.lands_hz, "reject_db": t.reject_db,
            })).collect::<Vec<_>>(),
            "step": {
                "overshoot": self.settling.overshoot,
                "settled_s": LEVELS.iter().zip(self.settling.settled_s)
                    .map(|(level, s)| json!({"within": level, "s": s})).collect::<Vec<_>>(),
            },
            "words": self.words.iter().map(|w| json!({
                "stage": w.stage, "word": w.word, "bits": w.bits, "worst": w.worst,
                "headroom_bits": w.headroom_bits,
            })).collect::<Vec<_>>(),
            "rounding": {
                "stages": self.roundings.iter().map(|r| json!({
                    "stage": r.stage, "what": r.what,
                    "density_code_per_rthz": r.density_code_per_rthz,
                    "over_converter": r.over_converter,
                })).collect::<Vec<_>>(),
                "over_converter": total_over_converter(&self.roundings),
            },
            "rest": self.rest.as_ref().map(|r| json!({
                "left_steps": r.left_steps, "one_code_steps": r.one_code_steps,
            })),
            "cost": {
                "cpu": self.cost.cpu.name, "fitted": self.cost.fitted,
                "instructions_per_sample": self.cost.instructions_per_sample,
                "front_end": self.cost.parts[0], "firs": self.cost.parts[1],
                "worst_over_mean": self.cost.worst_over_mean,
                "busiest_over_mean": self.cost.busiest_over_mean,
                "front_end_bytes": self.cost.bytes[0], "fir_sum_bytes": self.cost.bytes[1],
                "tap_bytes": self.cost.bytes[2],
            },
            "limits": self.limits.iter().map(|l| json!({
                "name": l.name, "stage": l.stage, "value": l.value, "limit": l.limit,
                "at_least": l.at_least,
                "unit": l.unit, "pass": l.pass, "why": l.why,
            })).collect::<Vec<_>>(),
            "pass": self.pass(),
        })
    }

    /// The findings for people.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        self.write(&mut text).expect("a string takes all");
        text
    }

    fn write(&self, text: &mut String) -> std::fmt::Result {
        let subject = &self.subject;
        writeln!(
            text,
            "{}: {} S/s, carrier {} Hz, to {} S/s; {}-bit codes, {} channels",
            subject.name,
            subject.rate_hz,
            subject.carrier_hz,
            subject.output_rate_hz(),
            subject.code_bits,
            subject.channels
        )?;
        writeln!(
            text,
            "\n{:<8} {:>6} {:>6} {:>11} {:>14} {:>14}",
            "stage", "ratio", "taps", "scale bits", "in S/s", "out S/s"
        )?;
        for s in self.stages() {
            let scale = s.scale_bits.map_or(String::new(), |b| b.to_string());
            writeln!(
                text,
                "{:<8} {:>6} {:>6} {scale:>11} {:>14} {:>14}",
                s.name,
                s.ratio,
                s.taps,
                short(s.rate_in_hz),
                short(s.rate_out_hz)
            )?;
        }
        let samples = subject.delay_samples();
        writeln!(
            text,
            "\ndelay {} s ({samples} samples), response {} samples",
            subject.delay_s(),
            subject.span()
        )?;
        if let Some([least, most]) = self.delays_s {
            writeln!(text, "in the pass band the delay varies: {least:.4e} to {most:.4e} s")?;
        }
        let settled = LEVELS.iter().zip(self.settling.settled_s);
        let settled: Vec<String> =
            settled.map(|(level, s)| format!("{s:.6} s to {level:e}")).collect();
        writeln!(
            text,
            "step settles in {}; overshoot {:.3} %",
            settled.join(", "),
            100.0 * self.settling.overshoot
        )?;
        if let Some([above, below]) = self.pass_band {
            writeln!(
                text,
                "pass band {:+.6} dB at {:.6} Hz, {:+.6} dB at {:.6} Hz",
                above.db(),
                above.offset_hz,
                below.db(),
                below.offset_hz
            )?;
        }
        self.write_tables(text)?;
        writeln!(
            text,
            "\n{:<26} {:<10} {:>12} {:>12} {:<5} result",
            "limit", "stage", "value", "allowed", "unit"
        )?;
        for l in &self.limits {
            let result = if l.pass { "pass" } else { "MISSED" };
            let (value, limit) = (short(l.value), l.allowed());
            writeln!(
                text,
                "{:<26} {:<10} {value:>12} {limit:>12} {:<5} {result}",
                l.name, l.stage, l.unit
            )?;
            if !l.pass {
                writeln!(text, "    {}", l.why)?;
            }
        }
        Ok(())
    }

    fn write_tables(&self, text: &mut String) -> std::fmt::Result {
        if !self.aliases.is_empty() {
            writeln!(
                text,
                "\n{:>16} {:>16} {:>12} {:>14}  stage",
                "off carrier/Hz", "converter/Hz", "lands/Hz", "rejection/dB"
            )?;
        }
        for a in self.worst_bands() {
            writeln!(
                text,
                "{:>16.4} {:>16.4} {:>12.4} {:>14.3}  {}",
                a.offset_hz,
                self.at_converter_hz(a.offset_hz),
                a.worst.offset_hz.abs(),
                -a.worst.db(),
                stage_name(a.stage)
            )?;
        }
        for t in &self.tones {
            writeln!(
                text,
                "{}: {} Hz, rejected by {:.2} dB, comes out at {:.4} Hz",
                t.name, t.frequency_hz, t.rejection_db, t.lands_hz
            )?;
        }
        writeln!(text, "\n{:<10} {:<20} {:>5} {:>14}", "stage", "word", "bits", "headroom/bits")?;
        for w in &self.words {
            writeln!(
                text,
                "{:<10} {:<20} {:>5} {:>14.2}",
                w.stage, w.word, w.bits, w.headroom_bits
            )?;
        }
        writeln!(
            text,
            "\n{:<10} {:<26} {:>14} {:>16}",
            "stage", "rounded", "codes/rtHz", "over converter"
        )?;
        for r in &self.roundings {
            writeln!(
                text,
                "{:<10} {:<26} {:>14.3e} {:>16.3e}",
                r.stage, r.what, r.density_code_per_rthz, r.over_converter
            )?;
        }
        let cost = &self.cost;
        writeln!(
            text,
            "\n{:.2} instructions per sample and channel on a {}{} (front end {:.2}, FIR stages {:.2}); an interval \
             of at most {:.2} of the mean, with an output {:.2}; {} bytes of sums and taps",
            cost.instructions_per_sample,
            cost.cpu.name,
            if cost.fitted { "" } else { ", at least" },
            cost.parts[0],
            cost.parts[1],
            cost.busiest_over_mean,
            cost.worst_over_mean,
            cost.bytes.iter().sum::<usize>()
        )
    }

    /// The alias bands with the least rejection, worst first.
    #[must_use]
    pub fn worst_bands(&self) -> Vec<&super::Alias> {
        let mut bands: Vec<_> = self.aliases.iter().collect();
        bands.sort_by(|a, b| b.worst.gain.total_cmp(&a.worst.gain));
        bands.truncate(BANDS);
        bands
    }

    /// Stages in the order of the signal.
    #[must_use]
    pub fn stages(&self) -> Vec<StageRow> {
        let plan = &self.subject.plan;
        let mut rate = self.subject.rate_hz;
        let cic = (u64::from(plan.ratio), u64::from(plan.order), None);
        let firs =
            plan.firs.iter().map(|f| (u64::from(f.ratio), f.taps.len() as u64, Some(f.scale_bits)));
        std::iter::once(cic)
            .chain(firs)
            .enumerate()
            .map(|(n, (ratio, taps, scale_bits))| {
                let rate_in_hz = rate;
                rate /= ratio as f64;
                let name = if n == 0 { format!("CIC^{taps}") } else { stage_name(n) };
                let taps = if n == 0 {
                    taps * (ratio * u64::from(plan.differential_delay) - 1) + 1
                } else {
                    taps
                };
                StageRow { name, ratio, taps, scale_bits, rate_in_hz, rate_out_hz: rate }
            })
            .collect()
    }
}

/// One stage of a plan, for tables.
#[derive(Debug, Clone, PartialEq)]
pub struct StageRow {
    /// Name, with the CIC's order.
    pub name: String,
    /// Ratio.
    pub ratio: u64,
    /// Length of the impulse response in inputs.
    pub taps: u64,
    /// Fraction bits of the taps.
    pub scale_bits: Option<u8>,
    /// Input rate.
    pub rate_in_hz: f64,
    /// Output rate.
    pub rate_out_hz: f64,
}

/// A number in a narrow column.
#[must_use]
pub fn short(x: f64) -> String {
    let size = x.abs();
    if x == x.round() && size < 1e7 {
        format!("{x}")
    } else if (1e-3..1e7).contains(&size) {
        format!("{x:.6}")
    } else {
        format!("{x:.3e}")
    }
}
