//! What stages by themselves promise: which codes a watch looks at, which channel it names, from which
//! sample on a front end knows all, how a quadratic with one root ends.

use super::front_end;
use quietgap_core::bridge::gap_fraction;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::{Path, Watch};
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
    let config = |ratio, path| front_end(3, ratio, path);
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
        periods: u32,
    ) -> Vec<Phasor> {
        let config = front_end(2, (periods * period) as u16, Path::Coherent);
        let carrier = CarrierRatio::coherent(1, period).expect("a carrier");
        let mut front = FrontEnd::<i128, 2, CHANNELS, COLUMNS>::new(carrier, config, channels, 24)
            .expect("folds");
        let code = |n: usize| (n as i32 * 7919 % 10_007 - 5000) * 1000;
        let codes: Vec<i32> = (0..channels * (5 * periods * period) as usize).map(code).collect();
        let mut rest = codes.as_slice();
        let mut out = vec![Phasor::default(); channels];
        let mut words = Vec::new();
        while front.decimate(&mut rest, &mut out).is_some() {
            words.extend(&out);
        }
        assert_eq!(words.len(), 5 * channels);
        words
    }
    // Rows enough for blocks of sixteen and what is left behind them.
    for periods in [7, 16] {
        macro_rules! alike {
            ($($channels:literal, $columns:literal, $period:literal;)*) => { $(
                assert_eq!(
                    words::<$channels, $columns>($channels, $period, periods),
                    words::<8, 64>($channels, $period, periods),
                    "{} channels, period {}", $channels, $period
                );
            )* };
        }
        alike! { 1, 3, 3; 1, 5, 5; 3, 15, 5; 3, 21, 7; 2, 18, 9; 5, 55, 11; }
        // Half periods, every other row negative.
        alike! { 1, 2, 4; 2, 6, 6; 3, 15, 10; 7, 35, 10; 1, 20, 40; }
    }
}

/// A square wave from end to end of the converter's range, as long as a section may be: the folded way's
/// sums are full, and give what the mixed way does, to the rounding of their cosines (2^-22).
#[test]
fn full_scale_folded_and_mixed() {
    fn words<const ORDER: usize>(path: Path, bits: u32, ratio: u16) -> Vec<Phasor> {
        let config = front_end(ORDER as u8, ratio, path);
        let carrier = CarrierRatio::coherent(1, 4).expect("a carrier");
        let mut front =
            FrontEnd::<i128, ORDER, 1, 4096>::new(carrier, config, 1, bits).expect("a front end");
        let [low, high] = [-1 << (bits - 1), (1 << (bits - 1)) - 1];
        let frames = usize::from(ratio) * 8;
        let codes: Vec<i32> = (0..frames).map(|n| if n % 4 < 2 { high } else { low }).collect();
        let (mut rest, mut out) = (codes.as_slice(), [Phasor::default()]);
        let mut words = Vec::new();
        while front.decimate(&mut rest, &mut out).is_some() {
            words.extend(out);
        }
        words
    }
    fn alike<const ORDER: usize>() {
        for (bits, ratio) in [(24, 64), (24, 400), (20, 400), (16, 1000), (12, 4000), (8, 4000)] {
            let [folded, mixed] =
                [Path::Auto, Path::General].map(|path| words::<ORDER>(path, bits, ratio));
            assert_eq!(folded.len(), 8);
            // The first ones, too: combs take off what all intervals have in common.
            let pairs = folded.iter().zip(&mixed).flat_map(|(a, b)| [(a.i, b.i), (a.q, b.q)]);
            for (a, b) in pairs {
                let apart = (a.to_num::<f64>() - b.to_num::<f64>()).abs();
                assert!(apart < 2f64.powi(-22), "order {ORDER}, {bits} bits, {ratio}: {apart:e}");
            }
            let last = folded[7];
            assert!([last.i, last.q].iter().all(|x| x.to_num::<f64>().abs() > 0.3));
        }
    }
    alike::<1>();
    alike::<2>();
    alike::<3>();
    alike::<4>();
}

/// Codes far beyond their bits saturate one component of one channel: told, whichever it is.
#[test]
fn saturation_of_any_word() {
    for path in [Path::Coherent, Path::General] {
        for channel in 0..3 {
            for quarter in 0..2 {
                let config = front_end(1, 16, path);
                let carrier = CarrierRatio::coherent(1, 4).expect("a carrier");
                let mut front =
                    FrontEnd::<i64, 1, 3, 256>::new(carrier, config, 3, 8).expect("a front end");
                // At the carrier's peak, and a quarter of a period behind.
                let mut codes = vec![0; 3 * 16];
                for n in (quarter..16).step_by(4) {
                    codes[3 * n + channel] = 1 << 14;
                }
                let (mut rest, mut out) = (codes.as_slice(), [Phasor::default(); 3]);
                let interval = front.decimate(&mut rest, &mut out).expect("an interval");
                assert!(interval.saturated, "{path:?}, channel {channel}, {quarter}: {out:?}");
            }
        }
    }
}

/// p (D1 - u) - q (D2 + u) + s (D1 - u)(D2 + u) = 0 with D = 1, p = 1, q = 0, s = -1/2: (1 - u)^2 = 0, which
/// has its one root at u = 1; a little more and there is none.
#[test]
fn a_double_root_is_a_root() {
    const ONE: i64 = 1 << 58;
    assert_eq!(gap_fraction([ONE, 0], -ONE / 2, [ONE, ONE]), Some(1 << 62));
    assert_eq!(gap_fraction([ONE, -ONE / 64], -ONE / 128 * 65, [ONE, ONE]), None);
}
