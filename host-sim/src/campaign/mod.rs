//! **Campaign**: a list of analyses over a folder of data, run where something they depend on has changed, and one page of
//! all.
//!
//! [`list`] is the file; [`store`] keeps each analysis in a folder of its own that appears whole, with what it depended on;
//! [`example`] is the slate quarry's.

pub mod example;
pub mod list;
pub mod store;
