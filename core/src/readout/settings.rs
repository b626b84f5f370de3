//! Settings of the slow stages: what they must keep to, so that no word of theirs overflows, and how
//! a change of any in memory is noticed.

use crate::axes::Axes;
use crate::bridge::Bridge;
use crate::config::{
    Alignment, BridgeConfig, BridgeKind, ElectrodeConfig, MAX_RANGE, MonitorConfig, ReadoutConfig,
};
use crate::coupling::Coupling;
use crate::error::{ConfigError, Stage, attempt};
use crate::guard::Checksum;
use crate::housing::Housing;
use crate::list::List;
use crate::word::{Fraction, Word, divide_long, saturate};

/// Constants of phase alignment, monitor, bridges and axes, and the readings' times.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Settings<const CHANNELS: usize> {
    pub alignments: List<Alignment, CHANNELS>,
    /// At most one. An `Option` has a mark that a flipped bit would make unlike any; a list's length
    /// has not.
    pub monitor: List<MonitorConfig, 1>,
    /// As many as there are channels, at most.
    pub bridges: List<Bridge, CHANNELS>,
    pub coupling: Coupling<CHANNELS>,
    pub housing: Housing<CHANNELS>,
    pub axes: Axes<CHANNELS>,
    /// Samples from one reading to the next, and length of the impulse response.
    pub interval: u64,
    pub span: u64,
    /// Half samples from the instant that a reading stands for to its last sample.
    pub delay: u64,
    /// Intervals of the front end from one reading to the next.
    pub intervals: u32,
    /// Readings that a sample is part of.
    pub readings: u32,
}

impl<const CHANNELS: usize> Settings<CHANNELS> {
    /// Of no plan.
    pub const NONE: Self = Self {
        alignments: List::empty(Alignment { cosine: Fraction::ZERO, sine: Fraction::ZERO }),
        monitor: List::empty(MonitorConfig {
            channel: 0,
            calibration: Word::ZERO,
            weak: Word::ZERO,
            lost: Word::ZERO,
            phase: Fraction::ZERO,
        }),
        bridges: List::empty(Bridge::NONE),
        coupling: Coupling::NONE,
        housing: Housing::NONE,
        axes: Axes::NONE,
        interval: 0,
        span: 0,
        delay: 0,
        intervals: 0,
        readings: 0,
    };

    /// Checks and copies. `intervals` of the front end, below 2^32, from one reading to the next,
    /// `span` samples to a reading, which stands for an instant `delay` half samples before its last.
    ///
    /// # Errors
    /// [`ConfigError`]: the stage, the quantity, its value and what is allowed.
    pub const fn new(
        config: &ReadoutConfig<'_>,
        intervals: u64,
        span: u64,
        delay: u64,
    ) -> Result<Self, ConfigError> {
        let channels = config.alignments.len();
        let mut rest = config.alignments;
        while let [alignment, later @ ..] = rest {
            attempt!(check_alignment(alignment));
            rest = later;
        }
        let Self { mut bridges, mut monitor, .. } = Self::NONE;
        let (mut rest, mut number) = (config.bridges, 0u8);
        while let [bridge, later @ ..] = rest {
            number = number.saturating_add(1);
            attempt!(check_bridge(bridge, Stage::Bridge(number), channels));
            // The axes refuse more than there is room for.
            let _ = bridges.push(Bridge::new(bridge));
            rest = later;
        }
        if let Some(given) = &config.monitor {
            attempt!(check_monitor(given, channels));
            // There is room for one.
            let _ = monitor.push(*given);
        }
        let axes = attempt!(Axes::new(&config.axes, config.bridges.len()));
        let (count, most) = (config.bridges.len() as i64, channels as i64);
        attempt!(ConfigError::check(Stage::Axes, "bridges", count, 1, most));
        let coupling = attempt!(Coupling::new(config.cross_coupling, config.bridges));
        let housing = attempt!(housing(config.electrodes, config.bridges.len()));
        let Some(alignments) = List::from_slice(config.alignments) else {
            let (given, max) = (channels as i64, CHANNELS as i64);
            return Err(ConfigError::new(Stage::Converter, "channels", given, 1, max));
        };
        let interval = config.front_end.ratio as u64 * intervals;
        let readings = divide_long(span + interval - 1, interval).0 as u32;
        let intervals = intervals as u32;
        Ok(Self {
            alignments,
            monitor,
            bridges,
            coupling,
            housing,
            axes,
            interval,
            span,
            delay,
            intervals,
            readings,
        })
    }

    /// Sums up what never changes.
    pub fn check(&self, sum: &mut Checksum) {
        let Self { alignments, monitor, bridges, coupling, housing, axes, .. } = self;
        let Self { interval, span, delay, intervals, readings, .. } = self;
        sum.add_size(alignments.len());
        for alignment in alignments.iter() {
            sum.add_long(alignment.cosine.to_bits());
            sum.add_long(alignment.sine.to_bits());
        }
        sum.add_size(monitor.len());
        for MonitorConfig { channel, calibration, weak, lost, phase } in monitor.iter() {
            sum.add(u32::from(*channel));
            sum.add_long(phase.to_bits());
            [calibration, weak, lost].iter().for_each(|word| sum.add_long(word.to_bits()));
        }
        sum.add_size(bridges.len());
        bridges.iter().for_each(|bridge| bridge.check(sum));
        coupling.check(sum);
        housing.check(sum);
        axes.check(sum);
        sum.add_long(*interval as i64);
        sum.add_long(*span as i64);
        sum.add_long(*delay as i64);
        sum.add(*intervals);
        sum.add(*readings);
    }
}

/// Cosine and sine of one angle: a longer pair could overflow, a shorter one lose gain.
const fn check_alignment(alignment: &Alignment) -> Result<(), ConfigError> {
    let (c, s) = (alignment.cosine.to_bits() as i128, alignment.sine.to_bits() as i128);
    let (square, _) = saturate((c * c).saturating_add(s * s) >> 62, i64::MAX);
    let (one, slack) = (Fraction::ONE.to_bits(), 1 << 42);
    let quantity = "alignment's cosine and sine squared, Q2.62";
    ConfigError::check(Stage::Converter, quantity, square, one - slack, one + slack)
}

const fn check_monitor(monitor: &MonitorConfig, channels: usize) -> Result<(), ConfigError> {
    const STAGE: Stage = Stage::Monitor;
    let (last, weak) = (channels as i64 - 1, monitor.weak.to_bits());
    let calibration = monitor.calibration.to_bits();
    attempt!(ConfigError::check(STAGE, "channel", monitor.channel as i64, 0, last));
    attempt!(ConfigError::check(STAGE, "calibration word", calibration, 1 << 30, 1 << 55));
    attempt!(ConfigError::check(STAGE, "weak level word", weak, 0, 1 << 55));
    attempt!(ConfigError::check(STAGE, "lost level word", monitor.lost.to_bits(), 0, weak));
    let phase = monitor.phase.to_bits();
    ConfigError::check(STAGE, "sine of the phase, Q2.62", phase, 0, 1 << 62)
}

/// Words within ±8 and at least 2^-22 of full scale, so that ratios keep their digits.
const fn check_bridge(
    bridge: &BridgeConfig,
    stage: Stage,
    channels: usize,
) -> Result<(), ConfigError> {
    macro_rules! within {
        ($quantity:expr, $given:expr, $min:expr, $max:expr) => {
            attempt!(ConfigError::check(stage, $quantity, $given, $min, $max))
        };
    }
    let last = channels as i64 - 1;
    match &bridge.kind {
        BridgeKind::Difference { channel, full } => {
            within!("channel", *channel as i64, 0, last);
            within!("full-bridge word", full.to_bits(), 1 << 30, 1 << 55);
        }
        BridgeKind::Separate { channels: [a, b], least_sum } => {
            within!("channel of electrode 1", *a as i64, 0, last);
            within!("channel of electrode 2", *b as i64, 0, last);
            within!("least sum word", least_sum.to_bits(), 1 << 30, 1 << 57);
        }
    }
    let ([s1, s2], [w1, w2], [d1, d2]) = (bridge.strays, bridge.weights, bridge.gaps);
    // Strays up to all of the pair's capacitance, electrodes and gaps up to a ratio of 3.
    within!("stray 1, Q2.62", s1.to_bits(), 0, 1 << 62);
    within!("stray 2, Q2.62", s2.to_bits(), 0, 1 << 62);
    within!("weight 1, Q2.62", w1.to_bits(), 1 << 60, 3 << 60);
    within!("weight 2, Q2.62", w2.to_bits(), 1 << 60, 3 << 60);
    within!("gap 1, Q2.62", d1.to_bits(), 1 << 61, 3 << 61);
    within!("gap 2, Q2.62", d2.to_bits(), 1 << 61, 3 << 61);
    within!("phase limit, Q2.62", bridge.phase.to_bits(), 0, 1 << 62);
    within!("quadrature's floor, Q2.62", bridge.floor.to_bits(), 0, i64::MAX);
    let gap = bridge.gap_am;
    within!("gap, am", gap, 1, 1_000_000_000_000_000_000);
    within!("offset, am", bridge.offset_am, -gap, gap);
    within!("range, Q2.62", bridge.range.to_bits(), 1, MAX_RANGE.to_bits());
    within!("quadrature limit, Q2.62", bridge.quadrature.to_bits(), 0, i64::MAX);
    Ok(())
}

/// As many electrodes as there is room for, those of every bridge among them.
const fn housing<const CHANNELS: usize>(
    electrodes: &[ElectrodeConfig],
    bridges: usize,
) -> Result<Housing<CHANNELS>, ConfigError> {
    const STAGE: Stage = Stage::Housing;
    let (count, most) = (electrodes.len() as i64, Housing::<CHANNELS>::MOST as i64);
    if count > 0 {
        attempt!(ConfigError::check(STAGE, "electrodes", count, 2 * bridges as i64, most));
    }
    let mut rest = electrodes;
    while let [electrode, later @ ..] = rest {
        let (gap, limit) = (electrode.gap_am, 1_000_000_000_000_000_000);
        attempt!(ConfigError::check(STAGE, "gap, am", gap, 1, limit));
        let [x, y, z] = electrode.position_am;
        attempt!(ConfigError::check(STAGE, "position, am", x, -limit, limit));
        attempt!(ConfigError::check(STAGE, "position, am", y, -limit, limit));
        attempt!(ConfigError::check(STAGE, "position, am", z, -limit, limit));
        let (mut normal, mut square): (&[Fraction], i128) = (&electrode.normal, 0);
        while let [part, others @ ..] = normal {
            square = square.saturating_add((part.to_bits() as i128) * (part.to_bits() as i128));
            normal = others;
        }
        let (one, slack) = (Fraction::ONE.to_bits(), 1 << 42);
        let (square, _) = saturate(square >> 62, i64::MAX);
        let quantity = "normal squared, Q2.62";
        attempt!(ConfigError::check(STAGE, quantity, square, one - slack, one + slack));
        let (share, drive) = (electrode.total_share.to_bits(), electrode.drive_share.to_bits());
        attempt!(ConfigError::check(STAGE, "share of all capacitance, Q2.62", share, 0, one));
        attempt!(ConfigError::check(STAGE, "share of the injection, Q2.62", drive, 0, one));
        rest = later;
    }
    Ok(Housing::new(electrodes))
}
