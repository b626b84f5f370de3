//! **Simulation**: a [`motion`] (the demo's own is the [`scenario`]) moves the mass, the [`plant`] turns
//! it into converter codes; the [`phasor`] level makes readings of hours and months without the carrier. An [`interferometer`]
//! sees the same motion.

pub mod interferometer;
pub mod motion;
pub mod phasor;
pub mod plant;
pub mod scenario;
