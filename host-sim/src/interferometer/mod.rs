//! **Interferometer**: detectors of a homodyne quadrature laser interferometer to displacement and rotation.
//!
//! ```text
//! four detectors a beam ──► [`balance`]: differences over sums, in-phase and quadrature
//!   ──► [`ellipse`]: offsets, gains and the lack of a quarter turn taken off, [`track`]ed as they drift
//!   ──► [`phase`]: arctangent, turns counted ──► [`filter`]: frames to readings
//!   ──► [`geometry`], [`air`]: wavelength in the path, beams to axes
//! ```
//!
//! [`readings`] runs all of it over a record; [`noise`] predicts what the light leaves, [`board`] makes the core's
//! settings of a beam.

pub mod air;
pub mod balance;
pub mod board;
pub mod ellipse;
pub mod filter;
pub mod geometry;
pub mod noise;
pub mod phase;
pub mod readings;
pub mod track;

/// Most beams of an interferometer.
pub const MOST_BEAMS: usize = 8;
