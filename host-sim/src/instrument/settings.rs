//! Settings of the core for a sensor: everything as the integers firmware would hold.

use super::carrier_gain::carrier_gain;
use super::design::{Design, housing, is_difference, rest_capacitance};
use super::file::{ElectrodeFile, PathFile, PlanFile, Role, SensorFile};
use fixed::traits::{FromFixed, ToFixed};
use quietgap_core::CarrierRatio;
use quietgap_core::carrier::MAX_PERIOD;
use quietgap_core::config::{
    Alignment, AxesConfig, BridgeConfig, BridgeKind, ElectrodeConfig, FirConfig, FrontEndConfig,
    MAX_RANGE, MonitorConfig, Path, ReadoutConfig,
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
    /// bridges x bridges, row by row: what is taken off for cross-coupling; none where there is none.
    pub cross_coupling: Vec<Fraction>,
    /// Electrodes: those of the bridges, then all others that the axes move.
    pub electrodes: Vec<ElectrodeConfig>,
    /// axes x bridges, row by row.
    pub solve: Vec<Coefficient>,
    /// bridges x axes, row by row.
    pub geometry: Vec<Coefficient>,
    /// Bit 0 to 5: x, y, z, theta, eta, phi.
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

/// Row by row.
fn rows<F: FromFixed + fixed::traits::Fixed>(matrix: &nalgebra::DMatrix<f64>) -> Vec<F> {
    matrix.transpose().iter().map(|x| nearest(*x)).collect()
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
        let words_per_code = gain as f64 * 2f64.powi(-exponent) * design.fir_gain;
        // A calibration holds for the carrier's rounded table at the phase that is aligned to.
        let word = |code: f64, phase: f64| {
            let gain = carrier_gain(carrier, front_end, file.converter.bits, phase);
            Word::from_bits((code * words_per_code * gain).round() as i64)
        };
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
            let strays = design.stray_shares(file, b);
            let kind = if is_difference(file, b) {
                BridgeKind::Difference {
                    channel: bridge.channel.unwrap_or(0),
                    full: word(a0, phase),
                }
            } else {
                let lost = file.monitor.as_ref().map_or(0.1, |m| m.lost_fraction);
                BridgeKind::Separate {
                    channels: bridge.channels.unwrap_or([0, 0]),
                    // At rest the sum is a0 and the strays; it only grows away from the centre.
                    least_sum: word(a0 * (1.0 + strays[0] + strays[1]) * lost, phase)
                        .max(Word::from_bits(1 << 30)),
                }
            };
            let [c1, c2] = design.c0_f[b];
            bridges.push(BridgeConfig {
                kind,
                strays: strays.map(nearest),
                weights: [c1 / (c1 + c2), c2 / (c1 + c2)].map(nearest),
                gaps: design.gaps_m[b].map(|gap| nearest(gap / design.gap_m[b])),
                gap_am: attometres(design.gap_m[b]),
                offset_am: attometres(bridge.offset_m),
                range: nearest::<Fraction>(file.health.range).min(MAX_RANGE),
                quadrature: nearest(file.health.quadrature),
                phase: nearest(file.health.phase_rad.sin()),
                floor: nearest(file.health.quadrature_floor),
            });
        }
        let monitor = file.monitor.as_ref().map(|m| {
            let calibration = m.calibration_code.or(design.monitor_code).unwrap_or(1.0);
            let known = design.monitor_alignment(file);
            let phase = known.unwrap_or(0.0);
            alignments[usize::from(m.channel)] = alignment(phase);
            MonitorConfig {
                channel: m.channel,
                calibration: word(calibration, phase),
                weak: word(calibration * m.weak_fraction, phase),
                lost: word(calibration * m.lost_fraction, phase),
                phase: nearest(known.map_or(1.0, |_| file.health.phase_rad.sin())),
            }
        });
        let electrodes = housing(file).into_iter().map(|e| electrode(e, file, design)).collect();
        let cross_coupling = super::coupling::taken_off(file).as_ref().map_or(Vec::new(), rows);
        Self {
            code_bits: file.converter.bits as u8,
            carrier,
            front_end,
            firs: plan.firs.iter().map(|f| (f.ratio, f.scale_bits, f.taps.clone())).collect(),
            alignments,
            monitor,
            bridges,
            cross_coupling,
            electrodes,
            solve: rows(&design.solve),
            geometry: rows(&design.geometry),
            axes: design.axes.iter().fold(0, |set, axis| set | 1 << axis),
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

    /// Half samples from the instant that a reading stands for to its last sample.
    #[must_use]
    pub fn delay_half_samples(&self) -> u64 {
        let firs = self.firs.iter().map(|(ratio, _, taps)| (*ratio, taps.as_slice()));
        delays(self.front_end, firs).iter().sum()
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
            cross_coupling: &self.cross_coupling,
            electrodes: &self.electrodes,
            axes: AxesConfig {
                axes: self.axes,
                solve: &self.solve,
                geometry: &self.geometry,
                residual_am: self.residual_am,
            },
        })
    }
}

/// An electrode as the core takes it.
fn electrode(file: &ElectrodeFile, sensor: &SensorFile, design: &Design) -> ElectrodeConfig {
    let share = |of: f64| {
        let corrects = sensor.mass.correct_polarisation;
        nearest(if corrects { rest_capacitance(file) / of } else { 0.0 })
    };
    let sides = [
        (file.width_m, file.width_axis),
        (file.area_m2 / file.width_m, cross(file.normal, file.width_axis)),
    ];
    ElectrodeConfig {
        gap_am: attometres(file.gap_m),
        position_am: file.position_m.map(attometres),
        normal: file.normal.map(nearest),
        half_sides: sides
            .map(|(side, axis)| axis.map(|part| nearest(part * side / 2.0 / file.gap_m))),
        total_share: share(design.total_f),
        drive_share: match file.role {
            Role::Inject => share(design.injection_f),
            Role::Sense => nearest(0.0),
        },
    }
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// Samples of each stage's impulse response, less one. The CIC first, then FIR stages of so many taps
/// behind their ratios.
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

/// Twice the delay of a slow signal in each stage, samples, to the nearest. The CIC first, then FIR stages
/// of taps behind their ratios.
pub fn delays<'a>(front: FrontEndConfig, firs: impl Iterator<Item = (u16, &'a [i32])>) -> Vec<u64> {
    let mut delays = spans(front, std::iter::empty());
    let mut interval = f64::from(front.ratio);
    for (ratio, taps) in firs {
        delays.push((2.0 * interval * centre_of_mass(taps)).round_ties_even() as u64);
        interval *= f64::from(ratio);
    }
    delays
}

/// sum n h\[n\] / sum h\[n\]: the delay of a slow signal, inputs; the middle where there is no gain.
fn centre_of_mass(taps: &[i32]) -> f64 {
    let moment: i128 = (0..).zip(taps).map(|(n, tap)| n * i128::from(*tap)).sum();
    let sum: i64 = taps.iter().map(|tap| i64::from(*tap)).sum();
    let last = taps.len().saturating_sub(1) as f64;
    if sum > 0 { (moment as f64 / sum as f64).clamp(0.0, last) } else { last / 2.0 }
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
