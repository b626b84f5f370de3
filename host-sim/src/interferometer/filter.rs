//! **Filter** from frames to readings: sums of blocks with the weights of a third-order CIC, then one FIR stage
//! whose passband makes its droop good.

use crate::filter::design::{Need, kaiser};
use std::f64::consts::PI;

/// Frames in a block, and blocks in a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Steps {
    /// Frames in a block.
    pub block: u64,
    /// Blocks in a reading.
    pub blocks: u64,
}

/// Blocks that a reading is made of where there are frames enough: the CIC leaves (0.35/32)^3 of what lies near the
/// blocks' rate.
const USUAL: u64 = 32;
/// Least and most.
const LEAST: u64 = 16;
const MOST: u64 = 128;
/// Frames of a reading up to which every frame is a block.
const FEW: u64 = 64;
/// Part of the output's rate that passes.
pub const PASS: f64 = 0.35;
/// Largest gain into the passband from beyond.
const LEAK: f64 = 1e-6;

/// Splits the ratio of two rates: of at most 64, or with a divisor of 16 to 128.
///
/// # Errors
/// In words.
pub fn steps(rate_hz: f64, output_hz: f64) -> Result<Steps, String> {
    let ratio = (rate_hz / output_hz).round();
    if ratio < 1.0 || ((rate_hz / output_hz) / ratio - 1.0).abs() > 1e-9 || ratio > 1e9 {
        return Err(format!("is {output_hz}, allowed {rate_hz} over a whole number"));
    }
    let ratio = ratio as u64;
    if ratio <= FEW {
        return Ok(Steps { block: 1, blocks: ratio });
    }
    let divides = (LEAST..=MOST).filter(|n| ratio.is_multiple_of(*n));
    let blocks = divides.min_by_key(|n| n.abs_diff(USUAL)).ok_or_else(|| {
        format!(
            "is {output_hz}, every {ratio} frames: allowed up to {FEW}, or a divisor of {LEAST} to {MOST}"
        )
    })?;
    Ok(Steps { block: ratio / blocks, blocks })
}

/// Gain of a block's weights at a frequency in cycles a frame.
fn droop(block: u64, f: f64) -> f64 {
    let n = block as f64;
    let below = n * (PI * f).sin();
    if block == 1 || below == 0.0 { 1.0 } else { ((PI * f * n).sin() / below).powi(3) }
}

/// The filter of one quantity.
#[derive(Debug, Clone)]
pub struct Filter {
    steps: Steps,
    taps: Vec<f64>,
    /// Frames of the block so far, and the sums of x, k x, k^2 x over them.
    at: u64,
    sums: [f64; 3],
    /// Sums of the last two blocks.
    before: [[f64; 3]; 2],
    /// Last block values, the newest last; more than are needed, so that they are rarely moved.
    history: Vec<f64>,
    since: u64,
}

impl Filter {
    /// For steps.
    ///
    /// # Panics
    /// Never: the passband is below the stop band.
    #[must_use]
    pub fn new(steps: Steps) -> Self {
        let blocks = steps.blocks as f64;
        let desired = |f: f64| 1.0 / droop(steps.block, f / steps.block as f64);
        let need = Need {
            pass: PASS / blocks,
            desired: &desired,
            ripple: LEAK,
            lowest_ripple: LEAK,
            stops: vec![((1.0 - PASS) / blocks, 0.5)],
            leak: &|_| LEAK,
        };
        let taps = if steps.blocks == 1 {
            vec![1.0]
        } else {
            let length = kaiser::order(126.0, (1.0 - 2.0 * PASS) / blocks).ceil() as usize | 1;
            let taps = kaiser::taps(length, &need).expect("a stop band");
            let sum: f64 = taps.iter().sum();
            taps.iter().map(|t| t / sum).collect()
        };
        let history = vec![0.0; taps.len()];
        Self { steps, taps, at: 0, sums: [0.0; 3], before: [[0.0; 3]; 2], history, since: 0 }
    }

    /// Taps of the FIR stage, over the blocks' values.
    #[must_use]
    pub fn taps(&self) -> &[f64] {
        &self.taps
    }

    /// Frames that a reading is made of.
    #[must_use]
    pub fn span(&self) -> u64 {
        let Steps { block, .. } = self.steps;
        let first = if block > 1 { 3 * block - 2 } else { 1 };
        first + (self.taps.len() as u64 - 1) * block
    }

    /// Half frames from the middle of a reading to its last frame.
    #[must_use]
    pub fn delay_half_frames(&self) -> u64 {
        self.span() - 1
    }

    /// Frames from one reading to the next.
    #[must_use]
    pub fn interval(&self) -> u64 {
        self.steps.block * self.steps.blocks
    }

    /// Gain at a frequency in cycles a frame.
    #[must_use]
    pub fn gain(&self, f: f64) -> f64 {
        let middle = (self.taps.len() as f64 - 1.0) / 2.0;
        let turn = std::f64::consts::TAU * f * self.steps.block as f64;
        let sum = self.taps.iter().enumerate().map(|(n, t)| t * (turn * (n as f64 - middle)).cos());
        droop(self.steps.block, f) * sum.sum::<f64>()
    }

    /// Takes values in turn and hands on a reading each time one is complete.
    pub fn push(&mut self, values: &[f64], mut take: impl FnMut(f64)) {
        let mut values = values;
        while !values.is_empty() {
            let left = (self.steps.block - self.at).min(values.len() as u64) as usize;
            let (now, rest) = values.split_at(left);
            let from = self.at as f64;
            let parts = now.iter().enumerate().fold([0.0; 3], |s, (k, x)| {
                let k = k as f64;
                let first = k * x;
                [s[0] + x, s[1] + first, s[2] + k * first]
            });
            // About the block's start.
            let [x, k, kk] = parts;
            self.sums[0] += x;
            self.sums[1] += k + from * x;
            self.sums[2] += kk + 2.0 * from * k + from * from * x;
            self.at += left as u64;
            values = rest;
            if self.at == self.steps.block {
                let value = self.close();
                if let Some(out) = self.block(value) {
                    take(out);
                }
            }
        }
    }

    /// The CIC's value at the end of a block: of three blocks' sums, weighed by the three arms of its response.
    fn close(&mut self) -> f64 {
        let now = std::mem::take(&mut self.sums);
        self.at = 0;
        let [old, middle] = self.before;
        self.before = [middle, now];
        let n = self.steps.block as f64;
        if self.steps.block == 1 {
            return now[0];
        }
        // Three boxcars of n, frame k of a block: k (k-1)/2 in the oldest, (n-k)(n-k+1)/2 in the newest; all three
        // blocks' weights at one k add up to n^2.
        let rising = 0.5 * (old[2] - old[1]);
        let falling = 0.5 * (now[2] - (2.0 * n + 1.0) * now[1] + n * (n + 1.0) * now[0]);
        let total = -middle[2] + (n + 1.0) * middle[1] + 0.5 * n * (n - 1.0) * middle[0];
        (rising + total + falling) / (n * n * n)
    }

    fn block(&mut self, value: f64) -> Option<f64> {
        self.history.push(value);
        self.since += 1;
        if !self.since.is_multiple_of(self.steps.blocks) {
            return None;
        }
        let last = &self.history[self.history.len() - self.taps.len()..];
        let sum = last.iter().zip(&self.taps).map(|(x, t)| x * t).sum();
        let needless = self.history.len() - self.taps.len();
        if needless > 4 * self.taps.len() {
            self.history.drain(..needless);
        }
        Some(sum)
    }
}
