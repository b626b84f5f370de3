//! What `seek` promises: nothing of before is left, whatever the readout was in the middle of; by any way to the
//! section sums, the one that the plan chooses and those that a firmware names.

use super::*;
use quietgap_core::fold::Fold;
use quietgap_core::front_end::way::AnyWay;
use quietgap_core::mixer::Mixer;
use quietgap_core::section::Way;

const TAPS: [i32; 5] = [1 << 26, 1 << 27, 1 << 28, 1 << 27, 1 << 26];

/// Two channels, intervals of 40 samples, a reading every sixth; a carrier of 8 samples.
fn board<W: Way<3>>(path: Path, carrier: CarrierRatio) -> Readout<3, 2, 512, 16, 32, i64, W> {
    let firs = [
        FirConfig { ratio: 2, taps: &TAPS, scale_bits: 30 },
        FirConfig { ratio: 3, taps: &TAPS, scale_bits: 30 },
    ];
    Readout::new(&ReadoutConfig {
        code_bits: 16,
        carrier,
        front_end: front_end(3, 40, path),
        firs: &firs,
        alignments: &[Alignment::NONE; 2],
        monitor: None,
        bridges: &[difference(0), difference(1)],
        cross_coupling: &[],
        electrodes: &[],
        axes: AxesConfig { axes: 0, solve: &[], geometry: &[], residual_am: 0 },
    })
    .expect("a board")
}

fn codes(count: usize, seed: u64) -> Vec<i32> {
    let mut state = seed;
    (0..2 * count).map(|_| (8192.0 * random(&mut state)) as i32).collect()
}

/// A readout that was used, stopped after `used` codes, and one that was not read the same from `start` on.
fn forgets<W: Way<3>>(path: Path, carrier: CarrierRatio, folds: bool) {
    for used in [1, 2, 77, 78, 161, 2 * 40 * 7 + 2 * 13, 2 * 40 * 12 + 1] {
        for start in [0, 1, 8, 13, 40, 53, 240, 241, 12_345, 1 << 40] {
            let run = |used: usize| {
                let mut board = board::<W>(path, carrier);
                assert_eq!(board.front_end().is_folded(), folds);
                // An end code among them, so that faults are held as well.
                let mut before = codes(1000, 1);
                before[0] = -(1 << 15);
                board.push(&before[..used], |_| ());
                board.seek(start);
                let mut readings = Vec::new();
                board.push(&codes(40 * 6 * 5, 2), |reading| readings.push(reading.clone()));
                readings
            };
            let (fresh, again) = (run(0), run(used));
            assert!(fresh.len() >= 4);
            assert_eq!(fresh, again, "{path:?}, {used} codes, from {start}");
            let health = &again.last().expect("a reading").health;
            assert!(!health.has(Health::MEMORY) && !health.has(Health::OVER_RANGE), "{health:?}");
        }
    }
}

#[test]
fn nothing_of_before_is_left() {
    let eighth = CarrierRatio::coherent(1, 8).expect("a carrier");
    let odd = CarrierRatio::from_step(0x1fed_cba9_8765_4321).expect("a carrier");
    forgets::<AnyWay<3, 2, 512>>(Path::Auto, eighth, true);
    forgets::<AnyWay<3, 2, 512>>(Path::General, odd, false);
    forgets::<Fold<3, 2, 512, false>>(Path::Auto, eighth, true);
    forgets::<Mixer<3, 2, 512>>(Path::General, odd, false);
    // Sized for the plan: four columns of a half period for each channel.
    forgets::<Fold<3, 2, 8, true, 4>>(Path::Coherent, eighth, true);
}
