//! What of a plan costs instructions, and how many.

use super::Coefficients;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::cic::MAX_ORDER;
use quietgap_core::config::{FrontEndConfig, ReadoutConfig};
use quietgap_core::fir::pieces;
use quietgap_core::front_end::{folding, register_bits, section_length, word_shift};
use quietgap_core::position::ROUNDS;
use quietgap_core::section::Folding;

/// Most rounds of a reading at up to 0.3 of the gap and 1 mrad on all axes at once, no two electrodes alike
/// (`tests/outside_housing.rs`); at the centre it takes two.
pub const USUAL_ROUNDS: f64 = 9.0;

/// What of a plan costs instructions.
#[derive(Debug, Clone)]
pub struct Shape {
    /// Channels.
    pub channels: f64,
    /// Front-end ratio.
    pub ratio: f64,
    /// Of a folded front end.
    folding: Option<Folding>,
    /// Samples of each section of an interval.
    sections: Vec<u32>,
    /// Intervals of the CIC that add to outputs to come.
    pending: f64,
    /// Ratio and taps of each FIR stage.
    stages: Vec<(f64, f64)>,
    bridges: f64,
    axes: f64,
    /// That move, of the housing.
    electrodes: f64,
    /// Order of the CIC.
    order: u8,
    /// It prunes.
    prunes: bool,
    /// Words are rounded the long way.
    long_shift: bool,
    /// Bits that the CIC's register needs.
    register_bits: u32,
}

/// Instructions of one output interval of the front end (or one reading), by stage.
#[derive(Debug, Clone, Copy)]
pub struct Instructions {
    /// Mixer and first decimation of one interval.
    pub front_end: f64,
    /// FIR stages, mean of one interval.
    pub firs: f64,
    /// Bridges, axes, health: one reading.
    pub reading: f64,
    /// The same with the most rounds.
    pub reading_worst: f64,
    /// Handing blocks and phasors on, one interval.
    pub join: f64,
    /// FIR stages of the interval in which all give an output.
    pub firs_worst: f64,
    /// What the busiest interval without a reading takes beside its front end.
    pub busiest: f64,
    /// A second look at all codes of an interval: where nothing proves a folded one free of the converter's ends.
    pub look: f64,
}

fn dot(features: &[f64], coefficients: &[f64]) -> f64 {
    features.iter().zip(coefficients).map(|(f, c)| f * c).sum()
}

impl Shape {
    /// Of a readout's settings.
    #[must_use]
    pub fn of(config: &ReadoutConfig<'_>) -> Self {
        let front = config.front_end;
        let firs = config.firs.iter().map(|f| (f.ratio, f.taps.len())).collect::<Vec<_>>();
        let (carrier, channels) = (config.carrier, config.alignments.len());
        let mut shape = Self::filters(carrier, front, config.code_bits.into(), channels, &firs);
        shape.bridges = config.bridges.len() as f64;
        shape.axes = config.axes.axes.count_ones().into();
        shape.electrodes = config.electrodes.len() as f64;
        shape
    }

    /// Of the filters alone, codes to phasors at the output rate; `firs` are ratios and numbers of
    /// taps.
    #[must_use]
    pub fn filters(
        carrier: CarrierRatio,
        front: FrontEndConfig,
        code_bits: u32,
        channels: usize,
        firs: &[(u16, usize)],
    ) -> Self {
        let folded = folding(carrier, front, code_bits);
        let length = section_length(front, code_bits, folded).max(1);
        let mut sections = Vec::new();
        let mut left = u32::from(front.ratio);
        while left > 0 {
            sections.push(length.min(left));
            left -= length.min(left);
        }
        let pending = f64::from(front.order) * f64::from(front.differential_delay) - 1.0;
        Self {
            channels: channels as f64,
            ratio: front.ratio.into(),
            folding: folded,
            sections,
            pending,
            stages: firs.iter().map(|(ratio, taps)| (f64::from(*ratio), *taps as f64)).collect(),
            bridges: 0.0,
            axes: 0.0,
            electrodes: 0.0,
            order: front.order,
            prunes: front.pruned_bits > 0,
            long_shift: word_shift(front, code_bits, folded).is_long(),
            register_bits: register_bits(front, code_bits, folded),
        }
    }

    /// Whether the coefficients were fitted to such plans: those that a board's register of 64 bits
    /// takes. Any other costs more.
    #[must_use]
    pub fn is_fitted(&self) -> bool {
        self.register_bits <= 64
    }

    /// Bits that the CIC's register needs.
    #[must_use]
    pub fn register_bits(&self) -> u32 {
        self.register_bits
    }

    /// Words of an interval, both components, that are rounded the long way.
    fn long_words(&self) -> f64 {
        if self.long_shift { 2.0 * self.channels } else { 0.0 }
    }

    /// Sums of an interval that are pruned, both components.
    fn pruned(&self) -> f64 {
        let sums = 2.0 * f64::from(self.order) * self.channels * self.sections.len() as f64;
        if self.prunes { sums } else { 0.0 }
    }

    /// The same front end before other FIR stages.
    #[must_use]
    pub fn with_stages(&self, stages: Vec<(f64, f64)>) -> Self {
        Self { stages, ..self.clone() }
    }

    /// Whether the front end folds.
    #[must_use]
    pub fn is_folded(&self) -> bool {
        self.folding.is_some()
    }

    /// Columns per channel of a folded front end.
    fn columns(&self) -> Option<u32> {
        self.folding.map(|folding| folding.columns)
    }

    /// Front-end intervals from one reading to the next.
    #[must_use]
    pub fn intervals(&self) -> f64 {
        self.stages.iter().map(|s| s.0).product()
    }

    /// Counts of a folded interval: itself, channels, sections, section x channel, its columns; rows x pairs of columns in
    /// turns of eight rows, the same of wide rows, rows x single columns in any of them; groups of columns; leftover rows x
    /// columns, columns of sections that have such rows; channels x intervals that the CIC keeps, where that is more than one;
    /// sections behind the first x channel; sums pruned; words rounded the long way.
    #[must_use]
    pub fn folded(&self) -> [f64; 15] {
        let (c, k) = (self.channels, f64::from(self.columns().unwrap_or(1)));
        let mut f = [0.0; 15];
        (f[0], f[1]) = (1.0, c);
        f[11] = if self.pending > 1.0 { c * self.pending } else { 0.0 };
        f[12] = c * (self.sections.len() as f64 - 1.0);
        [f[13], f[14]] = [self.pruned(), self.long_words()];
        let columns = c * k;
        let (pairs, single) = ((columns / 2.0).floor(), columns % 2.0);
        // A double load reaches 1020 bytes either way: the eight rows of a turn.
        let kind = if columns <= 72.0 { 5 } else { 6 };
        for section in &self.sections {
            let rows = f64::from(*section) / k;
            let (turns, rest) = ((rows / 8.0).floor(), rows % 8.0);
            f[2] += 1.0;
            f[3] += c;
            f[4] += columns;
            f[kind] += turns * 8.0 * pairs;
            f[7] += turns * 8.0 * single;
            f[8] += if turns > 0.0 { pairs + single } else { 0.0 };
            f[9] += rest * columns;
            f[10] += if rest > 0.0 { columns } else { 0.0 };
        }
        f
    }

    /// Counts of a mixed interval: itself, channels, sections, section x channel, samples by pairs in turns of eight of
    /// them, by pairs that are left over, one by one; sections behind the first x channel, sums pruned, words rounded the long
    /// way.
    #[must_use]
    pub fn mixed(&self) -> [f64; 10] {
        let c = self.channels;
        let later = c * (self.sections.len() as f64 - 1.0);
        let mut f = [1.0, c, 0.0, 0.0, 0.0, 0.0, 0.0, later, 0.0, 0.0];
        [f[8], f[9]] = [self.pruned(), self.long_words()];
        let whole = self.sections.first().copied().unwrap_or(0);
        for &section in &self.sections {
            f[2] += 1.0;
            f[3] += c;
            // Order 2 alone has pairs, about the middle of a whole section.
            let pairs = if self.order == 2 && section == whole { (section - 1) / 2 } else { 0 };
            f[4] += c * f64::from(2 * (pairs / 8 * 8));
            f[5] += c * f64::from(2 * (pairs % 8));
            f[6] += c * f64::from(section - 2 * pairs);
        }
        f
    }

    /// Counts of the FIR stages for each of their inputs, on the average: stages, these x channels,
    /// open outputs x channels, closings, these x channels.
    #[must_use]
    pub fn firs(&self) -> [f64; 5] {
        self.fir_counts(false)
    }

    fn fir_counts(&self, worst: bool) -> [f64; 5] {
        let (c, mut rate, mut f) = (self.channels, 1.0, [0.0; 5]);
        for (ratio, taps) in &self.stages {
            f[0] += rate;
            f[1] += rate * c;
            f[2] += rate * (taps / ratio).ceil() * c;
            rate = if worst { 1.0 } else { rate / ratio };
            f[3] += rate;
            f[4] += rate * c;
        }
        f
    }

    /// Counts of what the busiest interval without a reading does beside the front end and the first FIR stage's input:
    /// itself, pieces of the later stages' work, channels where there are such stages.
    #[must_use]
    pub fn busiest(&self) -> [f64; 3] {
        let stages: Vec<_> =
            self.stages.iter().map(|(ratio, taps)| (*ratio as u16, *taps as usize)).collect();
        let pieces = pieces(&stages, self.channels as usize);
        [1.0, pieces.into(), if pieces > 0 { self.channels } else { 0.0 }]
    }

    /// Counts of [`Self::firs`] of an input to the first stage that closes no output.
    #[must_use]
    pub fn first_fir(&self) -> [f64; 5] {
        let open = self.stages.first().map_or(0.0, |(ratio, taps)| (taps / ratio).ceil());
        [1.0, self.channels, open * self.channels, 0.0, 0.0]
    }

    /// Counts of a reading that takes so many rounds: itself, bridges (with alignment), these x axes,
    /// taps and carrier values that are summed up as a check; rounds behind the first x bridges,
    /// rounds x electrodes.
    #[must_use]
    pub fn reading(&self, rounds: f64) -> [f64; 7] {
        let table = self.columns().unwrap_or(self.sections.first().copied().unwrap_or(0)).into();
        let (b, later) = (self.bridges, rounds - 1.0);
        [1.0, b, b * self.axes, self.taps(), table, later * b, rounds * self.electrodes]
    }

    /// Rounds that a reading is counted with: without electrodes one; [`USUAL_ROUNDS`] else, and
    /// the core's most in the worst interval.
    #[must_use]
    pub fn rounds(&self) -> [f64; 2] {
        if self.electrodes > 0.0 { [USUAL_ROUNDS, ROUNDS as f64] } else { [1.0; 2] }
    }

    /// Taps in memory, zeros among them where a stage's are not a multiple of its ratio.
    fn taps(&self) -> f64 {
        self.stages.iter().map(|(ratio, taps)| ratio * (taps / ratio).ceil()).sum()
    }

    /// Counts of what joins the stages in an interval: itself, channels.
    #[must_use]
    pub fn join(&self) -> [f64; 2] {
        [1.0, self.channels]
    }

    /// Instructions by stage, of readings that take the usual rounds.
    #[must_use]
    pub fn instructions(&self, coefficients: &Coefficients) -> Instructions {
        self.instructions_at(coefficients, self.rounds()[0])
    }

    /// Instructions by stage, of readings that take so many rounds on the average.
    #[must_use]
    pub fn instructions_at(&self, coefficients: &Coefficients, rounds: f64) -> Instructions {
        let firs = |counts: [f64; 5]| {
            if self.stages.is_empty() { 0.0 } else { dot(&counts, &coefficients.firs) }
        };
        let order = usize::from(self.order).clamp(1, MAX_ORDER) - 1;
        let front_end = if self.is_folded() {
            dot(&self.folded(), &coefficients.folded[order])
        } else {
            dot(&self.mixed(), &coefficients.mixed[order])
        };
        Instructions {
            front_end,
            firs: firs(self.firs()),
            reading: dot(&self.reading(rounds), &coefficients.reading),
            reading_worst: dot(&self.reading(self.rounds()[1].max(rounds)), &coefficients.reading),
            join: dot(&self.join(), &coefficients.join),
            firs_worst: firs(self.fir_counts(true)),
            busiest: firs(self.first_fir()) + dot(&self.busiest(), &coefficients.busiest),
            look: if self.is_folded() {
                coefficients.look * self.ratio * self.channels
            } else {
                0.0
            },
        }
    }
}

impl Instructions {
    /// Of the filters alone, per sample and channel.
    #[must_use]
    pub fn filters_per_sample(&self, shape: &Shape) -> f64 {
        (self.front_end + self.firs + self.join) / (shape.ratio * shape.channels)
    }

    /// Of the whole chain, mean of an interval.
    #[must_use]
    pub fn chain(&self, shape: &Shape) -> f64 {
        self.front_end + self.firs + self.join + self.reading / shape.intervals()
    }

    /// Of the busiest interval in which no reading is due: later FIR stages' work is spread over such.
    #[must_use]
    pub fn busiest(&self) -> f64 {
        self.front_end + self.busiest
    }

    /// Of the interval in which every stage gives an output, of a reading that takes the most rounds, its codes looked at
    /// twice.
    #[must_use]
    pub fn worst(&self) -> f64 {
        self.front_end + self.look + self.firs_worst + self.join + self.reading_worst
    }
}
