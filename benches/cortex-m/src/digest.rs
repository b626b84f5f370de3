// Digest of every word that the chain hands out; the host includes this file, too.

use quietgap_core::Reading;
use quietgap_core::phasor::Phasor;

/// FNV-1a, 64 bits. Source: draft-eastlake-fnv, offset basis and prime from memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Digest(pub u64);

impl Digest {
    pub const fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
    pub fn word(&mut self, word: i64) {
        for byte in word.to_le_bytes() {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    pub fn phasors(&mut self, phasors: &[Phasor]) {
        for phasor in phasors {
            self.word(phasor.i.to_bits());
            self.word(phasor.q.to_bits());
        }
    }
    pub fn reading(&mut self, reading: &Reading) {
        self.word(reading.half_samples);
        reading.axes.iter().for_each(|axis| self.word(*axis));
        for bridge in &reading.bridges {
            self.word(bridge.gap_fraction.to_bits());
            self.word(bridge.displacement_am);
            self.word(bridge.quadrature.to_bits());
            self.word(bridge.health.bits().into());
        }
        self.word(reading.monitor_ratio);
        self.word(reading.residual_am);
        self.word(reading.over_range_channels.into());
        self.word(reading.health.bits().into());
    }
}
