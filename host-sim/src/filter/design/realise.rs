//! **Realise**: the taps of a candidate's stages, as integers, and whether they keep the mask.

use super::candidates::{Candidate, EARLY_RIPPLE, last_ripple, plan};
use super::spread_zeros::{self, Bands, fewest};
use super::stage::{excess, shortest};
use super::{Need, quantise::quantise};
use crate::filter::check::bands::{furthest, pass_band, worst_alias};
use crate::filter::check::folding_stage;
use crate::filter::integers::Integers;
use crate::filter::response::{Response, Taps, db, from_db};
use crate::filter::spec::{Method, Spec};
use crate::filter::subject::{Subject, stage_name};
use crate::instrument::check_plan::unlike;
use crate::instrument::design::carrier_ratio;
use crate::instrument::file::{FirFile, PlanFile};
use crate::instrument::settings::core_carrier;

/// A line of the specification that a candidate misses.
#[derive(Debug, Clone, PartialEq)]
pub struct Miss {
    /// Key in the specification.
    pub key: String,
    /// Stage it is missed at.
    pub stage: String,
    /// What was asked.
    pub asked: f64,
    /// What was reached.
    pub reached: f64,
    /// Unit of both.
    pub unit: &'static str,
}

impl Miss {
    /// By how much, in decibels: less rejection, or a pass band that deviates so many times more.
    #[must_use]
    pub fn shortfall_db(&self) -> f64 {
        if self.key == "mask.pass_db" {
            db(self.reached / self.asked)
        } else if self.key == "words" {
            db(self.asked / self.reached)
        } else {
            self.asked - self.reached
        }
    }
}

/// Finds taps of all stages and quantises them.
///
/// Early stages reject what folds onto the mask's band and may ripple by [`EARLY_RIPPLE`]; the last
/// corrects them and the CIC, and rejects all beyond.
///
/// # Errors
/// The line that is missed.
pub fn realise(spec: &Spec, candidate: &Candidate) -> Result<Subject, Miss> {
    let mut last = None;
    // Rounded taps may miss by a little what the unrounded keep: aim lower then.
    for margin in [1.0, 0.98, 0.9] {
        let subject = attempt(spec, candidate, margin)?;
        let worst = misses(spec, &subject)
            .into_iter()
            .max_by(|a, b| a.shortfall_db().total_cmp(&b.shortfall_db()));
        let Some(worst) = worst else { return taken(subject) };
        let hopeless = worst.shortfall_db() > 3.0;
        last = Some(worst);
        if hopeless {
            break;
        }
    }
    Err(last.expect("a miss"))
}

/// The plan, if the core takes it: narrow transitions make taps whose worst case overflows a word.
fn taken(subject: Subject) -> Result<Subject, Miss> {
    match Integers::new(&subject, 1) {
        Ok(_) => Ok(subject),
        Err(e) => Err(Miss {
            key: "words".to_owned(),
            stage: format!("{}: {}", e.stage, e.quantity),
            asked: e.given as f64,
            reached: e.max as f64,
            unit: "",
        }),
    }
}

fn attempt(spec: &Spec, candidate: &Candidate, margin: f64) -> Result<Subject, Miss> {
    let mut plan = plan(spec, candidate.order, candidate.ratio);
    let mut rate = spec.rate_hz / f64::from(candidate.ratio);
    for (n, (ratio, guess)) in candidate.firs.iter().zip(&candidate.taps).enumerate() {
        let is_last = n + 1 == candidate.firs.len();
        let taps = stage_taps(spec, &plan, rate, *ratio, is_last, *guess, margin)?;
        let missing = || miss("tap_bits", n + 1, spec.tap_bits.into(), f64::NAN, "bits");
        let (taps, scale_bits) = quantise(&taps, spec.tap_bits).ok_or_else(missing)?;
        let mut fir = FirFile { ratio: *ratio as u16, scale_bits, symmetric: true, taps };
        fir.symmetric = unlike(&fir).is_none();
        plan.firs.push(fir);
        rate /= *ratio as f64;
    }
    let carrier = core_carrier(carrier_ratio(spec.carrier_hz, spec.rate_hz));
    Ok(Subject {
        name: "the plan".to_owned(),
        plan,
        rate_hz: spec.rate_hz,
        carrier_hz: spec.carrier_hz,
        carrier: carrier.expect("checked with the specification"),
        code_bits: spec.code_bits,
        channels: spec.channels.into(),
        settings: None,
    })
}

fn miss(key: &str, stage: usize, asked: f64, reached: f64, unit: &'static str) -> Miss {
    Miss { key: key.to_owned(), stage: stage_name(stage), asked, reached, unit }
}

/// Offsets of the tones to keep out, to either side of the carrier, with the gain they are allowed.
fn tones(spec: &Spec) -> impl Iterator<Item = (f64, f64)> + '_ {
    spec.lines.iter().flat_map(|line| {
        line.offsets_hz(spec.carrier_hz).map(|offset| (offset, from_db(-line.reject_db)))
    })
}

fn stage_taps(
    spec: &Spec,
    so_far: &PlanFile,
    rate: f64,
    ratio: u64,
    is_last: bool,
    guess: usize,
    margin: f64,
) -> Result<Vec<f64>, Miss> {
    let mask = &spec.mask;
    let output = rate / ratio as f64;
    let earlier = {
        let stages = so_far.firs.iter().map(|f| (Taps::of(f), i64::from(f.ratio))).collect();
        Response::of(so_far.order, so_far.ratio, 1, stages, spec.rate_hz)
    };
    let floor = from_db(-mask.alias_db) * margin;
    let mut edge = output - mask.alias_into_hz;
    let mut lowest = floor;
    // Whether a tone to keep out folds to where else nothing matters.
    let mut tone_between = false;
    let folds = |f: f64| {
        (f * rate - output * (f * rate / output).round()).abs() <= mask.alias_into_hz * (1.0 + 1e-9)
    };
    if is_last {
        for (offset, allowed) in tones(spec) {
            // Where it comes in at this stage, and how much of it.
            let image = (offset - rate * (offset / rate).round()).abs();
            let left = allowed * margin / earlier.gain_at(offset).abs().max(1e-30);
            if left < 1.0 && image > mask.pass_hz {
                edge = edge.min(image);
                lowest = lowest.min(left);
                tone_between |= !folds(image / rate);
            }
        }
    }
    let gain = |f: f64| earlier.gain_at(f * rate).abs();
    let leak = |f: f64| {
        if is_last {
            return lowest / gain(f).max(1e-3);
        }
        // What folds onto an offset is lifted there as the last stage makes up for the droop.
        let offset = f * rate - output * (f * rate / output).round();
        floor * earlier.gain_at(offset).abs() / (1.0 + EARLY_RIPPLE) / gain(f).max(1e-3)
    };
    let desired = |f: f64| if is_last { 1.0 / gain(f) } else { 1.0 };
    // Only the last stage's delay counts: those before work at higher rates.
    let method = match spec.method {
        Method::LowDelay if !is_last => Method::Equiripple,
        method => method,
    };
    // Half each way, or, of an exchange that can keep the gain at zero, all of it.
    let half = last_ripple(mask) * margin;
    let (ripple, lowest_ripple) = match (is_last, method) {
        (false, _) => (EARLY_RIPPLE, EARLY_RIPPLE),
        (true, Method::Equiripple | Method::LowDelay) => (half * 1.98, half * 0.018),
        (true, _) => (half * 0.98, half * 0.98),
    };
    // What folds beside the band may pass, but not grow: free bands between those that fold onto it.
    let free_leak = |f: f64| if folds(f) { leak(f) } else { 1.0 };
    let between = (method == Method::Equiripple && !tone_between && ratio > 1)
        .then(|| bands_apart(output / rate, mask.alias_into_hz / rate))
        .filter(|stops| stops.len() > 1);
    let stops = if ratio == 1 { Vec::new() } else { vec![(edge / rate, 0.5)] };
    // Narrow stop bands far apart need fewer taps than one over all of them.
    let narrow = if is_last { None } else { narrow(spec, rate, ratio, &leak) };
    let need = Need {
        pass: mask.pass_hz / rate,
        desired: &desired,
        ripple,
        lowest_ripple,
        stops,
        leak: &leak,
    };
    let most = narrow.as_ref().map_or(usize::MAX, Vec::len);
    if 2 * guess > most {
        return Ok(narrow.unwrap_or_default());
    }
    let apart = between.and_then(|stops| {
        let need = Need { stops, leak: &free_leak, ..need };
        shortest(method, ratio, guess, &need).ok()
    });
    // Bands apart include all that one band over them allows: a search that ended there is not made again.
    let found = match apart {
        Some(taps) => Ok(taps),
        None => shortest(method, ratio, guess, &need),
    };
    match found {
        Ok(taps) if taps.len() < most => Ok(taps),
        Ok(_) => Ok(narrow.unwrap_or_default()),
        Err(excess) => narrow.ok_or_else(|| {
            let stage = so_far.firs.len() + 1;
            if is_last && excess.pass > excess.stop {
                // No gain at all is as far off as can be told.
                let reached = -db((1.0 - excess.pass * (1.0 - from_db(-mask.pass_db))).max(1e-6));
                return miss("mask.pass_db", stage, mask.pass_db, reached, "dB");
            }
            // Of taps that could not be had at all nothing is known to be rejected.
            let reached = (mask.alias_db - db(excess.stop)).max(0.0);
            miss("mask.alias_db", stage, mask.alias_db, reached, "dB")
        }),
    }
}

/// Bands of `half` to either side of all multiples of `output`, up to half the rate, and between them the
/// free ones, less an eighth at either side to rise and fall in.
fn bands_apart(output: f64, half: f64) -> Vec<(f64, f64)> {
    let width = output - 2.0 * half;
    if width < output / 64.0 {
        return Vec::new();
    }
    let mut bands = Vec::new();
    let mut multiple = 1.0;
    while multiple * output - half < 0.5 {
        let high = multiple * output + half;
        bands.push((multiple * output - half, high.min(0.5)));
        let (from, to) = (high + width / 8.0, (high + width * 7.0 / 8.0).min(0.5));
        if from < to {
            bands.push((from, to));
        }
        multiple += 1.0;
    }
    bands
}

/// Taps with zeros in the bands that fold onto the mask's, for a stage that another one follows.
fn narrow(spec: &Spec, rate: f64, ratio: u64, leak: &dyn Fn(f64) -> f64) -> Option<Vec<f64>> {
    let (output, into) = (rate / ratio as f64, spec.mask.alias_into_hz);
    if into > output / 4.0 {
        return None;
    }
    let stops = (1..=ratio / 2).map(|k| k as f64 * output);
    let stops = stops.map(|at| ((at - into) / rate, ((at + into) / rate).min(0.5))).collect();
    let need = Need { pass: 0.0, desired: &|_| 1.0, ripple: 1.0, lowest_ripple: 1.0, stops, leak };
    // The last stage can make up for a droop, but not for one that hides the pass band.
    let edge = into.max(spec.mask.pass_hz) / rate;
    let bands = Bands { ratio, half: into / rate };
    // Between the points that are looked at a little more may leak: aim lower then.
    [1.0, 0.95, 0.9].into_iter().find_map(|aim| {
        let taps = spread_zeros::taps(bands, &fewest(bands, edge, &|f| aim * leak(f))?);
        let droop = Taps::new(&taps).gain_at(edge);
        (droop > 0.5 && excess(&taps, &need).stop <= droop).then_some(taps)
    })
}

/// Lines of the specification that the integers miss, delay and cost not among them.
#[must_use]
pub fn misses(spec: &Spec, subject: &Subject) -> Vec<Miss> {
    let mask = &spec.mask;
    let response = Response::new(&subject.plan, spec.rate_hz);
    let seconds = subject.span() as f64 / spec.rate_hz;
    let mut out = Vec::new();
    let last = subject.plan.firs.len();
    let reached = furthest(pass_band(&response, mask.pass_hz, seconds)).db().abs();
    if reached > mask.pass_db {
        out.push(miss("mask.pass_db", last, mask.pass_db, reached, "dB"));
    }
    if let Some(worst) = worst_alias(&response, mask.alias_into_hz, seconds)
        && worst.db() > -mask.alias_db
    {
        let stage = folding_stage(subject, worst.multiple);
        out.push(miss("mask.alias_db", stage, mask.alias_db, -worst.db(), "dB"));
    }
    for (n, line) in spec.lines.iter().enumerate() {
        let left = line
            .offsets_hz(spec.carrier_hz)
            .map(|o| response.gain_at(o).abs())
            .into_iter()
            .fold(0.0, f64::max);
        if line.reject_db > 0.0 && db(left) > -line.reject_db {
            let key = format!("line[{}].reject_db", n + 1);
            out.push(miss(&key, last, line.reject_db, -db(left), "dB"));
        }
    }
    out
}
