//! FIR decimator of the twin: y\[j\] = sum_i h\[i\] x\[(j+1) D - 1 - i\], from a delay line.

use crate::instrument::file::FirFile;
use std::collections::VecDeque;

/// One stage for all channels.
#[derive(Debug, Clone)]
pub struct Fir {
    taps: Vec<f64>,
    ratio: usize,
    position: usize,
    /// Newest first.
    line: VecDeque<Vec<[f64; 2]>>,
}

impl Fir {
    /// Taps as the plan's integers say, gain at zero frequency taken off: what remains is a
    /// unit-gain filter, as amplitudes are meant.
    #[must_use]
    pub fn new(fir: &FirFile, channels: usize) -> Self {
        let sum: f64 = fir.taps.iter().map(|t| f64::from(*t)).sum();
        let taps: Vec<f64> = fir.taps.iter().map(|t| f64::from(*t) / sum).collect();
        let line = vec![vec![[0.0; 2]; channels]; taps.len()].into();
        Self { taps, ratio: fir.ratio.into(), position: 0, line }
    }

    /// Delay of a slow signal, inputs: how far back its taps reach on the average.
    #[must_use]
    pub fn delay(&self) -> f64 {
        self.taps.iter().enumerate().map(|(n, tap)| n as f64 * tap).sum()
    }

    /// Takes the phasors of one input instant; hands on an output when one is due.
    pub fn push(&mut self, phasors: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
        let mut newest = self.line.pop_back().expect("a tap");
        newest.copy_from_slice(phasors);
        self.line.push_front(newest);
        self.position += 1;
        if self.position < self.ratio {
            return None;
        }
        self.position = 0;
        let mut out = vec![[0.0; 2]; phasors.len()];
        for (tap, inputs) in self.taps.iter().zip(&self.line) {
            for (sum, input) in out.iter_mut().zip(inputs) {
                sum[0] += tap * input[0];
                sum[1] += tap * input[1];
            }
        }
        Some(out)
    }
}
