//! **Choice** of terms, honest about having tried many: forward, while each one's p stays below the bound of a step-down
//! procedure that keeps the expected share of false ones among those chosen below q (Y. Benjamini, Y. Gavrilov, Ann. Appl.
//! Stat. 3 (2009) 179, recalled): the i-th of m enters below i q/(m + 1 - i (1 - q)).

use super::fit::{Fit, NotTold, entered, fit, left};
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

/// Cells of the reading and of every channel.
#[derive(Debug)]
pub struct Cells {
    /// Where they are.
    pub places: Places,
    /// Frequencies.
    pub frequencies: Vec<f64>,
    /// Of the reading.
    pub reading: Vec<Cell>,
    /// Of the channels.
    pub channels: Vec<Vec<Cell>>,
    /// What all went through before.
    pub whitening: Whitening,
}

impl Cells {
    /// Of some rows.
    #[must_use]
    pub fn new(together: &Together, places: Places, whitening: Whitening) -> Self {
        let cells = |values: &[f64]| places.cells(&whitening.apply(values, &together.runs));
        let channels = together.channels.par_iter().map(|c| cells(&c.values)).collect();
        Self {
            frequencies: places.frequencies().collect(),
            reading: cells(&together.reading),
            channels,
            places,
            whitening,
        }
    }

    /// A channel by a response that changes little over a cell.
    fn by(&self, channel: usize, response: impl Fn(f64) -> realfft::num_complex::Complex64) -> Vec<Cell> {
        let cells = self.channels[channel].iter().zip(&self.frequencies);
        cells.map(|(cell, f)| {
            let h = response(*f);
            cell.map(|z| z * h)
        }).collect()
    }

    /// A term, exactly.
    #[must_use]
    pub fn term(&self, together: &Together, term: &Term) -> Vec<Cell> {
        self.places.cells(&self.whitening.apply(&term.values(together), &together.runs))
    }

    /// Terms, exactly.
    #[must_use]
    pub fn terms(&self, together: &Together, terms: &[Term]) -> Vec<Vec<Cell>> {
        terms.par_iter().map(|term| self.term(together, term)).collect()
    }
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
    let by = |cells: &Cells, left: &[Cell]| Whitening::of(&cells.frequencies, left, cells.whitening);
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
    let mut state = refine(together, cells, &mut choice.terms, rules)?;
    while !rules.all && !open.is_empty() {
        let columns = cells.terms(together, &choice.terms);
        let best = |(channel, family): &(usize, Family)| -> Option<(f64, Term)> {
            let forms: Vec<Form> = match family {
                Family::Plain => vec![Form::Plain],
                Family::Rate => vec![Form::Rate],
                Family::Lag => lags.iter().map(|time_s| Form::Lag { time_s: *time_s }).collect(),
            };
            let delays = delays(together, rules.within_s);
            let tries = (forms.len() * delays.len()) as f64;
            let mut best: Option<(f64, Term)> = None;
            for form in forms {
                for delay_s in &delays {
                    let term = Term { channel: *channel, form, delay_s: *delay_s };
                    let column = cells.by(*channel, |f| term.response(f));
                    let told = entered(&column, &columns, &state.residual, &state.density);
                    let Some([t, degrees]) = told else { continue };
                    let p = (chance(t, degrees) * tries).min(1.0);
                    if best.is_none_or(|(least, _)| p < least) {
                        best = Some((p, term));
                    }
                }
            }
            best
        };
        let found: Vec<Option<(f64, Term)>> = open.par_iter().map(best).collect();
        let least = found
            .iter()
            .enumerate()
            .filter_map(|(n, found)| found.map(|(p, term)| (n, p, term)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((n, p, term)) = least else { break };
        let step = (choice.terms.len() + 1) as f64;
        let q = rules.false_share;
        let bound = step * q / (hypotheses as f64 + 1.0 - step * (1.0 - q));
        choice.tried.push(Tried { term, p, bound });
        if p > bound {
            break;
        }
        open.remove(n);
        let mut terms = choice.terms.clone();
        terms.push(term);
        // A term that the others make up between them tells nothing more.
        if let Ok(next) = refine(together, cells, &mut terms, rules) {
            (choice.terms, state) = (terms, next);
        }
    }
    Ok((choice, state))
}

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
) -> Result<Fit, NotTold> {
    let mut found = None;
    for step in 0..STEPS {
        let mut columns = cells.terms(together, terms);
        let bent = bent(terms, rules);
        for (n, what) in &bent {
            let term = terms[*n];
            columns.push(cells.by(term.channel, |f| match what {
                Bent::Time => term.by_time(f),
                Bent::Delay => term.by_delay(f),
            }));
        }
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

/// A number of a term that is fitted beside its coefficient.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bent {
    /// Time constant of a lag.
    Time,
    /// Delay.
    Delay,
}

/// Numbers fitted beside the coefficients of terms, and of which term.
#[must_use]
pub fn bent(terms: &[Term], rules: &Rules) -> Vec<(usize, Bent)> {
    let times = terms.iter().enumerate().filter(|(_, t)| matches!(t.form, Form::Lag { .. }));
    let times = times.map(|(n, _)| (n, Bent::Time));
    let delays = (0..terms.len()).filter(|_| rules.within_s > 0.0).map(|n| (n, Bent::Delay));
    times.chain(delays).collect()
}

/// What is left of the reading's cells by some terms.
#[must_use]
pub fn left_by(cells: &Cells, together: &Together, terms: &[Term], values: &[f64]) -> Vec<Cell> {
    left(&cells.reading, &cells.terms(together, terms), &values[..terms.len()])
}
