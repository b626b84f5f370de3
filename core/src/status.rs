//! **Status figures** for a lamp, a display or a log line: quick and coarse.
//!
//! Made with `micromath`'s short polynomials, never on the way to a reading: phase within
//! 0.003 rad (measured 2.83e-3 over a sweep), level within 0.6 dB (its log10 within 0.051,
//! of power).

use crate::phasor::Phasor;
use micromath::F32;

/// Coarse phase of a phasor, rad, within 0.003; zero for an empty phasor.
#[must_use]
pub fn coarse_phase_rad(phasor: Phasor) -> f32 {
    let (i, q) = as_floats(phasor);
    // Below this the library's squares underflow and it answers NaN.
    if i.abs().max(q.abs()) < 1e-12 {
        return 0.0;
    }
    F32(q).atan2(F32(i)).0
}

/// Coarse level of a phasor, dB relative to 1.0, within 0.6 dB; -240 for an empty phasor.
#[must_use]
pub fn coarse_level_db(phasor: Phasor) -> f32 {
    let (i, q) = as_floats(phasor);
    let power = i * i + q * q;
    if power < 1e-24 { -240.0 } else { 10.0 * F32(power).log10().0 }
}

fn as_floats(phasor: Phasor) -> (f32, f32) {
    // Explicit wrapper calls above: with `std` linked, a method call would silently take the
    // exact function of the platform and host and target would differ.
    (phasor.i.to_num(), phasor.q.to_num())
}
