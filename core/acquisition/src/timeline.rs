//! **Numbers of samples that stay true.** A converter's samples have no time of their own: whoever counts them knows when they
//! were, as long as none is lost and none comes twice. Three things watch over that: the number that a block was given by the
//! interrupt, the counter that a converter may send with a frame, and the board's own clock.
//!
//! **By time.** A block's stamp less what its frames should have taken is its delay. A stamp may be late, never early, and of the
//! blocks of a *window* one at least must be on time, to a quarter of a sample (a timer that captures the DMA's end, or an
//! interrupt of high priority that is held up now and then): the least delay of a window is that of the clock. It stands still when all is well, goes up by a period for a sample
//! that is missing and down by one for a sample that came twice, and drifts when the converter's clock runs off. Steps that
//! end within [`WINDOWS`] windows are counted in samples; what goes on is a drift.

use crate::faults::Faults;
use quietgap_core::word::divide_round;

/// Windows that a drift is judged over.
pub const WINDOWS: u8 = 4;

/// The counter that a converter sends with its frames.
#[derive(Clone, Copy, Debug)]
pub struct Counter {
    span: u64,
    next: Option<u64>,
}

impl Counter {
    /// One that begins anew after `span` frames, a power of two ([`crate::Layout::counter_span`]); 1 for none.
    #[must_use]
    pub const fn new(span: u64) -> Self {
        Self { span, next: None }
    }

    /// Frames missing before the one that told `number`; below zero, frames that came twice. What is half the span and more
    /// cannot be told from the other.
    pub fn missing(&mut self, number: u32) -> i64 {
        let number = u64::from(number);
        let modulo = |n: u64| n & self.span.wrapping_sub(1);
        let expected = self.next.replace(modulo(number.wrapping_add(1))).unwrap_or(number);
        let ahead = modulo(number.wrapping_sub(expected));
        if ahead >= self.span.div_ceil(2) { ahead as i64 - self.span as i64 } else { ahead as i64 }
    }
}

/// How time is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock {
    /// Ticks of the stamps a second; 0 where there are none.
    pub ticks_hz: u32,
    /// Samples a second, in thousandths.
    pub rate_millihertz: u64,
    /// What the converter's clock may be off the board's, in parts of a million.
    pub most_ppm: u32,
    /// Blocks of a window.
    pub window: u16,
}

impl Clock {
    /// No stamps: samples are told by their numbers alone.
    pub const NONE: Self = Self { ticks_hz: 0, rate_millihertz: 0, most_ppm: 0, window: 0 };
}

/// Times of blocks against the number of their frames.
///
/// Delays are in 2^-16 ticks, `i64`: a window of 2^31 ticks is 2^47. A period is rounded to 2^-16 of a tick, half up, which at 100
/// ticks a sample and more is a drift below 0.1 in a million.
#[derive(Clone, Copy, Debug)]
pub struct Timeline {
    /// Ticks of a frame, Q.16.
    period: i64,
    clock: Clock,
    last: Option<u32>,
    /// Delay of the last block, and the least of this window, from the least of the window before.
    delay: i64,
    least: i64,
    /// Blocks and frames of this window.
    blocks: u16,
    frames: i64,
    /// A window has ended.
    begun: bool,
    /// How far the windows of a judgement went that hold no samples missing or twice, their frames, their number; whether the last
    /// such were too far.
    went: i64,
    of: i64,
    windows: u8,
    drifts: bool,
    /// What a window goes by a clock as it was; since when windows went further by a sample and more, and how far together.
    steady: i64,
    away: u8,
    beyond: i64,
}

/// What a block's time tells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Judged {
    /// Samples that are missing; below zero, samples that came twice.
    pub missing: i64,
    /// [`Faults::MISSED`], [`Faults::REPEATED`], [`Faults::CLOCK`].
    pub faults: Faults,
}

impl Timeline {
    /// Before the first block.
    #[must_use]
    pub const fn new(clock: Clock) -> Self {
        let period = if clock.rate_millihertz == 0 {
            0
        } else {
            let ticks = (clock.ticks_hz as u128 * 1000) << 17;
            // The divisor is not zero.
            match ticks.checked_div(clock.rate_millihertz as u128) {
                Some(twice) => (twice as i64 + 1) >> 1,
                None => 0,
            }
        };
        Self {
            period,
            clock,
            last: None,
            delay: 0,
            least: i64::MAX,
            blocks: 0,
            frames: 0,
            begun: false,
            went: 0,
            of: 0,
            windows: 0,
            drifts: false,
            steady: 0,
            away: 0,
            beyond: 0,
        }
    }

    /// Forgets all times: the next block is the first.
    pub fn restart(&mut self) {
        *self = Self::new(self.clock);
    }

    /// Takes the stamp of a block of `frames` frames, which follow on those of the block before.
    #[inline(never)]
    pub fn block(&mut self, stamp: u32, frames: u32) -> Judged {
        if self.period == 0 {
            return Judged::default();
        }
        let Some(last) = self.last.replace(stamp) else { return Judged::default() };
        let took = i64::from(stamp.wrapping_sub(last)) << 16;
        self.delay += took - i64::from(frames) * self.period;
        self.least = self.least.min(self.delay);
        self.frames += i64::from(frames);
        self.blocks += 1;
        if self.blocks < self.clock.window { Judged::default() } else { self.judge() }
    }

    /// A window is full: how far did it go?
    #[inline(never)]
    fn judge(&mut self) -> Judged {
        // The first window has nothing to be later than.
        let step = if self.begun { self.least } else { 0 };
        self.delay -= self.least;
        (self.least, self.blocks, self.begun) = (i64::MAX, 0, true);
        let frames = core::mem::take(&mut self.frames);
        let beyond = step - self.steady;
        let mut missing = 0;
        if nearest(beyond, self.period) != 0 {
            // Samples, or a clock that runs off from here on: windows to come tell which.
            self.away += 1;
            self.beyond += beyond;
        } else {
            missing = nearest(core::mem::take(&mut self.beyond), self.period);
            self.away = 0;
            // A clock's rate changes slowly.
            self.steady += beyond / 4;
            self.went += step;
            self.of += frames;
            self.windows += 1;
        }
        if self.away == WINDOWS {
            (self.steady, self.beyond, self.away) = (step, 0, 0);
        }
        if self.windows == WINDOWS {
            self.drifts = self.runs_off(self.went, self.of);
            (self.went, self.of, self.windows) = (0, 0, 0);
        }
        let runs_off = self.drifts || self.runs_off(self.steady, frames);
        if runs_off {
            // By such a clock no sample can be counted.
            missing = 0;
        }
        let faults = Faults::when(Faults::MISSED, missing > 0)
            | Faults::when(Faults::REPEATED, missing < 0)
            | Faults::when(Faults::CLOCK, runs_off);
        Judged { missing, faults }
    }

    /// Whether `went` is more than a clock may run off in `frames`. Both are taken in parts of 16 of a tick: below 2^37 x 2^20, as
    /// four windows of less than 2^31 ticks are below 2^33 ticks, and more is taken as that.
    fn runs_off(&self, went: i64, frames: i64) -> bool {
        let parts = |delay: i64| (delay >> 12).clamp(-(1 << 37), 1 << 37);
        let most = parts(frames.wrapping_mul(self.period)).wrapping_mul(self.clock.most_ppm.into());
        parts(went).abs().wrapping_mul(1_000_000) > most
    }
}

/// The whole number next to a / b, b above 0; half to even.
fn nearest(a: i64, b: i64) -> i64 {
    if 2 * a.abs() < b {
        // Nearly always.
        return 0;
    }
    divide_round(a.into(), b.into()).map_or(0, |n| n as i64)
}
