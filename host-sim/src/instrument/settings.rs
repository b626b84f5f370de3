//! Settings of the core for a sensor: everything as the integers firmware would hold.

use super::carrier_gain::carrier_gain;
use super::design::{Design, is_difference};
use super::file::{PathFile, PlanFile, SensorFile, WatchFile};
use fixed::traits::{FromFixed, ToFixed};
use quietgap_core::CarrierRatio;
use quietgap_core::carrier::MAX_PERIOD;
use quietgap_core::config::{
    Alignment, AxesConfig, BridgeConfig, BridgeKind, FirConfig, FrontEndConfig, MAX_RANGE,
    MonitorConfig, Path, ReadoutConfig, Watch,
};
use quietgap_core::front_end::words_per_code;
use quietgap_core::word::{Coefficient, Fraction, Word};

/// Owned settings; [`Self::with_config`] lends them to the core.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Bits of a code.
    pub code_bits: u8,
    /// Carrier over sample rate.
    pub carrier: CarrierRatio,
    /// First decimation.
    pub front_end: FrontEndConfig,
    /// Ratio, scale and taps of each FIR stage.
    pub firs: Vec<(u16, u8, Vec<i32>)>,
    /// Alignment of each channel.
    pub alignments: Vec<Alignment>,
    /// Monitor.
    pub monitor: Option<MonitorConfig>,
    /// Bridges.
    pub bridges: Vec<BridgeConfig>,
    /// axes x bridges, row by row.
    pub solve: Vec<Coefficient>,
    /// bridges x axes, row by row.
    pub geometry: Vec<Coefficient>,
    /// Number of axes.
    pub axes: u8,
    /// Largest disagreement of a bridge with the axes, attometres.
    pub residual_am: i64,
    /// Steps of a word per code of amplitude, at the output.
    pub words_per_code: f64,
}

/// Nearest fixed-point value, saturated: the core's own checks then refuse it.
fn nearest<F: FromFixed + fixed::traits::Fixed>(x: f64) -> F {
    x.saturating_to_fixed()
}

fn attometres(metres: f64) -> i64 {
    (metres * 1e18).round() as i64
}

impl Settings {
    /// Works the settings out of a checked sensor.
    #[must_use]
    pub fn new(file: &SensorFile, plan: &PlanFile, design: &Design) -> Self {
        let front_end = FrontEndConfig::from(plan);
        let carrier = core_carrier(design.carrier)
            .expect("the carrier is checked to be above zero and below half the sample rate");
        let (gain, exponent) = words_per_code(front_end, file.converter.bits);
        let words_per_code = gain as f64
            * 2f64.powi(-exponent)
            * design.fir_gain
            * carrier_gain(carrier, front_end, file.converter.bits, design.signal_phase_rad);
        let word = |code: f64| Word::from_bits((code * words_per_code).round() as i64);
        let alignment =
            |phase: f64| Alignment { cosine: nearest(phase.cos()), sine: nearest(phase.sin()) };
        let channels = file
            .bridges
            .iter()
            .flat_map(|b| b.channel.into_iter().chain(b.channels.into_iter().flatten()));
        let channels = channels
            .chain(file.monitor.as_ref().map(|m| m.channel))
            .map(usize::from)
            .max()
            .map_or(0, |c| c + 1);
        let mut alignments = vec![alignment(0.0); channels];
        let mut bridges = Vec::new();
        for (b, bridge) in file.bridges.iter().enumerate() {
            let phase = design.alignment(file, b);
            for channel in bridge.channel.into_iter().chain(bridge.channels.into_iter().flatten()) {
                alignments[usize::from(channel)] = alignment(phase);
            }
            let a0 = design.calibrated_a0(file, b);
            let strays = design.stray_codes(file, b);
            let share = if file.mass.correct_polarisation {
                2.0 * design.c0_f[b] / design.total_f
            } else {
                0.0
            };
            let kind = if is_difference(file, b) {
                BridgeKind::Difference {
                    channel: bridge.channel.unwrap_or(0),
                    full: word(a0),
                    imbalance: nearest((strays[0] - strays[1]) / a0),
                    share: nearest(share),
                }
            } else {
                BridgeKind::Separate {
                    channels: bridge.channels.unwrap_or([0, 0]),
                    strays: strays.map(word),
                    // At rest the sum is a0; it only grows away from the centre.
                    least_sum: word(a0 * file.monitor.as_ref().map_or(0.1, |m| m.lost_fraction)),
                }
            };
            bridges.push(BridgeConfig {
                kind,
                gap_am: attometres(design.gap_m[b]),
                offset_am: attometres(bridge.offset_m),
                range: nearest::<Fraction>(file.health.range).min(MAX_RANGE),
                quadrature: nearest::<Fraction>(file.health.quadrature),
            });
        }
        let monitor = file.monitor.as_ref().map(|m| {
            let calibration = m.calibration_code.or(design.monitor_code).unwrap_or(1.0);
            MonitorConfig {
                channel: m.channel,
                calibration: word(calibration),
                weak: word(calibration * m.weak_fraction),
                lost: word(calibration * m.lost_fraction),
            }
        });
        let rows = |m: &nalgebra::DMatrix<f64>| -> Vec<Coefficient> {
            m.transpose().iter().map(|x| nearest(*x)).collect()
        };
        Self {
            code_bits: file.converter.bits as u8,
            carrier,
            front_end,
            firs: plan.firs.iter().map(|f| (f.ratio, f.scale_bits, f.taps.clone())).collect(),
            alignments,
            monitor,
            bridges,
            solve: rows(&design.solve),
            geometry: rows(&design.geometry),
            axes: design.axes.len() as u8,
            residual_am: attometres(file.axes.residual_m),
            words_per_code,
        }
    }

    /// Samples from one reading to the next.
    #[must_use]
    pub fn interval(&self) -> u64 {
        self.firs.iter().fold(self.front_end.ratio.into(), |n, f| n * u64::from(f.0))
    }

    /// Samples that one reading is made of.
    #[must_use]
    pub fn span(&self) -> u64 {
        let firs = self.firs.iter().map(|(ratio, _, taps)| (*ratio, taps.len()));
        spans(self.front_end, firs).iter().sum::<u64>() + 1
    }

    /// Lends the settings to `build` as the core takes them.
    pub fn with_config<T>(&self, build: impl FnOnce(&ReadoutConfig<'_>) -> T) -> T {
        let firs: Vec<FirConfig<'_>> = self
            .firs
            .iter()
            .map(|(ratio, scale_bits, taps)| FirConfig {
                ratio: *ratio,
                taps,
                scale_bits: *scale_bits,
            })
            .collect();
        build(&ReadoutConfig {
            code_bits: self.code_bits,
            carrier: self.carrier,
            front_end: self.front_end,
            firs: &firs,
            alignments: &self.alignments,
            monitor: self.monitor,
            bridges: &self.bridges,
            axes: AxesConfig {
                axes: self.axes,
                solve: &self.solve,
                geometry: &self.geometry,
                residual_am: self.residual_am,
            },
        })
    }
}

/// Samples of each stage's impulse response, less one: twice its delay. The CIC first, then FIR stages
/// of so many taps behind their ratios.
pub fn spans(front: FrontEndConfig, firs: impl Iterator<Item = (u16, usize)>) -> Vec<u64> {
    let boxcar = u64::from(front.ratio) * u64::from(front.differential_delay);
    let mut spans = vec![u64::from(front.order) * (boxcar - 1)];
    let mut interval = u64::from(front.ratio);
    for (ratio, taps) in firs {
        spans.push((taps as u64 - 1) * interval);
        interval *= u64::from(ratio);
    }
    spans
}

impl From<&PlanFile> for FrontEndConfig {
    fn from(plan: &PlanFile) -> Self {
        Self {
            order: plan.order,
            ratio: plan.ratio,
            differential_delay: plan.differential_delay,
            path: match plan.path {
                PathFile::Auto => Path::Auto,
                PathFile::Coherent => Path::Coherent,
                PathFile::General => Path::General,
            },
            watch: match plan.watch {
                WatchFile::EverySample => Watch::EverySample,
                WatchFile::Sparse => Watch::Sparse,
            },
            pruned_bits: plan.pruned_bits,
        }
    }
}

/// The core's carrier: exact where the period is short enough, else the nearest 2^-64 step; `None`
/// unless it is above zero and below half the sample rate.
#[must_use]
pub fn core_carrier(ratio: super::design::CarrierRatio) -> Option<CarrierRatio> {
    let carrier = if ratio.samples <= MAX_PERIOD {
        CarrierRatio::coherent(ratio.cycles as u32, ratio.samples as u32)
    } else {
        let turns = (u128::from(ratio.cycles) << 64) + u128::from(ratio.samples) / 2;
        CarrierRatio::from_step((turns / u128::from(ratio.samples)) as u64)
    };
    carrier.ok()
}
