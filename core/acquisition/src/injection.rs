//! **Injection**: codes for the converter that drives the bridges, of the same carrier that the chain demodulates by, so that both
//! are one as long as both converters have one clock.
//!
//! A carrier that repeats needs its period alone, which a DMA sends round and round; any other is filled block by block.
//! **High voltage**: what an injection amplifier makes of these codes may hurt; its limits are the amplifier's, not ours.

use quietgap_core::{Carrier, CarrierRatio};

/// Amplitude in millionths of full scale.
pub const FULL_SCALE: u32 = 1_000_000;

/// The tone.
#[derive(Clone, Debug)]
pub struct Injection {
    carrier: Carrier,
    ratio: CarrierRatio,
    /// Largest code.
    peak: i32,
    amplitude: i32,
    /// Parts of 2^64 of a turn ahead of the chain's carrier.
    phase: u64,
}

impl Injection {
    /// A tone of no amplitude yet, for a converter of `code_bits` bits (2 to 32, others taken as the nearest), `phase` parts of 2^64
    /// of a turn ahead of the chain's carrier.
    #[must_use]
    pub fn new(ratio: CarrierRatio, code_bits: u32, phase: u64) -> Self {
        let peak = ((1i64 << (code_bits.clamp(2, 32) - 1)) - 1) as i32;
        Self { carrier: Carrier::new(ratio), ratio, peak, amplitude: 0, phase }
    }

    /// Sets the amplitude, in millionths of full scale; `None`, and nothing changes, above [`FULL_SCALE`].
    ///
    /// Product below 2^31 x 2^20 in `i64`; rounded to the nearest code, half up.
    pub fn set_amplitude(&mut self, millionths: u32) -> Option<()> {
        if millionths > FULL_SCALE {
            return None;
        }
        let scaled = i64::from(self.peak) * i64::from(millionths);
        self.amplitude = ((2 * scaled + i64::from(FULL_SCALE)) / i64::from(2 * FULL_SCALE)) as i32;
        Some(())
    }

    /// Samples of the carrier's period, where it repeats.
    #[must_use]
    pub const fn period(&self) -> Option<u32> {
        self.ratio.period()
    }

    /// The next sample is number `sample` of the run.
    pub fn seek(&mut self, sample: u64) {
        self.carrier.seek(sample);
    }

    /// Fills `codes` with the samples to come.
    pub fn fill(&mut self, codes: &mut [i32]) {
        self.carrier.inject(codes, self.amplitude, self.phase);
    }
}
