//! What feeds a readout needs of it, whatever its sizes.

use super::{Reading, Readout};
use crate::health::Health;
use crate::section::Way;
use crate::word::Register;

/// A chain from interleaved codes to readings: a [`Readout`], or the `Board` of an exported package.
pub trait Chain {
    /// Forgets all codes; the next frame is number `frame` of the run ([`Readout::seek`]).
    fn seek(&mut self, frame: u64);

    /// Samples since the last reading had `faults` that were found before the chain ([`Readout::flag`]).
    fn flag(&mut self, faults: Health);

    /// Takes interleaved codes, any number of them, and hands each reading that they complete to `sink`
    /// ([`Readout::push`]).
    fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading));
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R: Register,
    W: Way<ORDER>,
> Chain for Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>
{
    fn seek(&mut self, frame: u64) {
        Self::seek(self, frame);
    }

    fn flag(&mut self, faults: Health) {
        Self::flag(self, faults);
    }

    fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading)) {
        Self::push(self, codes, |reading| sink(reading));
    }
}
