//! **Analysis** of readings: [`spectrum`] for densities.

pub mod spectrum;
