#![doc = include_str!("../README.md")]
#![no_std]

// In signal order, not alphabetical: read from top to bottom.

// Number formats, rounding, saturation.
pub mod word;
// Settings and what can be wrong with them.
pub mod config;
pub mod error;
// Against flipped bits.
pub mod guard;
#[cfg(feature = "wide")]
mod lanes;
mod list;
#[cfg(test)]
mod made_up;
// 1. Carrier: cosine, sine, injection tone.
pub mod carrier;
// Beside it: codes at the ends of the converter's range.
pub mod over_range;
// 2. Sections of an interval: how long their sums fit.
pub mod section;
// 2a. Mixer and integrators for a coherent carrier.
pub mod fold;
// 2b. Mixer and integrators for any carrier.
pub mod mixer;
// 3. CIC: integrators a section at a time, combs.
pub mod cic;
// 2 and 3 together, by the way that suits the carrier.
pub mod front_end;
// 4. FIR decimators to the output rate.
pub mod fir;
// 5. Phasor and phase alignment.
pub mod phasor;
// 6a. Injection monitor: amplitude and phase of the carrier.
pub mod monitor;
// 6b. Bridge inversion.
pub mod bridge;
// 6c. What bridges pick up of each other.
pub mod coupling;
// 7a. Axes matrix.
pub mod axes;
// 7b. Rigid body between electrodes: gaps, tilts, polarisation at a position.
pub mod housing;
// 6b, 7a and 7b in rounds until they agree.
pub mod position;
// 8. Faults, with every reading.
pub mod health;
mod named_set;
// 1 to 8: settings checked, tables made.
pub mod plan;
// 1 to 8: the type firmware owns.
pub mod readout;
// Beside the bridges: fringes of an interferometer that looks at the same mass.
pub mod fringe;
// Beside the signal: coarse figures for a display.
pub mod status;

pub use carrier::{Carrier, CarrierRatio};
pub use error::{ConfigError, Stage};
pub use health::{Health, HealthCounts};
pub use plan::Plan;
pub use readout::{Chain, Reading, Readout};
