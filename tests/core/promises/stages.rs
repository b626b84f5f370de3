//! What stages by themselves promise: every code is watched, and its channel named; from which
//! sample on a front end knows all, how a quadratic with one root ends.

use super::{front_end, next};
use quietgap_core::bridge::gap_fraction;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::Path;
use quietgap_core::fold::Fold;
use quietgap_core::front_end::way::AnyWay;
use quietgap_core::front_end::{FrontEnd, section_length};
use quietgap_core::mixer::Mixer;
use quietgap_core::phasor::Phasor;
use quietgap_core::section::Way;

/// What an interval of 40 frames tells, handed over in blocks.
fn told<W: Way<2>, const ROOM: usize>(
    carrier: CarrierRatio,
    path: Path,
    channels: usize,
    codes: &[i32],
    block: usize,
) -> u32 {
    let mut front =
        FrontEnd::<i128, 2, ROOM, 256, W>::new(carrier, front_end(2, 40, path), channels, 8)
            .expect("a front end");
    let mut phasors = [Phasor::default(); ROOM];
    let mut told = None;
    for codes in codes.chunks(block * channels) {
        let mut rest = codes;
        if let Some(interval) = front.decimate(&mut rest, &mut phasors) {
            told = Some(interval.over_range);
        }
    }
    told.expect("an interval")
}

/// A code at an end of the range or beyond is told of its channel and of no other, whatever its place, the number
/// of channels, the way to the sums and the cut of the blocks; one step within the range is not.
fn watches<W: Way<2>, const ROOM: usize>(carrier: CarrierRatio, path: Path, counts: &[usize]) {
    for &channels in counts {
        for block in [1, 7, 40] {
            let told = |codes: &[i32]| told::<W, ROOM>(carrier, path, channels, codes, block);
            assert_eq!(told(&vec![126; 40 * channels]), 0);
            assert_eq!(told(&vec![-127; 40 * channels]), 0);
            assert_eq!(told(&vec![127; 40 * channels]), (1 << channels) - 1);
            for place in 0..40 * channels {
                for code in [127, -128, 128, -129, i32::MAX, i32::MIN] {
                    // Neighbours that would hide it in a sum.
                    let mut codes = vec![if code < 0 { 126 } else { -127 }; 40 * channels];
                    codes[place] = code;
                    let want = 1 << (place % channels);
                    assert_eq!(told(&codes), want, "{channels}, {block}, {place}, {code}");
                }
            }
        }
    }
}

#[test]
fn every_code_is_watched() {
    let [fifth, eighth] = [5, 8].map(|n| CarrierRatio::coherent(1, n).expect("a carrier"));
    let odd = CarrierRatio::from_step(0x1fed_cba9_8765_4321).expect("a carrier");
    watches::<AnyWay<2, 3, 256>, 3>(fifth, Path::Auto, &[1, 2, 3]);
    watches::<AnyWay<2, 3, 256>, 3>(eighth, Path::Auto, &[1, 2, 3]);
    watches::<AnyWay<2, 3, 256>, 3>(odd, Path::Auto, &[1, 2, 3]);
    // Sized: columns of a period or of half a one, for each channel, an odd number of them, too.
    watches::<Fold<2, 3, 15, true, 5>, 3>(fifth, Path::Coherent, &[3]);
    watches::<Fold<2, 3, 12, true, 4>, 3>(eighth, Path::Coherent, &[3]);
    watches::<Fold<2, 1, 5, true, 5>, 1>(fifth, Path::Coherent, &[1]);
    watches::<Mixer<2, 2, 256>, 2>(odd, Path::General, &[2]);
}

/// Ten million intervals of codes of any width within their range, one of them put at an end or beyond in each:
/// none is missed, no other channel is told. By all ways.
#[test]
#[ignore = "a minute: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn ten_million_ends() {
    fn run<W: Way<2>, const CHANNELS: usize>(carrier: CarrierRatio, path: Path, state: &mut u64) {
        let mut draw = move |below: u64| (next(state) >> 11) % below;
        for _ in 0..100 {
            // The widest fold into more columns than some of these have.
            let config = front_end(2, 40, path);
            let (bits, mut front) = loop {
                let bits = 8 + draw(25) as u32;
                if let Ok(front) =
                    FrontEnd::<i128, 2, CHANNELS, 256, W>::new(carrier, config, CHANNELS, bits)
                {
                    break (bits, front);
                }
            };
            let end = 1i64 << (bits - 1);
            let mut phasors = [Phasor::default(); CHANNELS];
            let mut codes = vec![0; 40 * CHANNELS];
            for _ in 0..20_000 {
                // Quiet, close to full scale, or a steady carrier of any size, in noise.
                let kind = draw(3);
                let within = [end / 64, end - 1, end / 256][kind as usize].max(1);
                let means: Vec<i64> = (0..8 * CHANNELS)
                    .map(|_| if kind == 2 { draw(2 * end as u64 - 1) as i64 - end + 1 } else { 0 })
                    .collect();
                for (n, code) in codes.iter_mut().enumerate() {
                    let noise = draw(2 * within as u64 - 1) as i64 - (within - 1);
                    let mean = means[n % (8 * CHANNELS)];
                    *code = (mean + noise).clamp(1 - end, end - 2) as i32;
                }
                let place = draw(codes.len() as u64) as usize;
                let beyond = draw(4) * draw(1 << 31);
                let (lower, upper) = (-end - beyond as i64, end - 1 + beyond as i64);
                let over = if draw(2) == 0 { lower } else { upper };
                codes[place] = over.clamp(i32::MIN.into(), i32::MAX.into()) as i32;
                // In one block, or cut anywhere.
                let cut = draw(2) * draw(40) * CHANNELS as u64;
                let (first, second) = codes.split_at(cut as usize);
                let told = [first, second].map(|mut rest| front.decimate(&mut rest, &mut phasors));
                let told = told[1].expect("an interval").over_range;
                assert_eq!(told, 1 << (place % CHANNELS), "{bits} bits, {codes:?}");
            }
        }
    }
    let [fifth, eighth] = [5, 8].map(|n| CarrierRatio::coherent(1, n).expect("a carrier"));
    let odd = CarrierRatio::from_step(0x1fed_cba9_8765_4321).expect("a carrier");
    let mut state = 1;
    run::<AnyWay<2, 3, 256>, 3>(fifth, Path::Auto, &mut state);
    run::<AnyWay<2, 2, 256>, 2>(odd, Path::Auto, &mut state);
    run::<Fold<2, 3, 15, true, 5>, 3>(fifth, Path::Coherent, &mut state);
    run::<Fold<2, 2, 8, true, 4>, 2>(eighth, Path::Coherent, &mut state);
    run::<Mixer<2, 1, 256>, 1>(odd, Path::General, &mut state);
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
