//! **Cells** of a reading, its channels and terms: sine tapers' coefficients of what went through the whitening.

use super::choose::Rules;
use super::fit::left;
use super::term::{Form, Term};
use super::together::Together;
use super::whiten::Whitening;
use crate::analysis::tapers::{Cell, Places};
use rayon::prelude::*;

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
    pub(super) fn by(
        &self,
        channel: usize,
        response: impl Fn(f64) -> realfft::num_complex::Complex64,
    ) -> Vec<Cell> {
        let cells = self.channels[channel].iter().zip(&self.frequencies);
        cells
            .map(|(cell, f)| {
                let h = response(*f);
                cell.map(|z| z * h)
            })
            .collect()
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

/// Terms as they were last wanted, each a transform of all rows: one that has not changed is not worked out again.
#[derive(Debug, Default)]
pub(super) struct Kept(Vec<(Term, Vec<Cell>)>);

impl Kept {
    /// Terms of these cells, exactly.
    fn terms(&mut self, cells: &Cells, together: &Together, terms: &[Term]) -> Vec<Vec<Cell>> {
        let Self(kept) = self;
        kept.retain(|(term, _)| terms.contains(term));
        let is_new = |term: &Term| kept.iter().all(|(known, _)| known != term);
        let new: Vec<Term> = terms.iter().copied().filter(is_new).collect();
        let columns = cells.terms(together, &new);
        kept.extend(new.into_iter().zip(columns));
        let column = |term: &Term| kept.iter().find(|(known, _)| known == term);
        terms.iter().filter_map(column).map(|(_, column)| column.clone()).collect()
    }
}

impl Cells {
    /// Terms, and what their lags and delays change of them, in the order of [`bent`].
    pub(super) fn columns(
        &self,
        together: &Together,
        terms: &[Term],
        rules: &Rules,
        kept: &mut Kept,
    ) -> Vec<Vec<Cell>> {
        let beside = bent(terms, rules).into_iter().map(|(n, what)| {
            let term = terms[n];
            self.by(term.channel, |f| match what {
                Bent::Time => term.by_time(f),
                Bent::Delay => term.by_delay(f),
            })
        });
        kept.terms(self, together, terms).into_iter().chain(beside).collect()
    }
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
