//! **Attribution**: how much of a reading follows auxiliary channels, with what coefficients, how sure, and what is left.
//!
//! [`together`] brings all to one set of instants; [`term`]s are what a channel may do to a reading (at once, by its rate,
//! lagging, delayed); what wanders is [`whiten`]ed; [`cells`] are the coefficients of sine tapers of all; [`fit`] is least squares over them, each weighed by what the residuals are at
//! its frequency, so that coloured noise costs nothing; [`choose`] enters terms while the rate of false discoveries stays
//! below a bound; [`judge`] tells how much of it to believe: coherence, another half of the record, common trends.

pub mod cells;
pub mod choose;
pub mod fit;
pub mod judge;
pub mod predicted;
pub mod term;
pub mod together;
pub mod whiten;
