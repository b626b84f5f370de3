//! **Search**: the cheapest candidate whose integers keep every line of the specification, or the line
//! that stands in the way.

use super::candidates::{Candidate, NoCandidate, all, splits_well};
use super::realise::{Miss, realise};
use crate::filter::check::cost::instructions_per_sample;
use crate::filter::check::cpu;
use crate::filter::check::show::short;
use crate::filter::spec::Spec;
use crate::filter::subject::Subject;

/// Candidates that are worked out before the cheapest is taken.
const TRIES: usize = 12;

/// Failures in a row after which more candidates will not help.
const FAILURES: usize = 5;

/// A specification that cannot be met: the line that fails, by how much, and the nearest that can.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Key of the line.
    pub key: String,
    /// What it asks for.
    pub asked: f64,
    /// Nearest that can be had.
    pub nearest: f64,
    /// Unit of both.
    pub unit: &'static str,
    /// Why.
    pub why: String,
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { key, asked, nearest, unit, why } = self;
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        let [asked, nearest] = [asked, nearest].map(|x| short(*x));
        write!(f, "{key}: {asked}{unit} cannot be met; nearest that can: {nearest}{unit}; {why}")
    }
}

/// A plan that was found.
#[derive(Debug, Clone)]
pub struct Found {
    /// The plan.
    pub subject: Subject,
    /// Instructions per sample and channel.
    pub cost: f64,
    /// Candidates that were listed, and worked out.
    pub candidates: [usize; 2],
}

/// Finds a plan.
///
/// # Errors
/// The line of the specification that cannot be met. A rejection or pass band named as the nearest was
/// found to be met.
pub fn search(spec: &Spec) -> Result<Found, Box<Refusal>> {
    let refusal = match once(spec) {
        Err(refusal) if refusal.unit == "dB" && refusal.key.starts_with("mask.") => refusal,
        other => return other,
    };
    // Rounded taps are a matter of luck: what one plan just missed another may not reach.
    let mut nearest = refusal.nearest;
    for _ in 0..8 {
        let mut easier = spec.clone();
        let rejection = refusal.key == "mask.alias_db";
        nearest = if rejection { nearest - 0.01 } else { nearest * 1.01 };
        *(if rejection { &mut easier.mask.alias_db } else { &mut easier.mask.pass_db }) = nearest;
        nearest = match once(&easier) {
            Ok(_) => return Err(Box::new(Refusal { nearest, ..*refusal })),
            Err(other) if other.key != refusal.key => break,
            Err(other) if rejection => other.nearest.min(nearest - 3.0),
            Err(other) => other.nearest.max(nearest * 1.1),
        };
    }
    let why =
        format!("{}; that is what one came to, and no plan was found that keeps it", refusal.why);
    Err(Box::new(Refusal { why, ..*refusal }))
}

fn once(spec: &Spec) -> Result<Found, Box<Refusal>> {
    let interval = interval(spec)?;
    edges(spec)?;
    let cpu = cpu(Some(&spec.mask));
    let candidates = all(spec, interval, cpu).map_err(|none| no_candidate(spec, none))?;
    let limit_s = spec.mask.delay_s.unwrap_or(f64::INFINITY);
    // Where a delay is asked for: first the cheap ones that may keep it, then the fastest.
    let mut order: Vec<&Candidate> =
        candidates.iter().filter(|c| c.delay_s <= limit_s * 1.2).collect();
    if limit_s.is_finite() {
        let mut fastest: Vec<&Candidate> = candidates.iter().collect();
        fastest.sort_by(|a, b| a.is_long().cmp(&b.is_long()).then(a.delay_s.total_cmp(&b.delay_s)));
        order.truncate(3 * TRIES);
        order.extend(fastest.into_iter().take(TRIES));
    }
    let (mut met, mut missed) = (Vec::new(), Vec::new());
    let mut row = 0;
    for candidate in order {
        let in_time = |f: &Found| f.subject.delay_s() <= limit_s;
        let best = met.iter().filter(|f| in_time(f)).map(|f: &Found| f.cost).reduce(f64::min);
        // Estimates are good to some 15 %.
        let enough = best.is_some_and(|best| candidate.cost * 0.85 > best || met.len() >= TRIES);
        if enough || row >= FAILURES || missed.len() > 3 * TRIES {
            break;
        }
        match realise(spec, candidate) {
            Ok(subject) => {
                row = 0;
                let cost = instructions_per_sample(&subject, cpu);
                met.push(Found { subject, cost, candidates: [candidates.len(), 0] });
            }
            Err(miss) => {
                // A CIC alone is cheap to try, and seldom enough.
                row += usize::from(!candidate.firs.is_empty());
                missed.push(miss);
            }
        }
    }
    let tried = met.len() + missed.len();
    let fastest = met.iter().map(|f| f.subject.delay_s()).fold(f64::INFINITY, f64::min);
    let late = |fastest| {
        let why = "no split of the ratio keeps pass band and rejection with shorter filters";
        refusal("mask.delay_s", limit_s, fastest, "s", why)
    };
    if met.is_empty() {
        // Is it the delay? Without that line there may be a plan.
        let mut patient = spec.clone();
        patient.mask.delay_s = None;
        let found = if limit_s.is_finite() { once(&patient).ok() } else { None };
        return Err(match found {
            Some(found) => late(found.subject.delay_s()),
            None => Box::new(unmet(&missed)),
        });
    }
    if fastest > limit_s {
        return Err(late(fastest));
    }
    met.retain(|f| f.subject.delay_s() <= limit_s);
    // Costs this close are alike: the one with the fewest taps then.
    let least = met.iter().map(|f| f.cost).fold(f64::INFINITY, f64::min);
    met.retain(|f| f.cost <= least * 1.005);
    met.sort_by_key(|f| f.subject.plan.firs.iter().map(|f| f.taps.len()).sum::<usize>());
    let mut best = met.swap_remove(0);
    if let Some(limit) = spec.mask.instructions_per_sample
        && best.cost > limit
    {
        let why = format!("the cheapest plan found on a {}", cpu.name);
        return Err(refusal("mask.instructions_per_sample", limit, best.cost, "", &why));
    }
    best.candidates[1] = tried;
    Ok(best)
}

fn refusal(key: &str, asked: f64, nearest: f64, unit: &'static str, why: &str) -> Box<Refusal> {
    Box::new(Refusal { key: key.to_owned(), asked, nearest, unit, why: why.to_owned() })
}

/// Samples from one reading to the next.
fn interval(spec: &Spec) -> Result<u64, Box<Refusal>> {
    match spec.interval() {
        Some(interval) if interval >= 2 => Ok(interval),
        _ => {
            let whole = nearest_total((spec.rate_hz / spec.output_rate_hz).round() as u64);
            let why = format!("{} Hz is no whole number, 2 or more, of output rates", spec.rate_hz);
            Err(refusal(
                "output_rate_hz",
                spec.output_rate_hz,
                spec.rate_hz / whole as f64,
                "Hz",
                &why,
            ))
        }
    }
}

/// The total ratio next to one that splits into stages of moderate ratios.
fn nearest_total(total: u64) -> u64 {
    let near = (0..).flat_map(|d| [total.saturating_sub(d), total + d]);
    near.into_iter().find(|n| splits_well(*n)).unwrap_or(2)
}

/// Refuses bands that leave no room for a filter, and tones within the pass band.
fn edges(spec: &Spec) -> Result<(), Box<Refusal>> {
    let (mask, output) = (&spec.mask, spec.output_rate_hz);
    if mask.pass_hz >= output / 2.0 {
        let why = "the pass band has to end below half the output rate";
        return Err(refusal("mask.pass_hz", mask.pass_hz, output / 2.0 * 0.98, "Hz", why));
    }
    if mask.pass_hz + mask.alias_into_hz >= output {
        let why = "what folds onto the band has to lie above the pass band: below the output rate less \
                   pass_hz";
        let nearest = (output - mask.pass_hz) * 0.98;
        return Err(refusal("mask.alias_into_hz", mask.alias_into_hz, nearest, "Hz", why));
    }
    // What a converter's offset and the carrier's image mix to has to be out of the band, too.
    let least = output - mask.alias_into_hz;
    // As the mass moves, that image has sidebands as wide as the pass band.
    let most = (spec.rate_hz - least - mask.pass_hz) / 2.0;
    if most < least {
        // No carrier has room: the band has to.
        let why = "no carrier keeps the converter's offset, and its own image, out of the band";
        let nearest = output - (spec.rate_hz - mask.pass_hz) / 3.0;
        let nearest = (nearest * 1.02).max(output * 0.01);
        return Err(refusal("mask.alias_into_hz", mask.alias_into_hz, nearest, "Hz", why));
    }
    if spec.carrier_hz < least || spec.carrier_hz > most {
        let nearest = spec.carrier_hz.clamp(least, most);
        let why = "the converter's offset, or the carrier's image, would come out in the band";
        return Err(refusal("carrier_hz", spec.carrier_hz, nearest, "Hz", why));
    }
    for (n, line) in spec.lines.iter().enumerate() {
        let offset = (line.frequency_hz - spec.carrier_hz).abs();
        if offset <= mask.pass_hz && line.reject_db > 0.0 {
            let key = format!("line[{}].reject_db", n + 1);
            let why = format!("it lies {offset} Hz off the carrier, within the pass band");
            return Err(refusal(&key, line.reject_db, 0.0, "dB", &why));
        }
    }
    Ok(())
}

fn no_candidate(spec: &Spec, none: NoCandidate) -> Box<Refusal> {
    match none {
        NoCandidate::Factor(factor) => {
            let asked = spec.output_rate_hz;
            let total = spec.interval().unwrap_or(2);
            let near = nearest_total(total);
            let why =
                format!("the total ratio {total} has the factor {factor}, too large for a stage");
            refusal("output_rate_hz", asked, spec.rate_hz / near as f64, "Hz", &why)
        }
        NoCandidate::Register => {
            let why = "no CIC that rejects enough fits the register";
            refusal("register_bits", spec.register_bits.into(), 128.0, "bits", why)
        }
        NoCandidate::Carrier(nearest) => {
            let why =
                "the path is coherent, and no CIC whose ratio the carrier's period divides fits";
            refusal("carrier_hz", spec.carrier_hz, nearest, "Hz", why)
        }
        NoCandidate::Leak(db) => {
            let asked = spec.mask.alias_db;
            let why = format!("no CIC of orders {:?} rejects more", spec.orders);
            refusal("mask.alias_db", asked, ((asked - db) * 100.0).floor() / 100.0, "dB", &why)
        }
    }
}

/// The line that most candidates miss, with the best that was reached.
fn unmet(missed: &[Miss]) -> Refusal {
    let count = |key: &str| missed.iter().filter(|m| m.key == key).count();
    let Some(most) = missed.iter().max_by_key(|m| count(&m.key)) else {
        return *refusal("mask.delay_s", 0.0, 0.0, "s", "no split of the ratio is fast enough");
    };
    let closest = missed
        .iter()
        .filter(|m| m.key == most.key)
        .min_by(|a, b| a.shortfall_db().total_cmp(&b.shortfall_db()))
        .unwrap_or(most);
    if closest.key == "words" {
        let why = format!(
            "the taps' worst case does not fit ({}): a wider transition, from pass_hz to the output rate less \
             alias_into_hz, makes it less",
            closest.stage
        );
        return *refusal("words", closest.asked, closest.reached, "", &why);
    }
    Refusal {
        key: closest.key.clone(),
        asked: closest.asked,
        nearest: closest.reached,
        unit: closest.unit,
        why: format!("the closest plan misses it at {}, after rounding the taps", closest.stage),
    }
}
