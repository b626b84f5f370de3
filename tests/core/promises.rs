//! What every flag and figure of a reading promises: the first value that raises a flag, the last that does
//! not, how soon and how long. Phasors go into the second half of the chain as they are: no filter blurs a
//! boundary.

use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::front_end::Interval;
use quietgap_core::guard::Voted;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{Health, HealthCounts, Reading, Readout};

mod bridges;
mod checksums;
mod housing;
mod limits;
mod seek;
mod stages;
mod told;

const MM: i64 = 1_000_000_000_000_000;
const GAP_AM: i64 = 2 * MM;

/// Channels 0 and 1: difference bridges; 2 and 3: separate electrodes; 4: the monitor.
const CHANNELS: usize = 5;
type Board = Readout<2, CHANNELS, 64, 8, 16, i128>;

struct Bench {
    bridges: Vec<BridgeConfig>,
    cross_coupling: Vec<Fraction>,
    electrodes: Vec<ElectrodeConfig>,
    alignments: [Alignment; CHANNELS],
    monitor: Option<MonitorConfig>,
    residual_am: i64,
    /// One axis, the mean of all bridges, or none.
    axes: u8,
    firs: bool,
}

/// A CIC of differential delay 1 that prunes nothing; every code is watched.
fn front_end(order: u8, ratio: u16, path: Path) -> FrontEndConfig {
    FrontEndConfig { order, ratio, differential_delay: 1, path, pruned_bits: 0 }
}

/// Uniform within -1 to 1, repeatable: Numerical Recipes' 64-bit linear congruential generator, from memory.
fn next(state: &mut u64) -> u64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    *state
}

fn random(state: &mut u64) -> f64 {
    (next(state) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

fn difference(channel: u8) -> BridgeConfig {
    BridgeConfig::plain(BridgeKind::Difference { channel, full: Word::lit("0.5") }, GAP_AM)
}

fn separate() -> BridgeConfig {
    let least_sum = Word::lit("0.1");
    BridgeConfig::plain(BridgeKind::Separate { channels: [2, 3], least_sum }, GAP_AM)
}

fn bench() -> Bench {
    Bench {
        bridges: vec![difference(0), difference(1), separate()],
        cross_coupling: Vec::new(),
        electrodes: Vec::new(),
        alignments: [Alignment::NONE; CHANNELS],
        monitor: Some(MonitorConfig {
            channel: 4,
            calibration: Word::lit("0.625"),
            weak: Word::lit("0.3125"),
            lost: Word::lit("0.0625"),
            phase: Fraction::lit("0.1"),
        }),
        residual_am: GAP_AM,
        axes: 1,
        firs: false,
    }
}

impl Bench {
    fn board(&self) -> Board {
        let count = self.bridges.len();
        let entries = count * usize::from(self.axes);
        let solve = vec![Coefficient::ONE / count as i64; entries];
        let geometry = vec![Coefficient::ONE; entries];
        let firs =
            [FirConfig { ratio: 2, taps: &[1 << 29, 1 << 29, 1 << 29, 1 << 29], scale_bits: 30 }];
        Readout::new(&ReadoutConfig {
            code_bits: 24,
            carrier: CarrierRatio::coherent(1, 4).expect("a carrier"),
            front_end: front_end(2, 8, Path::Auto),
            firs: if self.firs { &firs } else { &[] },
            alignments: &self.alignments,
            monitor: self.monitor,
            bridges: &self.bridges,
            cross_coupling: &self.cross_coupling,
            electrodes: &self.electrodes,
            axes: AxesConfig {
                axes: self.axes,
                solve: &solve,
                geometry: &geometry,
                residual_am: self.residual_am,
            },
        })
        .expect("a good board")
    }

    /// The reading of one interval's phasors, settled.
    fn read(&self, phasors: &[(f64, f64); CHANNELS]) -> Reading {
        let mut board = self.board();
        let readings: Vec<Reading> = (0..4)
            .map(|_| push(&mut board, phasors, Interval::default()).expect("a reading"))
            .collect();
        assert!(!readings[3].health.has(Health::SETTLING));
        readings[3].clone()
    }
}

fn push(
    board: &mut Board,
    phasors: &[(f64, f64); CHANNELS],
    interval: Interval,
) -> Option<Reading> {
    let word = |x: f64| Word::from_bits((x * 2f64.powi(52)).round() as i64);
    let mut words = phasors.map(|(i, q)| Phasor { i: word(i), q: word(q) });
    let mut reading = None;
    board.push_phasors(&mut words, interval, |r| reading = Some(r.clone()));
    reading
}

/// A mass at the centre but for 0.02 of the gap in the difference bridges, the carrier as calibrated.
const GOOD: [(f64, f64); CHANNELS] =
    [(0.01, 0.0), (0.01, 0.0), (0.3, 0.0), (0.3, 0.0), (0.625, 0.0)];
/// A step of a word.
const STEP: f64 = 1.0 / (1u64 << 52) as f64;

fn with(channel: usize, phasor: (f64, f64)) -> [(f64, f64); CHANNELS] {
    let mut all = GOOD;
    all[channel] = phasor;
    all
}

#[track_caller]
fn boundary(
    bench: &Bench,
    good: [(f64, f64); CHANNELS],
    bad: [(f64, f64); CHANNELS],
    fault: Health,
) {
    let (good, bad) = (bench.read(&good).health, bench.read(&bad).health);
    assert!(!good.has(fault), "the last good: {good:?}");
    assert!(bad.has(fault), "the first bad: {bad:?}");
}

#[test]
fn good_is_ok() {
    let reading = bench().read(&GOOD);
    assert!(reading.health.is_ok(), "{:?}", reading.health);
    assert_eq!(reading.monitor_ratio, 1 << 58);
    assert_eq!(reading.over_range_channels, 0);
}

#[test]
fn weak_and_lost_carriers() {
    boundary(&bench(), with(4, (0.3125, 0.0)), with(4, (0.3125 - STEP, 0.0)), Health::CARRIER_WEAK);
    boundary(&bench(), with(4, (0.0625, 0.0)), with(4, (0.0625 - STEP, 0.0)), Health::CARRIER_LOST);
    // Lost is not weak as well.
    assert!(!bench().read(&with(4, (0.05, 0.0))).health.has(Health::CARRIER_WEAK));
    // Whatever the levels say, a ratio of 32 is the end.
    let mut careless = bench();
    let monitor = careless.monitor.as_mut().expect("a monitor");
    (monitor.weak, monitor.lost) = (Word::ZERO, Word::ZERO);
    boundary(
        &careless,
        with(4, (0.019_531_25 + 1e-9, 0.0)),
        with(4, (0.019_531_25, 0.0)),
        Health::CARRIER_LOST,
    );
    assert!(careless.read(&with(4, (0.0, 0.0))).health.has(Health::CARRIER_LOST));
    // Separate electrodes, by their sum.
    boundary(
        &bench(),
        [GOOD[0], GOOD[1], (0.05, 0.0), (0.05, 0.0), GOOD[4]],
        [GOOD[0], GOOD[1], (0.05, 0.0), (0.05 - STEP, 0.0), GOOD[4]],
        Health::CARRIER_LOST,
    );
    let turned = [GOOD[0], GOOD[1], (-0.3, 0.0), (-0.3, 0.0), GOOD[4]];
    assert!(bench().read(&turned).health.has(Health::CARRIER_LOST));
}

#[test]
fn phase_of_the_monitor() {
    let at = |angle: f64| {
        let turn = |(i, q): (f64, f64)| {
            let (s, c) = angle.sin_cos();
            (i * c - q * s, q * c + i * s)
        };
        GOOD.map(turn)
    };
    let limit = 0.1f64.asin();
    for sign in [1.0, -1.0] {
        boundary(
            &bench(),
            at(sign * (limit - 1e-12)),
            at(sign * (limit + 1e-12)),
            Health::CARRIER_PHASE,
        );
    }
    let good = bench().read(&GOOD);
    for angle in [0.05, 0.5, 1.5, 2.0, 3.1, -2.5] {
        // All channels turn with the carrier: readings stay.
        let reading = bench().read(&at(angle));
        assert!((reading.axes[0] - good.axes[0]).abs() < 10, "{angle}: {}", reading.axes[0]);
        assert_eq!(reading.health.has(Health::CARRIER_PHASE), angle.abs() > limit);
    }
    // A phase that is not known is neither judged nor used.
    let mut unknown = bench();
    unknown.monitor.as_mut().expect("a monitor").phase = Fraction::ONE;
    let reading = unknown.read(&with(4, (0.0, 0.625)));
    assert!(reading.health.is_ok());
    assert_eq!(reading.axes, good.axes);
}

#[test]
fn amplitude_of_the_monitor() {
    let half = GOOD.map(|(i, q)| (i / 2.0, q / 2.0));
    let (whole, halved) = (bench().read(&GOOD), bench().read(&half));
    assert_eq!(halved.monitor_ratio, 2 << 58);
    assert!((whole.axes[0] - halved.axes[0]).abs() < 10);
    // Without a monitor the difference bridges read half.
    let mut without = bench();
    without.monitor = None;
    without.bridges.truncate(2);
    let [whole, halved] = [GOOD, half].map(|phasors| without.read(&phasors).axes[0]);
    assert!((whole - 2 * halved).abs() < whole / 1000, "{whole} {halved}");
}

/// A fault of an interval holds for the readings that feel it: span 15 of intervals of 8, two readings.
#[test]
fn faults_hold_for_the_response() {
    for (interval, fault) in [
        (Interval { over_range: 1 << 3, saturated: false }, Health::OVER_RANGE),
        (Interval { over_range: 0, saturated: true }, Health::SATURATED),
    ] {
        let mut board = bench().board();
        assert_eq!((board.span(), board.interval(), board.delay_half_samples()), (15, 8, 14));
        let mut held = Vec::new();
        for n in 0..6 {
            let now = if n == 2 { interval } else { Interval::default() };
            let reading = push(&mut board, &GOOD, now).expect("a reading");
            held.push(reading.health.has(fault));
            assert_eq!(reading.over_range_channels, if n == 2 { interval.over_range } else { 0 });
        }
        assert_eq!(held, [false, false, true, true, false, false], "{fault:?}");
    }
}

/// A FIR stage of gain 2 makes words of 4.1 too large: flagged in the reading, and gone when the filter's
/// memory is.
#[test]
fn saturation_of_a_stage() {
    let mut bench = bench();
    bench.firs = true;
    bench.monitor = None;
    for (word, saturates) in [(3.9, false), (4.1, true)] {
        let mut board = bench.board();
        let loud = GOOD.map(|(i, q)| (i.signum() * word, q));
        let mut flags = Vec::new();
        for n in 0..24 {
            let phasors = if (8..12).contains(&n) { loud } else { GOOD };
            if let Some(reading) = push(&mut board, &phasors, Interval::default()) {
                flags.push(reading.health.has(Health::SATURATED));
            }
        }
        assert_eq!(flags.iter().any(|f| *f), saturates, "{word}: {flags:?}");
        assert!(!flags[3] && !flags[11], "{flags:?}");
    }
}

/// Nothing at all from one channel, for one reading.
#[test]
fn a_silent_channel() {
    for channel in 0..CHANNELS {
        let reading = bench().read(&with(channel, (0.0, 0.0)));
        assert!(reading.health.has(Health::SILENT), "{channel}");
        for phasor in [(STEP, 0.0), (0.0, -STEP)] {
            assert!(!bench().read(&with(channel, phasor)).health.has(Health::SILENT), "{channel}");
        }
    }
}

/// Counts: readings, and each flag as often as it was raised; names in bit order, each once.
#[test]
fn counts_and_names() {
    let mut counts = HealthCounts::NONE;
    counts.count(Health::OVER_RANGE | Health::SILENT);
    counts.count(Health::SILENT);
    counts.count(Health::OK);
    assert_eq!(counts.readings(), 3);
    for (name, count) in counts.faults() {
        let want = match name {
            "silent" => 2,
            "over_range" => 1,
            _ => 0,
        };
        assert_eq!(count, want, "{name}");
    }
    for (bit, (fault, _)) in Health::NAMES.iter().enumerate() {
        assert_eq!(fault.bits(), 1 << bit);
        assert!(!fault.is_ok() && fault.has(*fault));
        assert_eq!(Health::when(*fault, false), Health::OK);
        assert_eq!(Health::when(*fault, true), *fault);
        assert_eq!(*fault | *fault, *fault);
    }
    let mut both = Health::MEMORY;
    both |= Health::SILENT;
    assert!(both.has(Health::MEMORY) && both.has(Health::SILENT) && !both.has(Health::OVER_RANGE));
    assert!(!Health::MEMORY.has(both));
    // A readout counts its own.
    let mut board = bench().board();
    let _ = push(&mut board, &with(0, (0.0, 0.0)), Interval::default());
    let silent = board.counts().faults().find(|(name, _)| *name == "silent").expect("named").1;
    assert_eq!((board.counts().readings(), silent), (1, 1));
}

/// Three copies, read bit by bit by majority.
#[test]
fn votes() {
    let mut voted = Voted::new(0b1010u32);
    assert_eq!(voted.get(), 0b1010);
    voted.set(7);
    assert_eq!(voted.get(), 7);
}

/// Settling: until the response lies within what was seen since the start or a gap.
#[test]
fn settling() {
    let mut board = bench().board();
    let settles = |board: &mut Board| {
        let push = |board: &mut Board| push(board, &GOOD, Interval::default()).expect("a reading");
        (0..4).map(|_| push(board).health.has(Health::SETTLING)).collect::<Vec<_>>()
    };
    // Readings end at 8, 16, ...; the response takes 15.
    assert_eq!(settles(&mut board), [true, false, false, false]);
    board.seek(80);
    assert_eq!(settles(&mut board), [true, false, false, false]);
    board.seek(81);
    assert_eq!(settles(&mut board), [true, false, false, false]);
    board.seek(82);
    assert_eq!(settles(&mut board), [true, true, false, false]);
}
