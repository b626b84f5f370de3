//! What stages by themselves promise: which codes a watch looks at, which channel it names, from which
//! sample on a front end knows all, how a quadratic with one root ends.

use quietgap_core::bridge::gap_fraction;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::{FrontEndConfig, Path, Watch};
use quietgap_core::front_end::{FrontEnd, section_length};
use quietgap_core::over_range::{OverRange, SPARSE_STEP};
use quietgap_core::phasor::Phasor;

const ROOM: usize = 9;

/// Every channel by its own bit, whatever the number of channels, of frames, and the place of the code.
#[test]
fn a_watch_names_the_channel() {
    for channels in 1..=ROOM {
        for frames in 1..=9 {
            for place in 0..channels * frames {
                for code in [127, -128, i32::MAX, i32::MIN] {
                    let mut codes = vec![126; channels * frames];
                    codes[place] = code;
                    for sized in [false, channels == ROOM] {
                        let mut watch = OverRange::<ROOM>::new(channels, 8, Watch::EverySample);
                        watch.push(&codes, sized);
                        assert_eq!(
                            watch.take(),
                            1 << (place % channels),
                            "{channels}, {frames}, {place}"
                        );
                        assert_eq!(watch.take(), 0);
                    }
                }
            }
        }
        let mut watch = OverRange::<ROOM>::new(channels, 8, Watch::EverySample);
        watch.push(&vec![-127; channels * 9], false);
        assert_eq!(watch.take(), 0);
        watch.push(&vec![127; channels * 9], false);
        assert_eq!(watch.take(), (1 << channels) - 1);
    }
}

/// A sparse watch looks at every frame whose number is a multiple of its step, and at no other.
#[test]
fn a_sparse_watch_looks_at_its_own() {
    let step = SPARSE_STEP as usize;
    for start in [0, 1, step - 1, step, 10 * step + 7] {
        for block in [1, 7, step, 3 * step + 1] {
            let mut watch = OverRange::<2>::new(2, 24, Watch::Sparse);
            watch.seek(start as u64);
            for first in (0..3 * step).step_by(block) {
                // One bad frame in every block, each in turn.
                for bad in 0..block.min(3) {
                    let mut codes = vec![0; 2 * block];
                    codes[2 * bad + 1] = 1 << 23;
                    let mut now = watch;
                    now.push(&codes, true);
                    let number = start + first + bad;
                    assert_eq!(
                        now.take(),
                        if number % step == 0 { 2 } else { 0 },
                        "frame {number}"
                    );
                }
                watch.push(&vec![0; 2 * block], true);
            }
        }
    }
}

/// Two channels at an end in one frame do not hide each other.
#[test]
fn a_sparse_watch_names_both() {
    for codes in [[1 << 23, 1 << 23], [-(1 << 23), (1 << 23) - 1], [i32::MIN, i32::MAX]] {
        let mut watch = OverRange::<2>::new(2, 24, Watch::Sparse);
        watch.push(&codes, true);
        assert_eq!(watch.take(), 3, "{codes:?}");
    }
}

/// Folded, a front end that starts in mid-run knows all from that frame on; mixed, from the next section
/// and N - 1 on, as sections are rounded whole.
#[test]
fn from_when_all_is_known() {
    let config = |ratio, path| FrontEndConfig {
        order: 3,
        ratio,
        differential_delay: 1,
        path,
        watch: Watch::EverySample,
        pruned_bits: 0,
    };
    let carrier = CarrierRatio::coherent(1, 10).expect("a carrier");
    let mut folded =
        FrontEnd::<i128, 3, 1, 16>::new(carrier, config(90, Path::Coherent), 1, 24).expect("folds");
    assert!(folded.is_folded());
    let mut mixed =
        FrontEnd::<i128, 3, 1, 32>::new(carrier, config(97, Path::General), 1, 24).expect("mixes");
    let section = u64::from(section_length(config(97, Path::General), 24, None));
    assert!(section > 1 && 97 % section != 0, "{section}");
    for sample in (0..220).chain([1 << 40]) {
        assert_eq!(folded.seek(sample), sample);
        let into = sample % 97;
        let start = into / section * section;
        let end = (start + section).min(97);
        let next = if into == start { sample } else { sample - into + end };
        let want = if sample == 0 { 0 } else { next + 2 };
        assert_eq!(mixed.seek(sample), want, "{sample}, sections of {section}");
    }
}

/// A front end sized for its plan and one with room to spare give the same words, for any number of columns,
/// odd ones too.
#[test]
fn room_to_spare_changes_nothing() {
    fn words<const CHANNELS: usize, const COLUMNS: usize>(
        channels: usize,
        period: u32,
    ) -> Vec<Phasor> {
        let config = FrontEndConfig {
            order: 2,
            ratio: 7 * period as u16,
            differential_delay: 1,
            path: Path::Coherent,
            watch: Watch::EverySample,
            pruned_bits: 0,
        };
        let carrier = CarrierRatio::coherent(1, period).expect("a carrier");
        let mut front = FrontEnd::<i128, 2, CHANNELS, COLUMNS>::new(carrier, config, channels, 24)
            .expect("folds");
        let code = |n: usize| (n as i32 * 7919 % 10_007 - 5000) * 1000;
        let codes: Vec<i32> = (0..channels * period as usize * 35).map(code).collect();
        let mut rest = codes.as_slice();
        let mut out = vec![Phasor::default(); channels];
        let mut words = Vec::new();
        while front.decimate(&mut rest, &mut out).is_some() {
            words.extend(&out);
        }
        assert_eq!(words.len(), 5 * channels);
        words
    }
    assert_eq!(words::<1, 3>(1, 3), words::<8, 64>(1, 3));
    assert_eq!(words::<1, 5>(1, 5), words::<8, 64>(1, 5));
    assert_eq!(words::<3, 15>(3, 5), words::<8, 64>(3, 5));
    assert_eq!(words::<3, 21>(3, 7), words::<8, 64>(3, 7));
    assert_eq!(words::<2, 18>(2, 9), words::<8, 64>(2, 9));
    assert_eq!(words::<5, 55>(5, 11), words::<8, 64>(5, 11));
}

/// p (D1 - u) - q (D2 + u) + s (D1 - u)(D2 + u) = 0 with D = 1, p = 1, q = 0, s = -1/2: (1 - u)^2 = 0, which
/// has its one root at u = 1; a little more and there is none.
#[test]
fn a_double_root_is_a_root() {
    const ONE: i64 = 1 << 58;
    assert_eq!(gap_fraction([ONE, 0], -ONE / 2, [ONE, ONE]), Some(1 << 62));
    assert_eq!(gap_fraction([ONE, -ONE / 64], -ONE / 128 * 65, [ONE, ONE]), None);
}
