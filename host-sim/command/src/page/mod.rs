//! **Pages**: [`figure`]s and what stands around them: the [`report`] of a run, a plan's [`filter`] page, the one page of
//! a [`campaign`].

pub mod campaign;
mod draw;
pub mod figure;
pub mod filter;
pub mod report;
