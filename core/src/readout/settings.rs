//! What settings of the slow stages must keep to, so that no word of theirs overflows, and how a
//! change of any in memory is noticed.

use super::Readout;
use crate::config::{BridgeConfig, BridgeKind, MAX_RANGE, MonitorConfig, ReadoutConfig};
use crate::error::{ConfigError, Stage};
use crate::front_end::way::Way;
use crate::guard::Checksum;
use crate::list::List;
use crate::word::{Fraction, Register, Word};

/// Alignments, bridges and monitor.
///
/// # Errors
/// [`ConfigError`]: the stage, the quantity, its value and what is allowed.
pub(super) fn check(config: &ReadoutConfig<'_>) -> Result<(), ConfigError> {
    let channels = config.alignments.len();
    for alignment in config.alignments {
        // Cosine and sine of one angle: a longer pair could overflow, a shorter one lose gain.
        let [c, s] = [alignment.cosine, alignment.sine].map(|x| i128::from(x.to_bits()));
        let square = crate::word::saturate((c * c).saturating_add(s * s) >> 62, i64::MAX).0;
        let (one, slack) = (Fraction::ONE.to_bits(), 1 << 42);
        let quantity = "alignment's cosine and sine squared, Q2.62";
        ConfigError::check(Stage::Converter, quantity, square, one - slack, one + slack)?;
    }
    for (bridge, number) in config.bridges.iter().zip(1u8..) {
        check_bridge(bridge, Stage::Bridge(number), channels)?;
    }
    if let Some(monitor) = &config.monitor {
        let check = |quantity, given, min, max| {
            ConfigError::check(Stage::Monitor, quantity, given, min, max)
        };
        check("channel", monitor.channel.into(), 0, channels as i64 - 1)?;
        check("calibration word", monitor.calibration.to_bits(), 1 << 30, 1 << 55)?;
        check("weak level word", monitor.weak.to_bits(), 0, 1 << 55)?;
        check("lost level word", monitor.lost.to_bits(), 0, monitor.weak.to_bits())?;
    }
    Ok(())
}

/// An `Option` has a mark that a flipped bit would make unlike any; a list's length has not.
pub(super) fn monitor_list(monitor: Option<MonitorConfig>) -> List<MonitorConfig, 1> {
    let none =
        MonitorConfig { channel: 0, calibration: Word::ZERO, weak: Word::ZERO, lost: Word::ZERO };
    let mut list = List::empty(none);
    let _ = monitor.map(|monitor| list.push(monitor));
    list
}

fn check_bridge(bridge: &BridgeConfig, stage: Stage, channels: usize) -> Result<(), ConfigError> {
    let check = |quantity, given, min, max| ConfigError::check(stage, quantity, given, min, max);
    let last = channels as i64 - 1;
    // Words within ±8 and at least 2^-22 of full scale, so that ratios keep their digits.
    match bridge.kind {
        BridgeKind::Difference { channel, full, imbalance, share } => {
            check("channel", channel.into(), 0, last)?;
            check("full-bridge word", full.to_bits(), 1 << 30, 1 << 55)?;
            check("imbalance, Q2.62", imbalance.to_bits(), -(1 << 62), 1 << 62)?;
            check("share of the mass's capacitance, Q2.62", share.to_bits(), 0, 1 << 62)?;
        }
        BridgeKind::Separate { channels: [a, b], strays, least_sum } => {
            check("channel of electrode 1", a.into(), 0, last)?;
            check("channel of electrode 2", b.into(), 0, last)?;
            check("stray word", strays[0].to_bits(), 0, 1 << 55)?;
            check("stray word", strays[1].to_bits(), 0, 1 << 55)?;
            check("least sum word", least_sum.to_bits(), 1 << 30, 1 << 57)?;
        }
    }
    check("gap, am", bridge.gap_am, 1, 1_000_000_000_000_000_000)?;
    check("offset, am", bridge.offset_am, -bridge.gap_am, bridge.gap_am)?;
    check("range, Q2.62", bridge.range.to_bits(), 1, MAX_RANGE.to_bits())?;
    check("quadrature limit, Q2.62", bridge.quadrature.to_bits(), 0, i64::MAX)
}

impl<
    const ORDER: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    R: Register,
    W: Way<ORDER>,
> Readout<ORDER, CHANNELS, COLUMNS, TAPS, OPEN, R, W>
{
    /// Sum of all that never changes.
    #[inline(never)]
    pub(super) fn sum_up(&self) -> Checksum {
        let mut sum = Checksum::default();
        self.front_end.check(&mut sum);
        self.firs.check(&mut sum);
        sum.add_size(self.alignments.len());
        for alignment in self.alignments.iter() {
            sum.add_long(alignment.cosine.to_bits());
            sum.add_long(alignment.sine.to_bits());
        }
        sum.add_size(self.monitor.len());
        for monitor in self.monitor.iter() {
            sum.add(monitor.channel.into());
            [monitor.calibration, monitor.weak, monitor.lost]
                .iter()
                .for_each(|word| sum.add_long(word.to_bits()));
        }
        sum.add_size(self.bridges.len());
        self.bridges.iter().for_each(|bridge| bridge.check(&mut sum));
        self.axes.check(&mut sum);
        sum.add_long(self.interval as i64);
        sum.add_long(self.span as i64);
        sum
    }
}
