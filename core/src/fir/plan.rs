//! Plan of the FIR stages: checks, and taps in the order that they are used in.

use super::spread::pieces;
use crate::config::{FirConfig, MAX_FIRS};
use crate::error::{ConfigError, Stage, attempt};
use crate::list::List;
use crate::word::{Word, divide_round, shift_round};

/// One stage: its place in the shared pools.
#[derive(Clone, Copy, Debug)]
pub(super) struct FirStage {
    pub(super) ratio: u32,
    pub(super) scale: u32,
    /// First tap in the pool.
    pub(super) first_tap: usize,
    /// First open sum in the pool, and number of open outputs.
    pub(super) first_open: usize,
    pub(super) outputs: usize,
}

/// All stages, whatever the sizes of their pools.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layout {
    pub(super) stages: List<FirStage, MAX_FIRS>,
    /// Open sums of all stages.
    pub(super) open: usize,
    pub(super) channels: usize,
    /// Pieces of the later stages' work for each input of the first: so many that they are through with an output of it
    /// before the next. Nothing but that hangs on it: it is no part of the sum that tells a changed setting.
    pub(super) pieces: u32,
}

/// FIR stages, checked and laid out in two pools; parameters as those of [`super::FirChain`].
#[derive(Clone, Copy, Debug)]
pub struct FirPlan<const TAPS: usize, const OPEN: usize> {
    pub(super) layout: Layout,
    /// Of each stage, for each input of a running output, its taps in the open outputs, the one
    /// that closes next first: h\[D - 1 - n + j D\] for input n, output j; zero beyond the last.
    pub(super) taps: List<i32, TAPS>,
}

impl<const TAPS: usize, const OPEN: usize> FirPlan<TAPS, OPEN> {
    /// No stages.
    pub(super) const NONE: Self = Self {
        layout: Layout {
            stages: List::empty(FirStage {
                ratio: 0,
                scale: 0,
                first_tap: 0,
                first_open: 0,
                outputs: 0,
            }),
            open: 0,
            channels: 0,
            pieces: 0,
        },
        taps: List::empty(0),
    };

    /// Checks the stages and lays them out in the pools.
    ///
    /// # Errors
    /// [`ConfigError`] naming the stage: ratio 0, no taps, scale above 30, sum of |taps| of 2^32 or
    /// more, worst-case word above 8 (`worst` is that of the input,
    /// in Q12.52), or no room in a pool.
    pub const fn new(
        configs: &[FirConfig<'_>],
        channels: usize,
        worst: Word,
    ) -> Result<Self, ConfigError> {
        let mut plan = Self::NONE;
        plan.layout.channels = channels;
        let mut worst = worst.to_bits() as i128;
        let (count, most) = (configs.len() as i64, MAX_FIRS as i64);
        if count > most {
            let stage = Stage::Fir(MAX_FIRS as u8 + 1);
            return Err(ConfigError::new(stage, "number of stages", count, 0, most));
        }
        let (mut rest, mut number, mut taps) = (configs, 0, 0);
        while let [config, later @ ..] = rest {
            rest = later;
            number += 1;
            let room;
            (worst, room) = attempt!(plan.add(config, Stage::Fir(number), worst));
            taps += room;
        }
        let last = Stage::Fir(number);
        let quantity = "taps of all stages, for which there are TAPS";
        attempt!(ConfigError::check(last, quantity, taps as i64, 0, TAPS as i64));
        let quantity = "open outputs of all stages, for which there are OPEN";
        attempt!(ConfigError::check(last, quantity, plan.layout.open as i64, 0, OPEN as i64));
        let (mut shapes, mut rest, mut n) = ([(0, 0); MAX_FIRS], configs, 0);
        while let [FirConfig { ratio, taps, .. }, later @ ..] = rest {
            shapes[n] = (*ratio, taps.len());
            (rest, n) = (later, n + 1);
        }
        plan.layout.pieces = pieces(shapes.split_at(n).0, channels);
        Ok(plan)
    }

    /// Checks one stage and adds it; the largest word behind it, and room that its taps take. Where
    /// there is no room, only the count goes on.
    const fn add(
        &mut self,
        config: &FirConfig<'_>,
        stage: Stage,
        worst: i128,
    ) -> Result<(i128, usize), ConfigError> {
        let FirConfig { ratio, taps, scale_bits } = *config;
        attempt!(ConfigError::check(stage, "ratio", ratio as i64, 1, 4096));
        attempt!(ConfigError::check(stage, "taps", taps.len() as i64, 1, TAPS as i64));
        attempt!(ConfigError::check(stage, "scale bits", scale_bits as i64, 0, 30));
        let (mut rest, mut total) = (taps, 0);
        while let [tap, later @ ..] = rest {
            total += tap.unsigned_abs() as i64;
            rest = later;
        }
        attempt!(ConfigError::check(stage, "sum of |taps|", total, 1, (1 << 32) - 1));
        let worst = shift_round(worst * total as i128, scale_bits as u32);
        let thousandths = ((worst * 1000) >> 52) as i64;
        let quantity = "worst-case word, thousandths";
        attempt!(ConfigError::check(stage, quantity, thousandths, 0, 7999));

        let (first_tap, first_open) = (self.taps.len(), self.layout.open);
        // Not zero: see above; the compiler sees it here.
        let ratio = if ratio > 0 { ratio as usize } else { 1 };
        let outputs = taps.len().div_ceil(ratio);
        let mut input = 0;
        while input < ratio {
            let mut output = 0;
            while output < outputs {
                let at = output * ratio + ratio - 1 - input;
                let tap = if at < taps.len() { taps[at] } else { 0 };
                let _ = self.taps.push(tap);
                output += 1;
            }
            input += 1;
        }
        self.layout.open += outputs * self.layout.channels;
        let scale = scale_bits as u32;
        let made = FirStage { ratio: ratio as u32, scale, first_tap, first_open, outputs };
        // There is room: the stages were counted.
        let _ = self.layout.stages.push(made);
        Ok((worst, ratio * outputs))
    }
}

/// Twice the delay of a slow signal in a stage, in units of 1/`spacing` of its inputs' distance: twice the
/// taps' centre of mass, sum n h\[n\] / sum h\[n\], to the nearest whole number, half to even. Taps that
/// are their own mirror have it in their middle, exactly; so is it taken where the sum, the gain at zero
/// frequency, is not above zero.
///
/// |sum n h| < 2^32 x 2^32 as |h| sum up to less than 2^32, `spacing` up to 2^44: exact in `i128`.
pub(crate) const fn delay(taps: &[i32], spacing: u64) -> u64 {
    let (mut rest, mut n, mut sum, mut moment) = (taps, 0i128, 0i128, 0i128);
    while let [tap, later @ ..] = rest {
        sum += *tap as i128;
        moment += n * *tap as i128;
        n += 1;
        rest = later;
    }
    let last = (taps.len() as u64).saturating_sub(1) * spacing;
    match divide_round(2 * moment * spacing as i128, sum) {
        // Taps of both signs can have it anywhere.
        Some(delay) if delay < 0 => 0,
        Some(delay) if delay > 2 * last as i128 => 2 * last,
        Some(delay) => delay as u64,
        None => last,
    }
}

#[cfg(test)]
mod tests {
    use super::delay;

    #[test]
    fn twice_the_centre_of_mass() {
        assert_eq!(delay(&[3, 5, 5, 3], 10), 30);
        assert_eq!(delay(&[i32::MAX; 4096], 1 << 40), 4095 << 40);
        assert_eq!(delay(&[7], 10), 0);
        // 2 x 100 x 1/4 and 2 x 100 x 3/4; 2 x 1/4 and 2 x 3/4, half to even; 2 x 10/3.
        assert_eq!([&[3, 1], &[1, 3]].map(|taps| delay(taps, 100)), [50, 150]);
        assert_eq!([&[3, 1], &[1, 3]].map(|taps| delay(taps, 1)), [0, 2]);
        assert_eq!(delay(&[2, 1], 10), 7);
        // Outside of the taps, as far as a stage of their length may be off; no gain: the middle.
        assert_eq!(delay(&[-1, 3, 0], 10), 30);
        assert_eq!(delay(&[3, -1, 0], 10), 0);
        assert_eq!(delay(&[-8, 0, 9], 10), 40);
        assert_eq!([&[1, -1], &[-2, 1]].map(|taps| delay(taps, 10)), [10, 10]);
    }
}
