//! **Analysis** of readings: a [`series`] with its gaps, [`window`]s, [`density`] estimates by [`welch`]
//! (one segment length) and [`log_spaced`] (a length for each frequency), [`stability`] over averaging
//! times.

pub(crate) mod blocks;
pub mod density;
pub mod log_spaced;
pub mod series;
pub(crate) mod smooth;
pub mod stability;
pub(crate) mod tables;
pub mod tapers;
pub mod transform;
pub(crate) mod vector;
pub mod welch;
pub mod window;
