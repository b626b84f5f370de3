//! **Limits**: the lines of a plan's mask, and what any plan has to keep. Each failure names the stage
//! and the number.

use super::Check;
use super::bands::furthest;
use super::noise::total_over_converter;
use crate::filter::subject::stage_name;
use crate::instrument::check_plan::slip;
use quietgap_core::Stage;

/// One line of the verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Name.
    pub name: String,
    /// Stage that decides it.
    pub stage: String,
    /// Value.
    pub value: f64,
    /// What it is held to.
    pub limit: f64,
    /// Whether that is the least allowed, not the most.
    pub at_least: bool,
    /// Unit of both.
    pub unit: &'static str,
    /// Whether it holds.
    pub pass: bool,
    /// Numbers behind it.
    pub why: String,
}

impl Limit {
    /// What is allowed, for tables.
    #[must_use]
    pub fn allowed(&self) -> String {
        format!("{} {}", if self.at_least { ">=" } else { "<=" }, super::show::short(self.limit))
    }
}

/// Rounding noise that any plan may add, over an ideal converter: a hundredth, so that even together
/// with all else of the chain it is out of sight.
const MOST_ROUNDING: f64 = 0.01;

/// Judges all lines.
#[must_use]
pub fn judge(check: &Check) -> Vec<Limit> {
    let mut out = vec![core(check)];
    out.extend(mirror(check));
    out.extend(gains(check));
    out.extend(headroom(check));
    out.extend(pass_band(check));
    out.extend(alias(check));
    out.extend(check.tones.iter().filter_map(|tone| {
        // A promise of no rejection only shows the tone. The converter's own are held to the mask where
        // they come out in its band.
        let limit = match tone.reject_db {
            Some(db) => (db > 0.0).then_some(db)?,
            None => {
                let mask = check.subject.plan.mask.as_ref()?;
                (tone.lands_hz <= mask.alias_into_hz).then_some(mask.alias_db)?
            }
        };
        Some(Limit {
            name: format!("rejection of {}", tone.name),
            stage: stage_name(check.subject.plan.firs.len()),
            value: tone.rejection_db,
            limit,
            at_least: true,
            unit: "dB",
            pass: tone.rejection_db >= limit,
            why: format!("{} Hz comes out at {:.4} Hz", tone.frequency_hz, tone.lands_hz),
        })
    }));
    out.extend(delay(check));
    out.extend(instructions(check));
    out.push(rounding(check));
    out.extend(rest(check));
    out
}

fn core(check: &Check) -> Limit {
    let stage = |e: &quietgap_core::ConfigError| match e.stage {
        Stage::Fir(n) => stage_name(n.into()),
        Stage::FrontEnd => stage_name(0),
        other => other.to_string(),
    };
    let refused = check.refused.as_ref();
    // Given, and the end of the allowed range next to it.
    let numbers = refused.map_or([0.0, 0.0], |e| {
        [e.given as f64, if e.given > e.max { e.max as f64 } else { e.min as f64 }]
    });
    Limit {
        name: "the core takes it".to_owned(),
        stage: refused.map_or("all".to_owned(), stage),
        value: numbers[0],
        limit: numbers[1],
        at_least: false,
        unit: "",
        pass: refused.is_none(),
        why: refused.map_or("built as the firmware builds it".to_owned(), ToString::to_string),
    }
}

/// The first tap that is unlike its mirror where all are to be like it.
fn mirror(check: &Check) -> Option<Limit> {
    check.subject.plan.firs.iter().enumerate().find_map(|(n, fir)| {
        let ([a, b], why) = slip(fir)?;
        Some(Limit {
            name: "taps and their mirror".to_owned(),
            stage: stage_name(n + 1),
            value: a.into(),
            limit: b.into(),
            at_least: false,
            unit: "",
            pass: false,
            why,
        })
    })
}

/// The first stage whose gain at zero frequency is not above zero.
fn gains(check: &Check) -> Option<Limit> {
    let sums = check.subject.plan.firs.iter().map(crate::instrument::design::fir_gain).enumerate();
    let (n, gain) = sums.into_iter().find(|(_, gain)| *gain <= 0.0)?;
    Some(Limit {
        name: "gain at zero frequency".to_owned(),
        stage: stage_name(n + 1),
        value: gain,
        limit: 0.0,
        at_least: true,
        unit: "",
        pass: false,
        why: format!("the taps' sum gives {gain}, allowed above 0"),
    })
}

fn headroom(check: &Check) -> Option<Limit> {
    let least = check.words.iter().min_by(|a, b| a.headroom_bits.total_cmp(&b.headroom_bits))?;
    Some(Limit {
        name: "least headroom".to_owned(),
        stage: least.stage.clone(),
        value: least.headroom_bits,
        limit: 0.0,
        at_least: true,
        unit: "bits",
        pass: least.headroom_bits >= 0.0,
        why: format!("{} of {} bits, worst {:.6} of the word", least.word, least.bits, least.worst),
    })
}

fn pass_band(check: &Check) -> Option<Limit> {
    let mask = check.subject.plan.mask.as_ref()?;
    let worst = furthest(check.pass_band?);
    let response = &check.response;
    let own = |n: usize| response.stage_gain(n, worst.multiple, worst.offset_hz).abs().ln().abs();
    let stage = (0..response.stages()).max_by(|a, b| own(*a).total_cmp(&own(*b)))?;
    Some(Limit {
        name: "pass band".to_owned(),
        stage: stage_name(stage),
        value: worst.db().abs(),
        limit: mask.pass_db,
        at_least: false,
        unit: "dB",
        pass: worst.db().abs() <= mask.pass_db,
        why: format!(
            "{:+.6} dB at {:.6} Hz of 0 to {} Hz: {}",
            worst.db(),
            worst.offset_hz,
            mask.pass_hz,
            check.by_stage(&worst)
        ),
    })
}

fn alias(check: &Check) -> Option<Limit> {
    let mask = check.subject.plan.mask.as_ref()?;
    let worst = check.worst_alias()?;
    let rejection = -worst.worst.db();
    Some(Limit {
        name: "alias rejection".to_owned(),
        stage: stage_name(worst.stage),
        value: rejection,
        limit: mask.alias_db,
        at_least: true,
        unit: "dB",
        pass: rejection >= mask.alias_db,
        why: format!(
            "{:.4} Hz off the carrier folds onto {:.4} Hz: {}",
            worst.offset_hz,
            worst.worst.offset_hz.abs(),
            check.by_stage(&worst.worst)
        ),
    })
}

fn delay(check: &Check) -> Option<Limit> {
    let limit = check.subject.plan.mask.as_ref()?.delay_s?;
    let spans = check.subject.spans();
    let longest = (0..spans.len()).max_by_key(|n| spans[*n])?;
    let seconds = |span: u64| span as f64 / 2.0 / check.subject.rate_hz;
    let parts = spans.iter().enumerate().map(|(n, s)| format!("{} {}", stage_name(n), seconds(*s)));
    let value = check.subject.delay_s();
    Some(Limit {
        name: "delay".to_owned(),
        stage: stage_name(longest),
        value,
        limit,
        at_least: false,
        unit: "s",
        pass: value <= limit,
        why: parts.collect::<Vec<_>>().join(", ") + " s",
    })
}

fn instructions(check: &Check) -> Option<Limit> {
    let limit = check.subject.plan.mask.as_ref()?.instructions_per_sample?;
    let cost = &check.cost;
    let largest = if cost.parts[0] >= cost.parts[1] { 0 } else { 1 };
    let [front, firs] = cost.parts;
    Some(Limit {
        name: "instructions per sample".to_owned(),
        stage: ["front end", "FIR stages"][largest].to_owned(),
        value: cost.instructions_per_sample,
        limit,
        at_least: false,
        unit: "",
        pass: cost.instructions_per_sample <= limit,
        why: format!(
            "on a {}{}: front end {front:.2}, FIR stages {firs:.2}",
            cost.cpu.name,
            if cost.fitted {
                ""
            } else {
                " (at least: a register of more than 64 bits costs more)"
            }
        ),
    })
}

fn rounding(check: &Check) -> Limit {
    let largest =
        check.roundings.iter().max_by(|a, b| a.over_converter.total_cmp(&b.over_converter));
    let value = total_over_converter(&check.roundings);
    Limit {
        name: "rounding over converter".to_owned(),
        stage: largest.map_or(String::new(), |r| r.stage.clone()),
        value,
        limit: MOST_ROUNDING,
        at_least: false,
        unit: "",
        pass: value <= MOST_ROUNDING,
        why: format!("densities, against an ideal {}-bit converter", check.subject.code_bits),
    }
}

fn rest(check: &Check) -> Vec<Limit> {
    let Some(rest) = &check.rest else { return Vec::new() };
    let last = stage_name(check.subject.plan.firs.len());
    vec![
        Limit {
            name: "limit cycle".to_owned(),
            stage: last.clone(),
            value: rest.left_steps as f64,
            limit: 0.0,
            at_least: false,
            unit: "steps",
            pass: rest.left_steps == 0 && !rest.saturated,
            why: format!("left {} samples of zero codes after random ones", check.subject.span()),
        },
        Limit {
            name: "output for one code".to_owned(),
            stage: last,
            value: rest.one_code_steps,
            limit: 1.0,
            at_least: true,
            unit: "steps",
            pass: rest.one_code_steps >= 1.0,
            why: "a square wave of one code at the carrier: no dead band".to_owned(),
        },
    ]
}
