//! **FIR decimators.** The slow filters: symmetric taps, any ratio, 64-bit words.
//!
//! Receive phasors of all channels from [`crate::front_end`], hand them at the output rate
//! to [`crate::readout`].
//!
//! Each arriving phasor is added at once into the few outputs that are still open, so a
//! stage keeps ceil(taps / ratio) sums a channel and no delay line. Output j closes when
//! input (j+1) D - 1 has been added: y\[j\] = 2^-s sum_i h\[i\] x\[(j+1) D - 1 - i\].
//!
//! Number format: word Q12.52 split as upper 2^32 + lower, lower a signed `i32`, upper an `i32`
//! of at most 2^23 + 1, as |word| < 2^55. Two 32 x 32 products a tap in two `i64` accumulators,
//! exact: with L1 = sum |h| < 2^32, |upper sum| < 2^24 L1 <= 2^56 and |lower sum| <= 2^31 L1 < 2^63.
//! Out: upper x 2^32 + lower, shifted by the taps' scale, half to even, to Q12.52, saturated at ±8.
//! Within `i64`, as the plan's worst word is below 8 (words at ±8, of codes beyond their bits, may
//! wrap it; their readings are flagged).

use crate::config::{FirConfig, MAX_FIRS};
use crate::error::{ConfigError, Stage};
use crate::guard::Checksum;
use crate::list::List;
use crate::phasor::Phasor;
use crate::word::{Word, saturate_word, shift_round};

/// An output that is still being added up.
#[derive(Clone, Copy, Debug, Default)]
struct Open {
    i: Sum,
    q: Sum,
}

/// Sums of upper and of lower parts.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    upper: i64,
    lower: i64,
}

/// A word as upper x 2^32 + lower.
#[derive(Clone, Copy)]
struct Parts {
    upper: i32,
    lower: i32,
}

impl Sum {
    /// Adds a word by its tap: two 32 x 32 products.
    #[inline(always)]
    fn add(&mut self, word: Parts, tap: i32) {
        self.upper = self.upper.wrapping_add(i64::from(word.upper) * i64::from(tap));
        self.lower = self.lower.wrapping_add(i64::from(word.lower) * i64::from(tap));
    }
}

#[inline(always)]
fn parts(word: Word) -> Parts {
    let bits = word.to_bits();
    let lower = bits as i32;
    Parts { upper: ((bits >> 32) as i32).wrapping_add((lower as u32 >> 31) as i32), lower }
}

/// One stage: its place in the shared pools and how far it is.
#[derive(Clone, Copy, Debug, Default)]
struct FirStage {
    ratio: u32,
    scale: u32,
    /// First tap in the pool.
    first_tap: usize,
    /// First open sum in the pool, and number of open outputs.
    first_open: usize,
    outputs: usize,
    /// Open output that closes next, 0 to `outputs` - 1.
    head: usize,
    /// Inputs taken of the running output.
    position: u32,
}

/// All FIR stages in order, with their taps and open sums in two pools.
///
/// `TAPS` is the room for taps, ratio x ceil(taps / ratio) of each stage, `OPEN` that for open
/// sums, channels x ceil(taps / ratio) of each.
#[derive(Clone, Debug)]
pub struct FirChain<const TAPS: usize, const OPEN: usize> {
    stages: List<FirStage, MAX_FIRS>,
    /// Of each stage, for each input of a running output, its taps in the open outputs, the one
    /// that closes next first: h\[D - 1 - n + j D\] for input n, output j; zero beyond the last.
    taps: List<i32, TAPS>,
    open: List<Open, OPEN>,
    channels: usize,
    /// A word had to saturate since the last output of the last stage.
    saturated: bool,
}

impl<const TAPS: usize, const OPEN: usize> FirChain<TAPS, OPEN> {
    /// Checks the stages and lays them out in the pools.
    ///
    /// # Errors
    /// [`ConfigError`] naming the stage: ratio 0, no taps, taps not symmetric, scale above 30,
    /// sum of |taps| of 2^32 or more, worst-case word above 8 (`worst` is that of the input,
    /// in Q12.52), or no room in a pool.
    pub fn new(
        configs: &[FirConfig<'_>],
        channels: usize,
        worst: Word,
    ) -> Result<Self, ConfigError> {
        let mut chain = Self {
            stages: List::empty(FirStage::default()),
            taps: List::empty(0),
            open: List::empty(Open::default()),
            channels,
            saturated: false,
        };
        let mut worst = i128::from(worst.to_bits());
        if configs.len() > MAX_FIRS {
            let given = configs.len() as i64;
            return Err(ConfigError::new(
                Stage::Fir(0),
                "number of stages",
                given,
                0,
                MAX_FIRS as i64,
            ));
        }
        for (config, number) in configs.iter().zip(1u8..) {
            let stage = Stage::Fir(number);
            let check = |quantity, given: usize, min, max| {
                ConfigError::check(stage, quantity, given as i64, min, max)
            };
            let length = config.taps.len();
            check("ratio", config.ratio.into(), 1, 4096)?;
            check("taps", length, 1, TAPS as i64)?;
            check("scale bits", config.scale_bits.into(), 0, 30)?;
            let unequal =
                config.taps.iter().zip(config.taps.iter().rev()).position(|(a, b)| a != b);
            if let Some(n) = unequal {
                return Err(ConfigError::new(
                    stage,
                    "first tap unlike its mirror",
                    n as i64,
                    -1,
                    -1,
                ));
            }
            let total: u64 = config.taps.iter().map(|t| u64::from(t.unsigned_abs())).sum();
            ConfigError::check(stage, "sum of |taps|", total as i64, 1, (1 << 32) - 1)?;
            worst = shift_round(worst * i128::from(total), config.scale_bits.into());
            ConfigError::check(
                stage,
                "worst-case word / 2^52 x 1000",
                ((worst * 1000) >> 52) as i64,
                0,
                7999,
            )?;
            let (first_tap, first_open) = (chain.taps.len(), chain.open.len());
            let ratio = usize::from(config.ratio);
            let outputs = length.div_ceil(ratio.max(1));
            let full = |quantity, capacity| {
                move || ConfigError::new(stage, quantity, capacity as i64 + 1, 0, capacity as i64)
            };
            for input in 0..ratio {
                for output in 0..outputs {
                    let tap = config.taps.get(output * ratio + ratio - 1 - input);
                    let room = chain.taps.push(tap.copied().unwrap_or(0));
                    room.ok_or_else(full("taps of all stages", TAPS))?;
                }
            }
            for _ in 0..outputs * channels {
                let room = chain.open.push(Open::default());
                room.ok_or_else(full("open outputs of all stages", OPEN))?;
            }
            let made = FirStage {
                ratio: config.ratio.into(),
                scale: config.scale_bits.into(),
                first_tap,
                first_open,
                outputs,
                head: 0,
                position: 0,
            };
            chain.stages.push(made).ok_or_else(full("stages", MAX_FIRS))?;
        }
        Ok(chain)
    }

    /// Forgets all inputs; the next one is number `input` since the start.
    pub fn seek(&mut self, mut input: u64) {
        self.saturated = false;
        self.open.fill(Open::default());
        for stage in self.stages.iter_mut() {
            let ratio = u64::from(stage.ratio);
            stage.position = input.checked_rem(ratio).unwrap_or(0) as u32;
            stage.head = 0;
            input = input.checked_div(ratio).unwrap_or(0);
        }
    }

    /// Whether all stages stand at the start of an output, as they do with each of the last stage's;
    /// puts them there.
    pub fn align(&mut self) -> bool {
        let mut aligned = true;
        for stage in self.stages.iter_mut() {
            aligned &= stage.position == 0;
            stage.position = 0;
        }
        aligned
    }

    /// Sums up what never changes.
    pub fn check(&self, sum: &mut Checksum) {
        sum.add_size(self.stages.len());
        for stage in self.stages.iter() {
            sum.add(stage.ratio);
            sum.add(stage.scale);
            sum.add_size(stage.first_tap);
            sum.add_size(stage.first_open);
            sum.add_size(stage.outputs);
        }
        sum.add_size(self.taps.len());
        sum.add_all(&self.taps);
        sum.add_size(self.open.len());
        sum.add_size(self.channels);
    }

    /// Takes one phasor of each channel. `Some` when an output is ready: `frame` then holds
    /// it; the flag tells that a word of any stage had to saturate since the output before.
    pub fn push(&mut self, frame: &mut [Phasor]) -> Option<bool> {
        for stage in self.stages.iter_mut() {
            if stage.position >= stage.ratio {
                stage.position = 0;
            }
            let first = stage.first_tap + stage.position as usize * stage.outputs;
            let taps = self.taps.get(first..first + stage.outputs).unwrap_or(&[]);
            let cells = stage.outputs * self.channels;
            let open =
                self.open.get_mut(stage.first_open..stage.first_open + cells).unwrap_or(&mut []);
            self.saturated |= stage.push(taps, open, frame)?;
        }
        Some(core::mem::take(&mut self.saturated))
    }
}

impl FirStage {
    /// `taps` are this input's, `open` holds, for each channel, the sums of its open outputs.
    fn push(&mut self, taps: &[i32], open: &mut [Open], frame: &mut [Phasor]) -> Option<bool> {
        let outputs = self.outputs;
        // Beyond the last output only by a flipped bit.
        if self.head >= outputs {
            self.head = 0;
        }
        let (next_taps, wrapped_taps) = taps.split_at_checked(outputs - self.head)?;
        let mut rest = &mut *open;
        for phasor in &*frame {
            let (sums, later) = rest.split_at_mut_checked(outputs)?;
            let (wrapped, next) = sums.split_at_mut_checked(self.head)?;
            let (i, q) = (parts(phasor.i), parts(phasor.q));
            let add = |(sum, tap): (&mut Open, &i32)| {
                sum.i.add(i, *tap);
                sum.q.add(q, *tap);
            };
            next.iter_mut().zip(next_taps).for_each(add);
            wrapped.iter_mut().zip(wrapped_taps).for_each(add);
            rest = later;
        }
        self.position += 1;
        if self.position < self.ratio {
            return None;
        }
        self.position = 0;
        let mut saturated = false;
        let mut at = self.head;
        for phasor in frame {
            let sum = open.get_mut(at)?;
            let (i, i_saturated) = close(sum.i, self.scale);
            let (q, q_saturated) = close(sum.q, self.scale);
            *phasor = Phasor { i, q };
            saturated |= i_saturated | q_saturated;
            *sum = Open::default();
            at += outputs;
        }
        self.head += 1;
        if self.head == outputs {
            self.head = 0;
        }
        Some(saturated)
    }
}

/// upper 2^32 + lower over 2^scale (at most 30), half to even.
#[inline(never)]
fn close(sum: Sum, scale: u32) -> (Word, bool) {
    let Sum { upper, lower } = sum;
    let floor = upper.wrapping_shl(32 - scale).wrapping_add(lower >> scale);
    let rest = lower as u32 & ((1 << scale) - 1);
    // Up where the rest is above half, or half behind an odd floor.
    let half = (1u32 << scale) >> 1;
    let up = rest > half || (rest == half && half != 0 && floor & 1 == 1);
    saturate_word(floor.wrapping_add(i64::from(up)))
}
