//! **Design**: a plan from a specification, the cheapest that keeps its mask.
//!
//! [`candidates`] lists what the total ratio can be split into, cheapest first by estimates;
//! [`realise`] finds the taps of each stage, quantises them and looks whether the integers keep the
//! mask; [`search`] takes the cheapest of those that do, or says which line of the specification
//! stands in the way. Taps come from [`equiripple`], [`kaiser`], [`least_squares`], [`half_band`] or
//! [`low_delay`];
//! those of narrow stop bands from [`spread_zeros`].

pub mod candidates;
pub mod equiripple;
pub mod half_band;
pub mod kaiser;
pub mod least_squares;
pub mod low_delay;
pub mod quadrature;
pub mod quantise;
pub mod realise;
pub mod search;
pub mod spread_zeros;
pub mod stage;
pub mod write;

/// Part of the pass band, from zero, that [`Need::lowest_ripple`] is for.
pub const LOWEST: f64 = 0.02;

/// What the taps of one stage need to do; frequencies in cycles per input sample.
pub struct Need<'a> {
    /// Pass band from zero to here.
    pub pass: f64,
    /// Gain wanted in the pass band.
    pub desired: &'a dyn Fn(f64) -> f64,
    /// Largest deviation from it.
    pub ripple: f64,
    /// Largest deviation in the lowest [`LOWEST`] of the pass band: less where the gain at zero
    /// frequency is made 1 behind, so that the whole of the ripple is left to the others.
    pub lowest_ripple: f64,
    /// Stop bands, rising, apart.
    pub stops: Vec<(f64, f64)>,
    /// Largest gain within them.
    pub leak: &'a dyn Fn(f64) -> f64,
}

impl std::fmt::Debug for Need<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { pass, ripple, stops, .. } = self;
        write!(f, "Need {{ pass: {pass}, ripple: {ripple}, stops: {stops:?} }}")
    }
}
