//! **Filter workbench**: a decimation plan designed, proven, compared and compiled in, all from the
//! integers that the firmware uses.
//!
//! [`spec`] says what is wanted, [`design`] finds a plan, [`subject`] is a plan with all that is
//! needed to judge it, [`response`] its response, [`check`] judges it, [`compare`] sets two side by
//! side, [`export`] writes the constants for the firmware, [`curves`] are what a page draws.

pub mod check;
pub mod compare;
pub mod curves;
pub mod design;
pub mod export;
pub mod integers;
pub mod response;
pub mod spec;
pub mod subject;
