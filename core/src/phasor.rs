//! **Phasor.** In-phase and quadrature of one channel, and its **phase alignment**.

use crate::config::Alignment;
use crate::word::{WORD_LIMIT, Word, saturate, shift_round, square_root};

/// One channel's signal, relative to the carrier: a cos(phase), a sin(phase).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Phasor {
    /// In-phase, Q12.52.
    pub i: Word,
    /// Quadrature, Q12.52.
    pub q: Word,
}

impl Phasor {
    /// Turns back by the alignment angle: I' = I cos + Q sin, Q' = Q cos - I sin.
    ///
    /// In Q12.52 x Q2.62, product and sum exact in `i128` (below 2^119 for |I|, |Q| < 8), out
    /// Q12.52 rounded half to even, saturated at ±8.
    #[must_use]
    pub fn aligned(self, alignment: Alignment) -> Self {
        let (i, q) = (i128::from(self.i.to_bits()), i128::from(self.q.to_bits()));
        let cosine = i128::from(alignment.cosine.to_bits());
        let sine = i128::from(alignment.sine.to_bits());
        let word = |x| Word::from_bits(saturate(shift_round(x, 62), WORD_LIMIT).0);
        Self { i: word(i * cosine + q * sine), q: word(q * cosine - i * sine) }
    }

    /// Turns the phasors of all channels.
    #[inline(never)]
    pub fn align(phasors: &mut [Self], alignments: &[Alignment]) {
        for (phasor, alignment) in phasors.iter_mut().zip(alignments) {
            *phasor = phasor.aligned(*alignment);
        }
    }

    /// sqrt(I^2 + Q^2), Q12.52, rounded down by less than one step; squares exact in `u128`.
    #[must_use]
    pub const fn magnitude(self) -> Word {
        let i = self.i.to_bits().unsigned_abs() as u128;
        let q = self.q.to_bits().unsigned_abs() as u128;
        Word::from_bits(square_root(i * i + q * q) as i64)
    }
}
