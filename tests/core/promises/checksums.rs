//! A readout's checksum promises that no setting can change unseen: every one of them, changed by its
//! smallest step, gives another sum, and no two changes the same.

use super::*;
use fixed::traits::Fixed;
use std::collections::HashMap;

type Wide = Readout<2, CHANNELS, 64, 16, 64, i64>;

/// A configuration that owns what it holds.
#[derive(Clone)]
struct Owned {
    code_bits: u8,
    carrier: CarrierRatio,
    front_end: FrontEndConfig,
    firs: Vec<(u16, Vec<i32>, u8)>,
    alignments: Vec<Alignment>,
    monitor: Option<MonitorConfig>,
    bridges: Vec<BridgeConfig>,
    cross_coupling: Vec<Fraction>,
    electrodes: Vec<ElectrodeConfig>,
    which: u8,
    solve: Vec<Coefficient>,
    geometry: Vec<Coefficient>,
    residual_am: i64,
}

impl Owned {
    fn new(path: Path) -> Self {
        let Bench { bridges, alignments, monitor, residual_am, .. } = bench();
        let electrode = ElectrodeConfig {
            gap_am: GAP_AM,
            position_am: [0, 10 * MM, 20 * MM],
            normal: [Fraction::ONE, Fraction::ZERO, Fraction::ZERO],
            half_sides: [[HalfSide::ZERO; 3], [HalfSide::ONE; 3]],
            total_share: Fraction::lit("0.05"),
            drive_share: Fraction::lit("0.05"),
        };
        Self {
            code_bits: 24,
            carrier: CarrierRatio::coherent(1, 8).expect("a carrier"),
            front_end: front_end(2, 40, path),
            firs: vec![(2, vec![1 << 28, 1 << 29, 1 << 28], 30), (3, vec![1 << 29; 2], 30)],
            alignments: alignments.to_vec(),
            monitor,
            cross_coupling: [[1, 2, 0], [3, 4, 0], [0; 3]]
                .as_flattened()
                .iter()
                .map(|bits| Fraction::from_bits(*bits << 50))
                .collect(),
            electrodes: vec![electrode; 2 * bridges.len() + 1],
            which: 1,
            solve: vec![Coefficient::ONE / 3; bridges.len()],
            geometry: vec![Coefficient::ONE; bridges.len()],
            bridges,
            residual_am,
        }
    }

    fn checksum(&self) -> u32 {
        let firs: Vec<FirConfig<'_>> = self
            .firs
            .iter()
            .map(|(ratio, taps, scale_bits)| FirConfig {
                ratio: *ratio,
                taps,
                scale_bits: *scale_bits,
            })
            .collect();
        let config = ReadoutConfig {
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
                axes: self.which,
                solve: &self.solve,
                geometry: &self.geometry,
                residual_am: self.residual_am,
            },
        };
        Wide::new(&config).expect("a good configuration").checksum().to_bits()
    }
}

/// The smallest change of a number with a binary point.
fn step<F: Fixed>(x: &mut F) {
    *x += F::DELTA;
}

type Change = Box<dyn Fn(&mut Owned)>;

/// All changes of one setting, each with its name.
fn changes() -> Vec<(String, Change)> {
    let mut all = Vec::new();
    let mut add = |name: String, change: Change| all.push((name, change));
    /// One change: what is named, in the configuration `c`.
    macro_rules! change {
        ($c:ident, $($name:literal $change:expr;)*) => {
            $(add(format!($name), Box::new(move |$c: &mut Owned| { $change; }));)*
        };
    }
    change! { c,
        "code bits" c.code_bits = 23;
        "carrier" c.carrier = CarrierRatio::coherent(3, 8).expect("a carrier");
        "ratio" c.front_end.ratio = 48;
        "differential delay" c.front_end.differential_delay = 2;
        "FIR ratio" c.firs[0].0 = 1;
        "second FIR ratio" c.firs[1].0 = 4;
        "inner tap" c.firs[0].1[1] -= 1;
        "outer taps" { c.firs[0].1[0] -= 1; c.firs[0].1[2] -= 1 };
        "second stage's taps" { c.firs[1].1[0] -= 1; c.firs[1].1[1] -= 1 };
        "no second stage" c.firs.truncate(1);
        "scale of the first stage's taps" { c.firs[0].2 = 29; c.firs[0].1.iter_mut().for_each(|tap| *tap /= 2) };
        "no monitor" c.monitor = None;
        "another bridge less" {
            c.bridges.pop(); c.solve.pop(); c.geometry.pop();
            c.cross_coupling = vec![Fraction::from_bits(1 << 50); 4];
        };
        "no coupling" c.cross_coupling.clear();
        "no electrodes" c.electrodes.clear();
        "an electrode less" c.electrodes.truncate(6);
        "channel of a bridge" c.bridges[0].kind = difference(1).kind;
        "channels of separate electrodes" c.bridges[2].kind =
            BridgeKind::Separate { channels: [3, 2], least_sum: Word::lit("0.1") };
        "least sum" c.bridges[2].kind =
            BridgeKind::Separate { channels: [2, 3], least_sum: Word::lit("0.1") + Word::DELTA };
        "full bridge" c.bridges[1].kind =
            BridgeKind::Difference { channel: 1, full: Word::lit("0.5") + Word::DELTA };
        "which axes" c.which = 2;
        "limit of the residual" c.residual_am -= 1;
        "channel of the monitor" c.monitor.as_mut().expect("one").channel = 3;
        "calibration of the monitor" step(&mut c.monitor.as_mut().expect("one").calibration);
        "weak level" step(&mut c.monitor.as_mut().expect("one").weak);
        "lost level" step(&mut c.monitor.as_mut().expect("one").lost);
        "phase of the monitor" step(&mut c.monitor.as_mut().expect("one").phase);
    }
    for n in 0..CHANNELS {
        change! { c,
            "cosine {n}" c.alignments[n].cosine -= Fraction::DELTA;
            "sine {n}" step(&mut c.alignments[n].sine);
        }
    }
    for n in 0..3 {
        change! { c,
            "gap {n}" c.bridges[n].gap_am += 1;
            "offset {n}" c.bridges[n].offset_am += 1;
            "range {n}" step(&mut c.bridges[n].range);
            "quadrature {n}" step(&mut c.bridges[n].quadrature);
            "phase {n}" c.bridges[n].phase -= Fraction::DELTA;
            "floor {n}" step(&mut c.bridges[n].floor);
            "solve {n}" step(&mut c.solve[n]);
            "geometry {n}" step(&mut c.geometry[n]);
        }
        for other in 0..2 {
            if n < 2 {
                change! { c, "coupling {n} {other}" step(&mut c.cross_coupling[3 * n + other]); }
            }
        }
        for side in 0..2 {
            change! { c,
                "stray {n} {side}" step(&mut c.bridges[n].strays[side]);
                "weight {n} {side}" step(&mut c.bridges[n].weights[side]);
                "gap {n} {side}" step(&mut c.bridges[n].gaps[side]);
            }
        }
    }
    for n in 0..7 {
        change! { c,
            "electrode's gap {n}" c.electrodes[n].gap_am += 1;
            "share {n}" step(&mut c.electrodes[n].total_share);
            "drive {n}" step(&mut c.electrodes[n].drive_share);
        }
        for part in 0..3 {
            change! { c,
                "position {n} {part}" c.electrodes[n].position_am[part] -= 1;
                "normal {n} {part}" c.electrodes[n].normal[part] -= Fraction::DELTA;
                "side 1 {n} {part}" step(&mut c.electrodes[n].half_sides[0][part]);
                "side 2 {n} {part}" step(&mut c.electrodes[n].half_sides[1][part]);
            }
        }
    }
    all
}

#[test]
fn every_setting_is_in_the_sum() {
    for path in [Path::Coherent, Path::General] {
        let base = Owned::new(path);
        let mut seen = HashMap::from([(base.checksum(), "none".to_owned())]);
        assert_eq!(base.checksum(), base.clone().checksum());
        for (name, change) in changes() {
            let mut changed = base.clone();
            change(&mut changed);
            let other = seen.insert(changed.checksum(), name.clone());
            assert_eq!(other, None, "{path:?}: {name} gives the same sum");
        }
    }
    let [folded, mixed] = [Path::Coherent, Path::General].map(|path| Owned::new(path).checksum());
    assert_ne!(folded, mixed);
}

/// A carrier that differs by less than its table can show.
#[test]
fn a_carrier_is_in_the_sum_to_its_last_digit() {
    let sum = |step: u64| {
        let mut mixed = Owned::new(Path::General);
        mixed.carrier = CarrierRatio::from_step(step).expect("a carrier");
        mixed.checksum()
    };
    assert_ne!(sum(0x2000_0000_0000_0000), sum(0x2000_0000_0000_0001));
}

/// Samples do not change it, and an idle readout has none of a plan's.
#[test]
fn samples_do_not_change_the_sum() {
    let mut board = bench().board();
    let before = board.checksum();
    assert_ne!(before, Board::IDLE.checksum());
    for _ in 0..5 {
        let _ = push(&mut board, &GOOD, Interval::default());
    }
    board.seek(12_345);
    assert_eq!(board.checksum(), before);
}
