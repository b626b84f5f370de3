//! **Check**
pub mod bands;
pub mod cost;
