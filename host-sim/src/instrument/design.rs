//! Physics of a sensor at rest: capacitances, polarisation, code amplitudes, geometry.

use super::AXES;
use super::file::{BridgeFile, ElectrodeFile, KindFile, PlanFile, Role, SensorFile};
use nalgebra::DMatrix;

/// Electric constant, F/m. Source: CODATA 2022.
pub const EPS0: f64 = 8.854_187_818_8e-12;

/// The carrier as a ratio of integers: cycles and samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CarrierRatio {
    /// Cycles ...
    pub cycles: u64,
    /// ... in this many samples, lowest terms.
    pub samples: u64,
}

/// What follows from a sensor file.
#[derive(Debug, Clone)]
pub struct Design {
    /// Carrier over sample rate, exact to 1 nHz of both.
    pub carrier: CarrierRatio,
    /// Capacitance of the mass to everything, at rest.
    pub total_f: f64,
    /// Carrier amplitude on the mass at rest.
    pub mass_v: f64,
    /// Code per volt at the converter.
    pub codes_per_volt: f64,
    /// Gain of the anti-alias filter at the carrier.
    pub filter_gain: f64,
    /// Phase of an in-phase signal at the converter, from carrier phase, loss and filter.
    pub signal_phase_rad: f64,
    /// Per bridge: code amplitude a0 = g (C01 + C02) V_m by design.
    pub a0_code: Vec<f64>,
    /// Per bridge: reference gap, the mean of its two.
    pub gap_m: Vec<f64>,
    /// Per bridge: C01 and C02.
    pub c0_f: Vec<[f64; 2]>,
    /// Per bridge: both electrodes' gaps at rest.
    pub gaps_m: Vec<[f64; 2]>,
    /// Capacitance of all injection electrodes at rest.
    pub injection_f: f64,
    /// Code amplitude of the monitor by design, if there is one.
    pub monitor_code: Option<f64>,
    /// bridges x axes: x_bridge = geometry q.
    pub geometry: DMatrix<f64>,
    /// axes x bridges, least-squares inverse.
    pub solve: DMatrix<f64>,
    /// Indices into [`AXES`].
    pub axes: Vec<usize>,
    /// Gain of the FIR stages at zero frequency, from their integer taps.
    pub fir_gain: f64,
}

impl Design {
    /// Works the design out of a checked file.
    #[must_use]
    pub fn new(file: &SensorFile, plan: &PlanFile) -> Self {
        let (injection_f, total_f) = mass_capacitances(file);
        let mass_v = mass_v(file);
        let codes_per_volt =
            2f64.powi(file.converter.bits as i32 - 1) / file.converter.full_scale_v;
        let ratio =
            file.amplifier.filter_hz.map_or(0.0, |corner| file.carrier.frequency_hz / corner);
        let filter_gain = 1.0 / ratio.hypot(1.0);
        let signal_phase_rad = file.carrier.phase_rad - file.amplifier.loss_rad - ratio.atan();
        let pairs = || file.bridges.iter().map(|b| pair(file, b));
        let c0_f: Vec<[f64; 2]> = pairs().map(|pair| pair.map(rest_capacitance)).collect();
        let gaps_m: Vec<[f64; 2]> = pairs().map(|pair| pair.map(|e| e.gap_m)).collect();
        let code_per_farad =
            codes_per_volt * filter_gain * mass_v * file.amplifier.gain / file.amplifier.feedback_f;
        let geometry = geometry(file);
        let solve = pseudo_inverse(&geometry);
        Self {
            carrier: carrier_ratio(file.carrier.frequency_hz, file.converter.rate_hz),
            total_f,
            mass_v,
            codes_per_volt,
            filter_gain,
            signal_phase_rad,
            a0_code: c0_f.iter().map(|[a, b]| (a + b) * code_per_farad).collect(),
            gap_m: gaps_m.iter().map(|[a, b]| (a + b) / 2.0).collect(),
            c0_f,
            gaps_m,
            injection_f,
            monitor_code: file
                .monitor
                .as_ref()
                .map(|m| m.gain * file.carrier.injection_v * codes_per_volt * filter_gain),
            geometry,
            solve,
            axes: axes(file),
            fir_gain: plan.firs.iter().map(fir_gain).product(),
        }
    }

    /// Calibrated or designed a0 of bridge `b`.
    #[must_use]
    pub fn calibrated_a0(&self, file: &SensorFile, b: usize) -> f64 {
        file.bridges[b].a0_code.unwrap_or(self.a0_code[b])
    }

    /// Strays of bridge `b` over C01 + C02.
    #[must_use]
    pub fn stray_shares(&self, file: &SensorFile, b: usize) -> [f64; 2] {
        let pair = self.c0_f[b].iter().sum::<f64>();
        file.bridges[b].stray_f.map(|s| s / pair)
    }

    /// Calibrated or designed phase of the monitor, which sees the carrier before the bridges' losses;
    /// `None` where the bridges' phases are calibrated and its own is not.
    #[must_use]
    pub fn monitor_alignment(&self, file: &SensorFile) -> Option<f64> {
        let calibrated = file.bridges.iter().any(|b| b.alignment_rad.is_some());
        let design = (!calibrated).then_some(self.signal_phase_rad + file.amplifier.loss_rad);
        file.monitor.as_ref()?.alignment_rad.or(design)
    }

    /// Calibrated or designed alignment of bridge `b`.
    #[must_use]
    pub fn alignment(&self, file: &SensorFile, b: usize) -> f64 {
        file.bridges[b].alignment_rad.unwrap_or(self.signal_phase_rad)
    }
}

/// Capacitance of the mass to all injection electrodes, and to everything, at rest.
fn mass_capacitances(file: &SensorFile) -> (f64, f64) {
    let at_rest = |role| -> f64 {
        file.electrodes.iter().filter(|e| e.role == role).map(rest_capacitance).sum()
    };
    let injection_f = at_rest(Role::Inject);
    let strays: f64 = file.bridges.iter().flat_map(|b| b.stray_f).sum();
    (injection_f, injection_f + at_rest(Role::Sense) + strays + file.mass.stray_f)
}

/// Carrier amplitude on the mass at rest, V.
#[must_use]
pub fn mass_v(file: &SensorFile) -> f64 {
    let (injection_f, total_f) = mass_capacitances(file);
    file.carrier.injection_v * injection_f / total_f
}

/// Electrode by name; the file is checked.
#[must_use]
pub fn electrode<'a>(file: &'a SensorFile, name: &str) -> &'a ElectrodeFile {
    file.electrodes.iter().find(|e| e.name == name).expect("names are checked")
}

/// C0 = eps0 A/d.
#[must_use]
pub fn rest_capacitance(electrode: &ElectrodeFile) -> f64 {
    EPS0 * electrode.area_m2 / electrode.gap_m
}

/// Displacement of the mass's surface at an electrode along its normal, per axis:
/// the normal for translations, lever arm x normal for rotations.
#[must_use]
pub fn row(electrode: &ElectrodeFile) -> [f64; 6] {
    let [n, r] = [electrode.normal, electrode.position_m];
    [
        n[0],
        n[1],
        n[2],
        r[1] * n[2] - r[2] * n[1],
        r[2] * n[0] - r[0] * n[2],
        r[0] * n[1] - r[1] * n[0],
    ]
}

fn axes(file: &SensorFile) -> Vec<usize> {
    file.axes.names.iter().filter_map(|n| AXES.iter().position(|(name, ..)| name == n)).collect()
}

/// Electrodes 1 and 2 of a bridge.
#[must_use]
pub fn pair<'a>(file: &'a SensorFile, bridge: &BridgeFile) -> [&'a ElectrodeFile; 2] {
    [0, 1].map(|k| electrode(file, &bridge.electrodes[k]))
}

/// bridges x axes matrix: what moves a bridge's balance, over what its own displacement does.
///
/// A difference bridge follows C1 - C2, separate electrodes C1/C2: the approach to each electrode
/// counts by C0/d and by 1/d. For a pair that is a mirror image it is electrode 1's own row.
#[must_use]
pub fn geometry(file: &SensorFile) -> DMatrix<f64> {
    let axes = axes(file);
    let rows: Vec<[f64; 6]> = (0..file.bridges.len())
        .map(|b| {
            let pair = pair(file, &file.bridges[b]);
            let [w1, w2] = pair.map(|e| {
                if is_difference(file, b) { rest_capacitance(e) / e.gap_m } else { 1.0 / e.gap_m }
            });
            let [first, second] = pair.map(row);
            std::array::from_fn(|j| (w1 * first[j] - w2 * second[j]) / (w1 + w2))
        })
        .collect();
    DMatrix::from_fn(rows.len(), axes.len(), |b, j| rows[b][axes[j]])
}

/// Electrodes in the order that the core takes them: 1 and 2 of every bridge, then all others that
/// the axes move, in the file's order.
#[must_use]
pub fn housing(file: &SensorFile) -> Vec<&ElectrodeFile> {
    let mut housing: Vec<&ElectrodeFile> =
        file.bridges.iter().flat_map(|b| pair(file, b)).collect();
    let axes = axes(file);
    let moves = |e: &ElectrodeFile| {
        let [x, y, z] = e.normal;
        // A face slides in its own plane along translations at right angles to the normal, and turns
        // in it by rotations about the normal.
        let along = [x, y, z, y.hypot(z), z.hypot(x), x.hypot(y)];
        axes.iter().any(|axis| along[*axis].abs() > 1e-12)
    };
    let named = |e: &ElectrodeFile| file.bridges.iter().any(|b| b.electrodes.contains(&e.name));
    housing.extend(file.electrodes.iter().filter(|e| !named(e) && moves(e)));
    housing
}

/// (H^T H)^-1 H^T by singular values, columns scaled so that metres and radians weigh alike.
fn pseudo_inverse(geometry: &DMatrix<f64>) -> DMatrix<f64> {
    let norms: Vec<f64> = geometry.column_iter().map(|c| c.norm()).collect();
    let scaled =
        DMatrix::from_fn(geometry.nrows(), geometry.ncols(), |i, j| geometry[(i, j)] / norms[j]);
    let inverse = scaled.pseudo_inverse(1e-12).expect("tolerance is positive");
    DMatrix::from_fn(geometry.ncols(), geometry.nrows(), |i, j| inverse[(i, j)] / norms[i])
}

/// Gain at zero frequency of one FIR stage.
#[must_use]
pub fn fir_gain(fir: &super::file::FirFile) -> f64 {
    let sum: i64 = fir.taps.iter().map(|t| i64::from(*t)).sum();
    sum as f64 / 2f64.powi(fir.scale_bits.into())
}

/// f_c/f_s in lowest terms, both taken to the nearest nanohertz.
#[must_use]
pub fn carrier_ratio(frequency_hz: f64, rate_hz: f64) -> CarrierRatio {
    let nano = |x: f64| (x * 1e9).round() as u64;
    let (cycles, samples) = (nano(frequency_hz), nano(rate_hz));
    let (mut a, mut b) = (cycles, samples);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    CarrierRatio { cycles: cycles / a, samples: samples / a }
}

/// Whether a bridge of this file is a difference bridge.
#[must_use]
pub fn is_difference(file: &SensorFile, b: usize) -> bool {
    file.bridges[b].kind == KindFile::Difference
}
