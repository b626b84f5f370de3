//! **Injection monitor.** Drift of the carrier's amplitude and phase since the calibration, taken off
//! all channels.
//!
//! Receives aligned phasors from [`crate::phasor`], turns those of all channels in place, and hands the
//! ratio of amplitudes to [`crate::bridge`].

use crate::config::{Alignment, MonitorConfig};
use crate::health::Health;
use crate::phasor::Phasor;
use crate::word::{Fraction, ratio};

/// Fraction bits of bridge and monitor ratios (Q6.58).
pub(crate) const RATIO_BITS: u32 = 58;
/// m_cal / m, Q6.58, and the carrier's health; the phasors are turned back by the monitor's phase. 1 and
/// unturned when there is no monitor, unturned when its phase at calibration is not known.
///
/// In: magnitude Q12.52 (below 2^55.5), calibration Q12.52; quotient of (calibration x 2^58) (below
/// 2^114) rounded half to even. From 32 on the carrier is lost. Cosine and sine of the turn: components
/// over magnitude, Q2.62, half to even.
#[inline(never)]
#[must_use]
pub fn monitor_ratio(monitor: Option<&MonitorConfig>, phasors: &mut [Phasor]) -> (i64, Health) {
    let Some(monitor) = monitor else { return (1 << RATIO_BITS, Health::OK) };
    let phasor = phasors.get(usize::from(monitor.channel)).copied().unwrap_or_default();
    let magnitude = phasor.magnitude();
    let scale = ratio(monitor.calibration.to_bits(), RATIO_BITS, magnitude.to_bits());
    let beyond = scale == i64::MAX;
    let lost = beyond | (magnitude < monitor.lost);
    let weak = magnitude < monitor.weak;
    let mut health =
        if lost { Health::CARRIER_LOST } else { Health::when(Health::CARRIER_WEAK, weak) };
    if !beyond && monitor.phase < Fraction::ONE {
        let part = |x: i64| Fraction::from_bits(ratio(x, 62, magnitude.to_bits()));
        let turn = Alignment { cosine: part(phasor.i.to_bits()), sine: part(phasor.q.to_bits()) };
        let sine = turn.sine.to_bits().saturating_abs();
        let off = turn.cosine < Fraction::ZERO || sine > monitor.phase.to_bits();
        health |= Health::when(Health::CARRIER_PHASE, off);
        phasors.iter_mut().for_each(|phasor| *phasor = phasor.aligned(turn));
    }
    (scale, health)
}
