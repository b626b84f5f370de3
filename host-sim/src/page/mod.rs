//! **Page**: what people and scripts are shown: [`figure`]s, the [`report`] of a run, [`output`] of files.

mod draw;
pub mod figure;
pub mod output;
pub mod report;
