//! **Calibration** of the bridges against a reference: a stage's steps, or another sensor's record of the same motion.
//!
//! [`regression`] is least squares with uncertainties, [`coverage`] what they mean for few degrees of freedom;
//! [`steps`] makes points of readings while a stage holds still, [`sweep`] while it or the mass moves; [`bridges`] compares
//! what the bridges say with what they should at the reference's places.

pub mod bridges;
pub mod coverage;
pub mod reference;
pub mod regression;
pub mod steps;
pub mod sweep;
