//! Plans for readouts of the image that are sized for them, to fit counts of instructions to, and to check
//! the fit with.

use super::{Case, sensor};
use quietgap_core::config::*;
use quietgap_core::section::Folding;
use quietgap_core::word::Coefficient;

/// Plans sized to their readouts, to fit the counts of instructions to; and, none of them among
/// the first, to check the fit with.
pub fn plans(check: bool) -> Vec<Case> {
    const LONG: &[(u16, usize)] = &[(10, 50), (4, 41)];
    const SHORT: &[(u16, usize)] = &[(8, 40)];
    const THREE: &[(u16, usize)] = &[(4, 21), (3, 12), (2, 30)];
    // Kind, channels, period (zero: not coherent), ratio, bits, FIR stages, differential delay.
    type Row = (i64, usize, u32, u16, u8, &'static [(u16, usize)], u8);
    const FIT: [Row; 55] = [
        (11, 1, 10, 160, 24, LONG, 1),
        (11, 1, 10, 120, 24, LONG, 1),
        (11, 1, 10, 130, 24, THREE, 1),
        (10, 1, 6, 96, 24, LONG, 1),
        (10, 1, 6, 72, 24, SHORT, 1),
        (12, 3, 10, 120, 24, LONG, 1),
        (13, 4, 8, 112, 24, LONG, 1),
        (15, 6, 4, 48, 24, SHORT, 1),
        (17, 4, 0, 150, 24, SHORT, 1),
        (17, 4, 0, 232, 24, LONG, 1),
        (17, 4, 0, 90, 24, THREE, 1),
        (3, 2, 0, 172, 20, LONG, 1),
        (18, 6, 12, 120, 24, LONG, 1),
        (18, 6, 12, 192, 22, SHORT, 1),
        (18, 6, 12, 240, 18, THREE, 1),
        (17, 4, 0, 220, 20, THREE, 1),
        (12, 3, 10, 180, 24, SHORT, 1),
        (12, 3, 10, 60, 24, LONG, 1),
        (15, 6, 4, 180, 24, SHORT, 1),
        (15, 6, 4, 64, 24, LONG, 1),
        (13, 4, 8, 200, 24, SHORT, 1),
        (16, 5, 6, 240, 24, SHORT, 1),
        (10, 1, 6, 240, 24, THREE, 1),
        (11, 1, 10, 160, 16, SHORT, 1),
        (17, 4, 0, 240, 24, LONG, 1),
        (3, 2, 0, 100, 24, THREE, 1),
        (4, 7, 0, 250, 24, SHORT, 1),
        (17, 4, 0, 64, 18, SHORT, 1),
        (14, 2, 16, 64, 20, SHORT, 1),
        (14, 2, 16, 192, 18, THREE, 1),
        (13, 4, 8, 160, 20, SHORT, 1),
        (13, 4, 8, 240, 18, LONG, 1),
        (12, 3, 10, 80, 20, THREE, 1),
        (15, 6, 4, 200, 16, SHORT, 1),
        (16, 5, 6, 240, 18, LONG, 1),
        (11, 1, 10, 160, 18, THREE, 1),
        (10, 1, 6, 120, 24, LONG, 1),
        (10, 1, 6, 60, 18, &[], 1),
        (11, 1, 10, 100, 24, SHORT, 1),
        (11, 1, 10, 240, 20, LONG, 1),
        (12, 3, 10, 160, 24, THREE, 1),
        (12, 3, 10, 250, 24, SHORT, 1),
        (13, 4, 8, 128, 24, LONG, 1),
        (13, 4, 8, 64, 16, THREE, 1),
        (14, 2, 16, 160, 24, SHORT, 1),
        (14, 2, 16, 256, 24, LONG, 1),
        (15, 6, 4, 128, 18, THREE, 1),
        (15, 6, 4, 60, 20, LONG, 1),
        (16, 5, 6, 120, 22, SHORT, 1),
        (16, 5, 6, 180, 20, THREE, 2),
        (12, 3, 10, 100, 20, LONG, 2),
        (17, 4, 0, 160, 24, LONG, 1),
        (17, 4, 0, 100, 20, SHORT, 1),
        (3, 2, 0, 250, 24, SHORT, 1),
        (4, 7, 0, 120, 24, THREE, 1),
    ];
    const CHECK: [Row; 7] = [
        (18, 6, 12, 156, 24, SHORT, 1),
        (12, 3, 10, 140, 24, LONG, 1),
        (13, 4, 8, 96, 24, SHORT, 1),
        (14, 2, 16, 128, 20, THREE, 1),
        (15, 6, 4, 56, 24, SHORT, 1),
        (11, 1, 10, 140, 24, LONG, 1),
        (17, 4, 0, 200, 24, THREE, 1),
    ];
    let rows: &[Row] = if check { &CHECK } else { &FIT };
    let mut cases = Vec::new();
    for &(kind, channels, period, ratio, code_bits, stages, delay) in rows {
        // The image's readouts are sized for half a period's columns, or an odd period's.
        let least = if period % 2 == 0 { period / 2 } else { period };
        let folding = (period > 0).then(|| Folding::new(period, ratio.into(), 2, code_bits.into()));
        if folding.flatten().is_some_and(|folding| folding.columns != least) {
            assert!(!check, "{kind}: {ratio} is one section of longer rows");
            continue;
        }
        let sized = Sized {
            kind,
            channels,
            period,
            order: 2,
            ratio,
            delay,
            code_bits,
            pruned_bits: 0,
            stages,
        };
        cases.push(sized.case());
    }
    cases
}

/// A plan for a readout of the image that is sized for it.
#[derive(Clone, Copy, Debug)]
pub struct Sized {
    pub kind: i64,
    pub channels: usize,
    /// Samples of a carrier period; zero where it is not coherent.
    pub period: u32,
    pub order: u8,
    pub ratio: u16,
    pub delay: u8,
    pub code_bits: u8,
    pub pruned_bits: u8,
    /// Ratio and number of taps of the FIR stages.
    pub stages: &'static [(u16, usize)],
}

impl Sized {
    /// The first decimation.
    pub fn front_end(&self) -> FrontEndConfig {
        FrontEndConfig {
            order: self.order,
            ratio: self.ratio,
            differential_delay: self.delay,
            path: Path::Auto,
            pruned_bits: self.pruned_bits,
        }
    }

    /// The carrier, as [`carrier`] takes it.
    pub fn raw_carrier(&self) -> (u64, u32) {
        if self.period > 0 { (1, self.period) } else { (0x1811_2233_4455_6677, 0) }
    }

    /// With codes and settings of the slow stages.
    pub fn case(&self) -> Case {
        let Self { kind, channels, order, ratio, code_bits, stages, .. } = *self;
        let (mut settings, _) = sensor("vault-two-bridge");
        settings.code_bits = code_bits;
        settings.front_end = self.front_end();
        settings.firs =
            stages.iter().map(|(r, n)| (*r, 20, vec![(1 << 20) / *n as i32; *n])).collect();
        settings.alignments = vec![settings.alignments[0]; channels];
        settings.bridges.truncate(channels);
        for (channel, bridge) in (0..).zip(&mut settings.bridges) {
            if let BridgeKind::Difference { channel: at, .. } = &mut bridge.kind {
                *at = channel;
            }
        }
        let bridges = settings.bridges.len();
        settings.axes = (1 << bridges) - 1;
        settings.cross_coupling.clear();
        settings.electrodes.clear();
        settings.solve = vec![Coefficient::lit("0.5"); bridges * bridges];
        settings.geometry = settings.solve.clone();
        let of_order = if order == 2 { String::new() } else { format!("order-{order}-") };
        let name = format!("{of_order}plan-{kind}-{ratio}-{code_bits}");
        let intervals = (8192 / (channels * usize::from(ratio))).clamp(1, 8);
        let frames = intervals * usize::from(ratio);
        let product: usize = stages.iter().map(|(r, _)| usize::from(*r)).product();
        let repeats = product * 800usize.div_ceil(product * intervals);
        Case::of_sensor(&name, kind, frames, repeats, settings, self.raw_carrier())
    }
}
