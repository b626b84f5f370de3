//! **Mixer** for any carrier: every sample times cosine and sine.
//!
//! Receives converter codes from [`crate::front_end`], hands section sums to [`crate::cic`].
//!
//! A section is short (some tens of samples), so its carrier can be split: within a section
//! the samples meet a fixed table of the carrier from phase zero, and the sums of the section
//! are turned once by the exact phase of its first sample,
//!
//! sum_n w_n x\[n\] e^(-i(theta + omega n)) = e^(-i theta) sum_n w_n x\[n\] e^(-i omega n).
//!
//! So a sample costs two multiply-accumulates and the integrators, and no table look-up
//! in the sine; the oscillator runs once a section.

use crate::carrier::{self, Carrier, CarrierRatio};
use crate::error::{ConfigError, Stage};
use crate::fold::sum_bound;
use crate::word::{shift_round, wide_product};
use heapless::Vec;

/// Fraction bits of the local carrier table: as many as let sections be some tens of samples.
pub const TABLE_BITS: u32 = 28;
/// Fraction bits of the turn by the section's phase: Q2.30.
const TURN_BITS: u32 = 30;
/// Longest section, samples.
pub const MAX_SECTION: u32 = 128;

/// Running sums of one section, all channels.
///
/// In: Q(b-1).0 codes. Product: code x Q.28 in `i64`. Sums: `i64`, bounded by
/// 2^(b-1) 2^28 C(L+N-1, N) <= 2^62 for a section of L samples, which chooses L. Turned sums:
/// `i64` x Q2.30 in `i128`, rounded half to even back to Q.28, |out| <= sqrt(2) 2^62 in
/// `i128`. Codes beyond b bits wrap the sums; the watch word tells.
#[derive(Clone, Debug)]
pub struct Mixer<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize> {
    /// Cosine and sine of the samples of a section, from phase zero, Q.28.
    table: Vec<[i32; 2], COLUMNS>,
    carrier: Carrier,
    /// In-phase and quadrature sums of each channel.
    sums: Vec<[[i64; 2]; ORDER], CHANNELS>,
    watch: Vec<i32, CHANNELS>,
    /// Next sample of the section.
    position: u32,
}

/// Longest section whose sums fit, at most [`MAX_SECTION`] and `table`; zero if none does.
#[must_use]
pub(crate) fn section(order: u32, code_bits: u32, table: usize) -> u32 {
    let fits = |samples: &u32| sum_bound(order, code_bits, *samples) <= 1 << (62 - TABLE_BITS);
    (1..=MAX_SECTION.min(table as u32)).take_while(fits).last().unwrap_or(0)
}

impl<const ORDER: usize, const CHANNELS: usize, const COLUMNS: usize>
    Mixer<ORDER, CHANNELS, COLUMNS>
{
    /// Sets up sections of `section` samples.
    ///
    /// # Errors
    /// [`ConfigError`] when the section or the channels exceed the capacity.
    pub fn new(ratio: CarrierRatio, channels: usize, section: u32) -> Result<Self, ConfigError> {
        let table = carrier::table(ratio, section, TABLE_BITS).ok_or(ConfigError::new(
            Stage::FrontEnd,
            "section",
            section.into(),
            1,
            COLUMNS as i64,
        ))?;
        let full =
            || ConfigError::new(Stage::Converter, "channels", channels as i64, 1, CHANNELS as i64);
        let mut sums = Vec::new();
        let mut watch = Vec::new();
        sums.resize(channels, [[0; 2]; ORDER]).map_err(|_| full())?;
        watch.resize(channels, 0).map_err(|_| full())?;
        Ok(Self { table, carrier: Carrier::new(ratio), sums, watch, position: 0 })
    }

    /// Empties the sums; the next frame is sample `position` of the section that starts at
    /// sample `section_start` of the run.
    pub fn seek(&mut self, section_start: u64, position: u32) {
        self.carrier.seek(section_start);
        self.sums.fill([[0; 2]; ORDER]);
        self.watch.fill(0);
        self.position = position;
    }

    /// Adds whole frames, all of the running section. Any cut gives the same bits.
    pub fn push(&mut self, frames: &[i32]) {
        let channels = self.sums.len().max(1);
        let count = frames.len().checked_div(channels).unwrap_or(0);
        let from = self.position as usize;
        let carrier = self.table.get(from..from + count).unwrap_or(&[]);
        for (channel, (sums, seen)) in self.sums.iter_mut().zip(&mut self.watch).enumerate() {
            let codes = frames.iter().skip(channel).step_by(channels);
            (*sums, *seen) = accumulate(*sums, *seen, codes, carrier);
        }
        self.position += count as u32;
    }

    /// Ends the section: turns the sums by its phase, hands them to `sink` with the watch word.
    pub fn finish(&mut self, mut sink: impl FnMut(usize, &[[i128; 2]; ORDER], i32)) {
        let [cosine, sine] = carrier::cos_sin_short(self.carrier.phase(), TURN_BITS);
        for (channel, (sums, seen)) in self.sums.iter_mut().zip(&mut self.watch).enumerate() {
            let turned = sums.map(|[i, q]| {
                let in_phase = wide_product(i, cosine) + wide_product(q, sine);
                let quadrature = wide_product(q, cosine) - wide_product(i, sine);
                [shift_round(in_phase, TURN_BITS), shift_round(quadrature, TURN_BITS)]
            });
            sink(channel, &turned, *seen);
            *sums = [[0; 2]; ORDER];
            *seen = 0;
        }
        self.carrier.advance(u64::from(self.position));
        self.position = 0;
    }
}

/// One channel's share of a block: two products a sample, then N - 1 sums.
#[inline]
fn accumulate<'a, const ORDER: usize>(
    mut sums: [[i64; 2]; ORDER],
    mut seen: i32,
    codes: impl Iterator<Item = &'a i32>,
    carrier: &[[i32; 2]],
) -> ([[i64; 2]; ORDER], i32) {
    for (&code, &[cosine, sine]) in codes.zip(carrier) {
        seen |= crate::fold::reach(code);
        let code = i64::from(code);
        // The quadrature part of e^(-i omega n) is -sine.
        let mut carry = [code * i64::from(cosine), -(code * i64::from(sine))];
        for sum in &mut sums {
            *sum = [sum[0].wrapping_add(carry[0]), sum[1].wrapping_add(carry[1])];
            carry = *sum;
        }
    }
    (sums, seen)
}
