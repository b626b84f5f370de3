//! What is told to a readout from before it: held as long as the samples are in the filters, two readings here, by the readout and
//! through the trait that feeds it.

use super::*;
use quietgap_core::Chain;

const BOTH: [Health; 2] = [Health::ACQUISITION, Health::SILENT];

/// Of readings 0 to 7, those with a fault; `tell` comes before a reading.
fn flagged(fault: Health, mut tell: impl FnMut(&mut Board, usize)) -> Vec<usize> {
    let mut board = bench().board();
    let has = |n: &usize| {
        tell(&mut board, *n);
        push(&mut board, &GOOD, Interval::default()).expect("a reading").health.has(fault)
    };
    (0..8).filter(has).collect()
}

#[test]
fn told_faults_hold_for_the_response() {
    let once = |board: &mut Board, n: usize| {
        if n == 2 {
            board.flag(Health::ACQUISITION);
        }
    };
    assert_eq!(flagged(Health::ACQUISITION, once), [2, 3]);
    assert_eq!(flagged(Health::SILENT, once), [0; 0]);
    assert_eq!(flagged(Health::ACQUISITION, |board, _| board.flag(Health::OK)), [0; 0]);
    // Two kinds, one after the other, overlap; a later one alone brings no earlier one back.
    let both = |board: &mut Board, n: usize| match n {
        2 => board.flag(Health::ACQUISITION),
        3 => board.flag(Health::SILENT),
        6 => board.flag(Health::SILENT),
        _ => {}
    };
    assert_eq!(flagged(Health::ACQUISITION, both), [2, 3, 4]);
    assert_eq!(flagged(Health::SILENT, both), [3, 4, 6, 7]);
    // Twice before one reading.
    let at_once = |board: &mut Board, n: usize| {
        if n == 5 {
            BOTH.iter().for_each(|fault| board.flag(*fault));
        }
    };
    BOTH.iter().for_each(|fault| assert_eq!(flagged(*fault, at_once), [5, 6]));
}

/// What was told before a gap goes with the samples; what is told behind it stays.
#[test]
fn a_gap_forgets_what_was_held() {
    let across = |board: &mut Board, n: usize| match n {
        2 => board.flag(Health::ACQUISITION),
        3 => {
            board.seek(24);
            board.flag(Health::SILENT);
        }
        _ => {}
    };
    assert_eq!(flagged(Health::ACQUISITION, across), [2]);
    assert_eq!(flagged(Health::SILENT, across), [3, 4]);
}

#[test]
fn a_chain_is_its_readout() {
    let codes: Vec<i32> = (0..CHANNELS as i32 * 64).map(|n| 1000 * (n % 17) - 9000).collect();
    let mut readout = bench().board();
    let mut own = Vec::new();
    readout.push(&codes, |reading| own.push(reading.clone()));
    readout.seek(803);
    readout.flag(Health::ACQUISITION);
    readout.push(&codes, |reading| own.push(reading.clone()));
    let mut board = bench().board();
    let mut told = Vec::new();
    let chain: &mut dyn Chain = &mut board;
    chain.push(&codes, &mut |reading| told.push(reading.clone()));
    chain.seek(803);
    chain.flag(Health::ACQUISITION);
    chain.push(&codes, &mut |reading| told.push(reading.clone()));
    assert_eq!(told, own);
    assert!(told.len() > 10 && told[9].health.has(Health::ACQUISITION));
}
