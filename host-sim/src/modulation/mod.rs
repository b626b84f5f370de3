//! **Modulated experiments**: what a drive of known frequency does to a reading.
//!
//! [`lines`] fits amplitudes at all frequencies together, by sine tapers, with uncertainties from the noise beside each;
//! [`parts`] does it cycles by cycles, for the scatter of repetition and for what changes meanwhile; [`drive`] finds the frequency of
//! a channel that drives.

pub mod drive;
pub mod lines;
pub mod parts;
