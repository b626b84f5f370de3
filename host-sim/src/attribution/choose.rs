//! **Choice** of terms, honest about having tried many: forward, while each one's p stays below the bound of a step-down
//! procedure that keeps the expected share of false ones among those chosen below q (Y. Benjamini, Y. Gavrilov, Ann. Appl.
//! Stat. 3 (2009) 179, recalled): the i-th of m enters below i q/(m + 1 - i (1 - q)).

use super::cells::{Bent, Cells, Kept, bent};
use super::fit::{Chosen, Fit, NotTold, entered, fit};
use super::term::{Family, Form, Term};
use super::together::Together;
use super::whiten::Whitening;
use crate::analysis::tapers::{Cell, Places};
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// What is to be chosen from, and how.
#[derive(Debug, Clone)]
pub struct Rules {
    /// Forms that every channel may have.
    pub families: Vec<Family>,
    /// Largest expected share of false ones among those chosen.
    pub false_share: f64,
    /// Largest delay that is fitted; none where zero.
    pub within_s: f64,
    /// All channels enter, in the first of the families: nothing is chosen.
    pub all: bool,
}

/// A candidate that was looked at when its turn came.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// The best of what was left.
    pub term: Term,
    /// Probability of so much by chance, all lags tried counted.
    pub p: f64,
    /// What it was allowed.
    pub bound: f64,
}

/// What was chosen.
#[derive(Debug, Clone)]
pub struct Choice {
    /// Terms that entered, in that order, with their lags and delays as fitted.
    pub terms: Vec<Term>,
    /// All steps, the last one refused where one is left.
    pub tried: Vec<Tried>,
    /// How many hypotheses there were.
    pub hypotheses: usize,
}

/// Lags a decade that are tried.
const PER_DECADE: f64 = 3.0;

/// Time constants that a record tells apart from none and from the record's length.
fn lags(together: &Together) -> Vec<f64> {
    let shortest = 1.0 / (std::f64::consts::TAU * together.to_hz);
    let longest = together.runs.iter().map(std::ops::Range::len).max().unwrap_or(0) as f64
        / together.rate_hz
        / 20.0;
    let count = (PER_DECADE * (longest / shortest).log10()).floor();
    if count < 0.0 {
        return Vec::new();
    }
    (0..=count as usize).map(|n| shortest * 10f64.powf(n as f64 / PER_DECADE)).collect()
}

/// What the `step`-th of so many hypotheses, from 1 on, is allowed.
#[must_use]
pub fn bound(step: f64, hypotheses: f64, false_share: f64) -> f64 {
    step * false_share / (hypotheses + 1.0 - step * (1.0 - false_share))
}

/// Two-sided probability of a Student variate.
#[must_use]
pub fn chance(t: f64, degrees: f64) -> f64 {
    StudentsT::new(0.0, 1.0, degrees.max(1.0)).map_or(1.0, |d| 2.0 * d.sf(t.abs()))
}

/// Whitens by the reading, chooses, whitens by what is left, and chooses again.
///
/// # Errors
/// All channels wanted, and some cannot be told apart.
pub fn attribute(together: &Together, rules: &Rules) -> Result<(Cells, Choice, Fit), NotTold> {
    let places = Places::new(&together.runs, together.rate_hz, together.to_hz);
    let mut cells = Cells::new(together, places, Whitening::new(0.0, together.rate_hz));
    let by =
        |cells: &Cells, left: &[Cell]| Whitening::of(&cells.frequencies, left, cells.whitening);
    let mut whitening = by(&cells, &cells.reading);
    let mut found = None;
    for _ in 0..2 {
        cells = Cells::new(together, cells.places, whitening);
        let (choice, fit) = choose(together, &cells, rules)?;
        whitening = by(&cells, &fit.residual);
        let settled = whitening == cells.whitening;
        found = Some((choice, fit));
        if settled {
            break;
        }
    }
    let (choice, fit) = found.ok_or_else(|| NotTold(Vec::new()))?;
    Ok((cells, choice, fit))
}

/// Chooses.
///
/// # Errors
/// All channels wanted, and some cannot be told apart.
pub fn choose(together: &Together, cells: &Cells, rules: &Rules) -> Result<(Choice, Fit), NotTold> {
    let mut open: Vec<(usize, Family)> = (0..cells.channels.len())
        .flat_map(|channel| rules.families.iter().map(move |family| (channel, *family)))
        .collect();
    let hypotheses = open.len();
    let lags = lags(together);
    let mut choice = Choice { terms: Vec::new(), tried: Vec::new(), hypotheses };
    if rules.all {
        let form = |family| match family {
            Family::Plain => Form::Plain,
            Family::Rate => Form::Rate,
            Family::Lag => Form::Lag { time_s: lags.get(lags.len() / 2).copied().unwrap_or(1.0) },
        };
        choice.terms = open
            .iter()
            .map(|(channel, family)| Term { channel: *channel, form: form(*family), delay_s: 0.0 })
            .collect();
    }
    let mut kept = Kept::default();
    let mut state = refine(together, cells, &mut choice.terms, rules, &mut kept)?;
    while !rules.all && !open.is_empty() {
        let columns = cells.columns(together, &choice.terms, rules, &mut kept);
        let Some(chosen) = Chosen::new(&columns, &state.density) else { break };
        let best = |(channel, family): &(usize, Family)| -> Option<Entry> {
            let forms: Vec<Form> = match family {
                Family::Plain => vec![Form::Plain],
                Family::Rate => vec![Form::Rate],
                Family::Lag => lags.iter().map(|time_s| Form::Lag { time_s: *time_s }).collect(),
            };
            let delays = delays(together, rules.within_s);
            let tries = (forms.len() * delays.len()) as f64;
            let mut entries = Vec::new();
            for form in forms {
                for delay_s in &delays {
                    let term = Term { channel: *channel, form, delay_s: *delay_s };
                    let column = cells.by(*channel, |f| term.response(f));
                    let told = entered(&column, &chosen, &state.residual);
                    let Some([t, degrees]) = told else { continue };
                    entries.push(Entry { p: (chance(t, degrees) * tries).min(1.0), t, term });
                }
            }
            // A channel that repeats itself is as well a period later: the least delay of those.
            let most = entries.iter().map(|e| e.t.powi(2)).fold(0.0, f64::max);
            entries.into_iter().filter(|e| e.t.powi(2) >= SAME * most).min_by(|a, b| {
                let [a, b] = [a, b].map(|e| e.term.delay_s.abs());
                a.total_cmp(&b)
            })
        };
        let found: Vec<Option<Entry>> = open.par_iter().map(best).collect();
        let Some((n, Entry { p, term, .. })) = next(&found) else { break };
        let step = (choice.terms.len() + 1) as f64;
        let bound = bound(step, hypotheses as f64, rules.false_share);
        choice.tried.push(Tried { term, p, bound });
        if p > bound {
            break;
        }
        open.remove(n);
        // A lag is a rate at low frequencies: a channel has one of the two.
        match term.form {
            Form::Plain => {}
            Form::Rate => open.retain(|o| *o != (term.channel, Family::Lag)),
            Form::Lag { .. } => open.retain(|o| *o != (term.channel, Family::Rate)),
        }
        let mut terms = choice.terms.clone();
        terms.push(term);
        // A term that the others make up between them tells nothing more.
        let Ok(next) = refine(together, cells, &mut terms, rules, &mut kept) else { continue };
        match lag_told(&terms, &next, rules, lags.last().copied().unwrap_or(0.0)) {
            Lag::Told => (choice.terms, state) = (terms, next),
            Lag::None => {
                // At once, then, where that has not entered by itself.
                let last = terms.len() - 1;
                terms[last].form = Form::Plain;
                if let Some(n) = open.iter().position(|o| *o == (term.channel, Family::Plain)) {
                    open.remove(n);
                    if let Ok(next) = refine(together, cells, &mut terms, rules, &mut kept) {
                        (choice.terms, state) = (terms, next);
                    }
                }
            }
            Lag::Endless => {}
        }
    }
    Ok((choice, state))
}

/// A candidate with its statistic.
#[derive(Debug, Clone, Copy)]
struct Entry {
    p: f64,
    t: f64,
    term: Term,
}

/// Share of the best candidate's power at which one of a simpler form goes first.
const SIMPLER: f64 = 0.9;

/// Share of the best delay's power at which a lesser one is as good.
const SAME: f64 = 0.98;

/// The least likely by chance, or what is simpler and nearly as unlikely.
fn next(found: &[Option<Entry>]) -> Option<(usize, Entry)> {
    let all = || found.iter().enumerate().filter_map(|(n, found)| found.map(|entry| (n, entry)));
    let order =
        |a: &Entry, b: &Entry| a.p.total_cmp(&b.p).then_with(|| b.t.abs().total_cmp(&a.t.abs()));
    let (_, best) = all().min_by(|a, b| order(&a.1, &b.1))?;
    let simple = |entry: &Entry| match entry.term.form {
        Form::Plain => 0,
        Form::Rate => 1,
        Form::Lag { .. } => 2,
    };
    // Of channels that are the same thing, as a heater and what it warms, that which needs the simpler form.
    all()
        .filter(|(_, entry)| entry.t.powi(2) >= SIMPLER * best.t.powi(2))
        .min_by(|a, b| simple(&a.1).cmp(&simple(&b.1)).then_with(|| order(&a.1, &b.1)))
}

/// What the fit says of the lag of a term that enters.
enum Lag {
    /// It has none, or one that is told.
    Told,
    /// It is none that the record tells from nothing.
    None,
    /// It is longer than the record tells.
    Endless,
}

/// A lag is none where it is less than so many of its uncertainties.
const SURE: f64 = 2.0;

fn lag_told(terms: &[Term], fit: &Fit, rules: &Rules, longest_s: f64) -> Lag {
    let last = terms.len() - 1;
    let Form::Lag { time_s } = terms[last].form else { return Lag::Told };
    let place = bent(terms, rules).iter().position(|b| *b == (last, Bent::Time));
    let sure = place.map_or(0.0, |k| fit.uncertainty(terms.len() + k) / fit.values[last].abs());
    if time_s > 2.0 * longest_s {
        Lag::Endless
    } else if time_s < SURE * sure || time_s < SHORTEST * longest_s {
        Lag::None
    } else {
        Lag::Told
    }
}

/// A lag that is this part of the longest one is none: the reading's own time stamps are not known so well.
const SHORTEST: f64 = 1e-5;

/// Delays that are tried before one is fitted.
fn delays(together: &Together, within_s: f64) -> Vec<f64> {
    if within_s <= 0.0 {
        return vec![0.0];
    }
    let step = 0.25 / together.to_hz;
    let most = (within_s / step).floor().min(200.0) as i32;
    (-most..=most).map(|n| f64::from(n) * within_s / f64::from(most.max(1))).collect()
}

/// Steps of fitting lags and delays.
const STEPS: usize = 12;

/// Fits coefficients, and lags and delays with them: their derivatives stand beside the terms, so that what they leave
/// uncertain is part of every uncertainty. The fit's first coefficients are the terms'; then come lags' and delays' steps,
/// times their coefficient, in the order of [`bent`].
fn refine(
    together: &Together,
    cells: &Cells,
    terms: &mut [Term],
    rules: &Rules,
    kept: &mut Kept,
) -> Result<Fit, NotTold> {
    let mut found = None;
    for step in 0..STEPS {
        let columns = cells.columns(together, terms, rules, kept);
        let bent = bent(terms, rules);
        let one = fit(&cells.frequencies, &cells.reading, &columns)?;
        let mut moved = false;
        let count = terms.len();
        for (k, (n, what)) in bent.iter().enumerate() {
            let b = one.values[*n];
            let by = one.values[count + k] / b;
            let sure = one.uncertainty(count + k) / b.abs();
            let term = &mut terms[*n];
            match (what, &mut term.form) {
                (Bent::Time, Form::Lag { time_s }) => {
                    let next = (*time_s + by).clamp(*time_s / 2.0, *time_s * 2.0);
                    moved |= (next - *time_s).abs() > 0.05 * sure;
                    *time_s = next;
                }
                (Bent::Delay, _) => {
                    let next = (term.delay_s + by).clamp(-rules.within_s, rules.within_s);
                    moved |= (next - term.delay_s).abs() > 0.05 * sure;
                    term.delay_s = next;
                }
                (Bent::Time, _) => {}
            }
        }
        found = Some(one);
        if !moved && step > 0 || bent.is_empty() {
            break;
        }
    }
    // There is one: STEPS is above zero.
    found.ok_or_else(|| NotTold(Vec::new()))
}
