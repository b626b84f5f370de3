//! **Simulation**: a [`motion`] (the demo's own is the [`scenario`]) moves the mass, the [`plant`] turns
//! it into converter codes.

pub mod motion;
pub mod plant;
pub mod scenario;
