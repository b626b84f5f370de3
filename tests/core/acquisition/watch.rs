//! Channels that stand still, are silent, shorted or swapped; and those that are not.

use quietgap_acquisition::Faults;
use quietgap_acquisition::watch::{Limits, STRIDE, Verdict, Watch};
use quietgap_core::CarrierRatio;

const LIMITS: Limits =
    Limits { looks: 40, least_spread: 50, least_difference: 100, most_step: 2000 };
const LOOKS: usize = 40;

/// Numerical Recipes' 64-bit generator (from memory), four of its bytes summed: bell-shaped, unit variance about 0.
fn noise(state: &mut u64) -> f64 {
    let mut next = || {
        *state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (*state >> 40) as f64 / f64::from(1 << 24) - 0.5
    };
    (next() + next() + next() + next()) * 3f64.sqrt()
}

/// A bench of four channels: a carrier of so many codes, its offset, its noise.
#[derive(Clone, Copy)]
struct Bench([[f64; 3]; 4]);

const BENCH: Bench =
    Bench([[8e5, 900.0, 60.0], [3e5, -400.0, 60.0], [1e3, 50.0, 60.0], [4e6, 7.0, 60.0]]);

impl Bench {
    fn frames(&self, from: usize, frames: usize, state: &mut u64) -> Vec<[i32; 4]> {
        (from..from + frames)
            .map(|n| {
                let phase = std::f64::consts::TAU * n as f64 / 10.0;
                self.0.map(|[size, offset, spread]| {
                    (size * phase.cos() + offset + spread * noise(state)).round() as i32
                })
            })
            .collect()
    }
}

fn tenth() -> CarrierRatio {
    CarrierRatio::coherent(1, 10).expect("a carrier")
}

/// Verdicts of a run, in blocks of odd lengths; `change` has each frame in turn.
fn verdicts(frames: usize, mut change: impl FnMut(usize, &mut [i32; 4])) -> Vec<Verdict> {
    let (mut watch, mut state) = (Watch::<4>::new(LIMITS, tenth()), 9);
    let mut all = BENCH.frames(0, frames, &mut state);
    all.iter_mut().enumerate().for_each(|(n, frame)| change(n, frame));
    let mut told = Vec::new();
    let mut at = 0;
    while at < frames {
        let length = [1000, 77, 509, 508, 2048, 1][told.len() % 6].min(frames - at);
        told.push(watch.block(all[at..at + length].as_flattened(), at as u64));
        at += length;
    }
    told
}

/// Frames of a verdict.
const PERIOD: usize = LOOKS * STRIDE;

#[test]
fn a_sound_bench_is_sound() {
    let told = verdicts(40 * PERIOD, |_, _| {});
    assert!(told.iter().all(|v| *v == Verdict::default()), "{told:?}");
}

#[test]
fn a_stuck_channel() {
    let told = verdicts(6 * PERIOD, |n, frame| {
        if n > 2 * PERIOD {
            frame[1] = 77;
        }
    });
    let last = told.last().expect("some");
    assert!(last.faults.has(Faults::STUCK) && last.channels & 0b10 != 0, "{last:?}");
    assert!(told[..told.len() / 3].iter().all(|v| v.faults.is_none()));
}

/// From the last that is not to the first that is.
#[test]
fn a_silent_channel() {
    for (size, silent) in [(26, false), (24, true)] {
        let told =
            verdicts(4 * PERIOD, |n, frame| frame[2] = if n % 2 == 0 { 0 } else { 2 * size });
        let last = told.last().expect("some");
        assert_eq!(
            last.faults == Faults::SILENT && last.channels == 0b100,
            silent,
            "{size}: {last:?}"
        );
    }
}

/// Two neighbours with one signal, however large, and offsets of their own.
#[test]
fn two_shorted_channels() {
    let mut state = 5;
    let told = verdicts(4 * PERIOD, |_, frame| {
        frame[3] = frame[2] + 500 + (10.0 * noise(&mut state)) as i32
    });
    let last = told.last().expect("some");
    assert!(last.faults.has(Faults::SHORTED) && last.channels & 0b1100 == 0b1100, "{last:?}");
    // Bridges that read alike, with noises of their own, are not.
    let told = verdicts(40 * PERIOD, |n, frame| {
        let phase = std::f64::consts::TAU * n as f64 / 10.0;
        let signal = 3e5 * phase.cos();
        frame[0] = (signal + 60.0 * noise(&mut state)) as i32;
        frame[1] = (signal - 100.0 + 60.0 * noise(&mut state)) as i32;
    });
    assert!(told.iter().all(|v| v.faults.is_none()));
}

/// Swapped in pairs, and moved on by one: told until they are back.
#[test]
fn channels_that_changed_places() {
    let pair: fn(&mut [i32; 4]) = |frame| frame.swap(0, 1);
    let round: fn(&mut [i32; 4]) = |frame| frame.rotate_left(1);
    for (change, channels) in [(pair, 0b0011), (round, 0b1111)] {
        let told = verdicts(12 * PERIOD, |n, frame| {
            if (3 * PERIOD..9 * PERIOD).contains(&n) {
                change(frame);
            }
        });
        let swapped = |v: &&Verdict| v.faults.has(Faults::SWAPPED);
        let of_all = told.len() as f64 / 12.0;
        let first = told.iter().position(|v| swapped(&v)).expect("told") as f64 / of_all;
        let last = told.iter().rposition(|v| swapped(&v)).expect("told") as f64 / of_all;
        assert!((3.0..5.1).contains(&first), "{first}");
        assert!((9.0..11.1).contains(&last), "{last}");
        assert!(told.last().expect("some").faults.is_none());
        let during = &told[(6.0 * of_all) as usize];
        let faults = Faults::SWAPPED | Faults::JUMPED;
        assert_eq!(*during, Verdict { faults, channels });
    }
}

/// A carrier that goes, slips by a sample, turns round, or changes in one channel: told at once, and until it is back.
#[test]
fn carriers_that_jump() {
    type Change = fn(usize, &mut [i32; 4]);
    let gone: Change = |_, frame| frame[0] %= 100;
    let reversed: Change = |_, frame| *frame = frame.map(|code| -code);
    let larger: Change = |_, frame| frame[3] += frame[3] / 500;
    let slipped: Change =
        |n, frame| frame[1] = (3e5 * (0.2 * std::f64::consts::PI * (n + 1) as f64).cos()) as i32;
    for (change, channels) in
        [(gone, 0b0001), (reversed, 0b1011), (larger, 0b1000), (slipped, 0b0010)]
    {
        let from = 3 * PERIOD + PERIOD / 2;
        let told = verdicts(12 * PERIOD, |n, frame| {
            if (from..9 * PERIOD).contains(&n) {
                change(n, frame);
            }
        });
        let jumped: Vec<usize> =
            (0..told.len()).filter(|n| told[*n].faults.has(Faults::JUMPED)).collect();
        let of_all = told.len() as f64 / 12.0;
        assert!(jumped[0] as f64 / of_all < 5.1, "{channels:#b}");
        assert!(jumped.windows(2).all(|n| n[1] == n[0] + 1), "{channels:#b}: all the time");
        assert!((9.0..10.6).contains(&(jumped[jumped.len() - 1] as f64 / of_all)));
        assert_eq!(told[jumped[jumped.len() / 2]].channels, channels);
    }
}

/// From the last size of a step that is none to the first that is.
#[test]
fn how_far_a_jump_is() {
    // A carrier of A is 2 A / pi against a square wave: for ten samples a period, 0.6472 A in phase, and 0.6155 A in quadrature.
    for (size, jumps) in [(1900.0, false), (3400.0, true)] {
        let told = verdicts(6 * PERIOD, |n, frame| {
            if n >= 3 * PERIOD {
                frame[2] += (size * (0.2 * std::f64::consts::PI * n as f64).cos()) as i32;
            }
        });
        assert_eq!(told.last().expect("some").faults == Faults::JUMPED, jumps, "{size}");
    }
}

/// A bridge that moves through what another one was is no swap as long as it takes its time.
#[test]
fn crossing_is_no_swap() {
    let told = verdicts(40 * PERIOD, |n, frame| {
        let phase = std::f64::consts::TAU * n as f64 / 10.0;
        let part = n as f64 / (40 * PERIOD) as f64;
        // A thousand codes a verdict, either way: in phase and in quadrature together 1262, less than a step.
        frame[0] = ((3.4e5 - 4e4 * part) * phase.cos()) as i32 + frame[0] % 100;
        frame[1] = ((3e5 + 4e4 * part) * phase.cos()) as i32 + frame[1] % 100;
    });
    assert!(told.iter().all(|v| !v.faults.has(Faults::JUMPED)));
}

#[test]
fn limits_of_zero_find_nothing_but_what_stands_still() {
    let none = Limits { looks: 0, least_spread: 0, least_difference: 0, most_step: 0 };
    let mut watch = Watch::<2>::new(none, tenth());
    let mut state = 1;
    for block in 0..40 {
        let frames: Vec<i32> = (0..2 * STRIDE)
            .map(|n| if n % 2 == 0 { 5 } else { (1e6 * noise(&mut state)) as i32 * (block % 3) })
            .collect();
        let told = watch.block(&frames, 0);
        assert!(
            block < 2 || told.faults.has(Faults::STUCK) && told.channels & 1 == 1,
            "{block}: {told:?}"
        );
        assert!((Faults::STUCK | told.faults) == Faults::STUCK);
    }
    watch.restart();
    assert_eq!(watch.block(&[], 0), Verdict::default());
}
