//! What a readout makes of its own memory when that has changed.

extern crate std;

use super::*;
use crate::carrier::CarrierRatio;
use crate::config::{
    Alignment, AxesConfig, BridgeConfig, BridgeKind, FirConfig, FrontEndConfig, Path,
};
use crate::word::Word;

type Board = Readout<2, 2, 32, 8, 8, i64>;

/// Two channels, of which one is read; intervals of 8 samples, a reading every second one.
fn board() -> Board {
    of_ratio(8)
}

fn of_ratio(ratio: u16) -> Board {
    of(CarrierRatio::coherent(1, 4).expect("a carrier"), ratio)
}

fn of(carrier: CarrierRatio, ratio: u16) -> Board {
    with_firs(carrier, ratio, &[FirConfig { ratio: 2, taps: &[1, 1], scale_bits: 1 }])
}

fn with_firs(carrier: CarrierRatio, ratio: u16, firs: &[FirConfig<'_>]) -> Board {
    let full = Word::lit("0.5");
    let bridge = BridgeConfig::plain(BridgeKind::Difference { channel: 0, full }, 1 << 50);
    Board::new(&ReadoutConfig {
        code_bits: 24,
        carrier,
        front_end: FrontEndConfig {
            order: 2,
            ratio,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        },
        firs,
        alignments: &[Alignment::NONE; 2],
        monitor: None,
        bridges: &[bridge],
        cross_coupling: &[],
        electrodes: &[],
        axes: AxesConfig { axes: 0, solve: &[], geometry: &[], residual_am: 0 },
    })
    .expect("a board")
}

/// Whether each reading of so many codes, handed over one frame at a time, is flagged; and after how
/// many frames it came.
fn flags(board: &mut Board, frames: usize) -> std::vec::Vec<(usize, bool)> {
    let mut flags = std::vec::Vec::new();
    for n in 0..frames {
        let code = 1000 * [1, 0, -1, 0][n % 4];
        board.push(&[code, code], |reading| {
            flags.push((n + 1, reading.health.has(Health::MEMORY)));
        });
    }
    flags
}

#[test]
fn readings_in_step_are_not_flagged() {
    assert_eq!(flags(&mut board(), 48), [(16, false), (32, false), (48, false)]);
}

/// A setting that changes in memory, by itself or with the stages out of step.
#[test]
fn a_changed_setting_is_flagged() {
    let mut changed = board();
    changed.settings.readings += 1;
    assert_eq!(flags(&mut changed, 32), [(16, true), (32, true)]);
    changed.due.set(1);
    assert_eq!(flags(&mut changed, 8), [(8, true)]);
}

/// A reading due with no output, and an output with no reading due.
#[test]
fn stages_out_of_step_are_flagged() {
    let mut early = board();
    early.due.set(1);
    assert_eq!(flags(&mut early, 24), [(8, true), (24, false)]);
    let mut late = board();
    late.due.set(3);
    assert_eq!(flags(&mut late, 40), [(24, true), (40, false)]);
    // One output in vain, the next is in step.
    let mut skipping = board();
    skipping.due.set(4);
    let mut told = std::vec::Vec::new();
    for n in 1..=6 {
        let mut phasors = [Phasor { i: Word::lit("0.1"), q: Word::ZERO }; 2];
        skipping.push_phasors(&mut phasors, Interval::default(), |reading| {
            told.push((n, reading.health.has(Health::MEMORY)));
        });
    }
    assert_eq!(told, [(4, true), (6, false)]);
}

/// Phasors beyond the channels are added to no stage's sums: what they are changes no reading.
#[test]
fn phasors_too_many_are_left_alone() {
    let carrier = CarrierRatio::coherent(1, 4).expect("a carrier");
    let stage = FirConfig { ratio: 2, taps: &[1, 2, 3, 2], scale_bits: 3 };
    let readings_with = |extra: usize| {
        let mut board = with_firs(carrier, 8, &[stage, stage]);
        let mut readings = std::vec::Vec::new();
        for n in 0..24 {
            let phasor = Phasor { i: Word::lit("0.1"), q: Word::ZERO };
            let other = Phasor { i: Word::lit("0.4"), q: Word::lit("0.4") };
            let mut phasors = std::vec![phasor; 2];
            phasors.extend(std::vec![other; if n == 1 { extra } else { 0 }]);
            board.push_phasors(&mut phasors, Interval::default(), |reading| {
                readings
                    .push((reading.bridges[0].displacement_am, reading.health.has(Health::MEMORY)));
            });
        }
        readings
    };
    let [good, bad] = [0, 3].map(readings_with);
    assert_eq!(good.len(), 6);
    assert_eq!(bad[0], (good[0].0, true));
    assert_eq!(bad[1..], good[1..]);
}

/// A front end that ends no interval: told after the time of a reading and an interval, and again.
#[test]
fn a_front_end_that_stands_is_told() {
    let standing = of_ratio(400).front_end;
    let mut board = board();
    board.front_end = standing.clone();
    let patience = 16 + 8;
    let told = flags(&mut board, 2 * patience + 2);
    assert_eq!(told, [(patience + 1, true), (2 * patience + 2, true)]);
    // In one block, too; one that is just as long as the patience is waited for.
    let readings = |codes: usize| {
        let (mut board, mut count) = (self::board(), 0);
        board.front_end = standing.clone();
        board.push(&std::vec![0; codes], |_| count += 1);
        count
    };
    assert_eq!([2 * patience, 2 * patience + 2].map(readings), [0, 1]);
}

/// What follows from the number of a sample is set by it again at every reading: a front end whose carrier
/// stands elsewhere is in step after one.
#[test]
fn a_front_end_elsewhere_is_set_right() {
    let carrier = CarrierRatio::from_step(0x1fed_cba9_8765_4321).expect("a carrier");
    let moved_at = |moved_at: usize| {
        let mut board = of(carrier, 8);
        let mut readings = std::vec::Vec::new();
        for n in 0..600usize {
            if n == moved_at {
                // Between two intervals, both ways.
                board.front_end.seek(1003 * 8);
            }
            let code = 1000 * [1, 0, -1, 0][n % 4];
            board.push(&[code, code], |reading| readings.push(reading.clone()));
        }
        readings
    };
    let [never, once] = [usize::MAX, 16].map(moved_at);
    assert_ne!(never[1], once[1]);
    // From when nothing is left of it in the filters.
    assert_eq!(never[4..], once[4..]);
}
