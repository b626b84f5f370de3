//! FIR decimators and bridge inversion against their twins.

use super::{Noise, cases, round_even};
use proptest::prelude::*;
use quietgap_core::bridge::{Bridge, BridgeReading, difference_gap_fraction, invert};
use quietgap_core::config::{BridgeConfig, BridgeKind, FirConfig};
use quietgap_core::fir::FirChain;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Fraction, Word};

proptest! {
    #![proptest_config(cases(256))]

    /// Filter everything, then drop: y\[j\] = 2^-s sum_i h\[i\] x\[(j+1) D - 1 - i\] by stages; an
    /// output's flag tells of any saturation since the output before it, in any stage.
    #[test]
    fn fir_chain_is_filter_then_drop(
        seed: u64,
        channels in 1usize..=3,
        large: bool,
        stages in prop::collection::vec((1u16..=12, 1usize..=40, 8u32..=29, -1i32..=1), 1..=3),
    ) {
        let mut noise = Noise(seed);
        let taps: Vec<Vec<i32>> = stages.iter().map(|&(_, length, bits, _)| {
            let half = noise.codes(bits - 5, false, length.div_ceil(2));
            (0..length).map(|i| half[i.min(length - 1 - i)]).collect()
        }).collect();
        let total = |taps: &[i32]| taps.iter().map(|t| u64::from(t.unsigned_abs())).sum::<u64>();
        prop_assume!(taps.iter().all(|t| total(t) > 0));
        // Gain below 1, 2 or 4; words within their limit, or so large that some must saturate.
        let scale = |t: &[i32], more: i32| (total(t).ilog2() as i32 + more).clamp(0, 30) as u8;
        let configs: Vec<FirConfig> = stages.iter().zip(&taps).map(|(&(ratio, _, _, more), taps)| {
            FirConfig { ratio, taps, scale_bits: scale(taps, more) }
        }).collect();
        let made = FirChain::<160, 400>::new(&configs, channels, Word::from_bits(1 << 49));
        let mut chain = made.unwrap();
        let count = 12 * configs.iter().map(|c| usize::from(c.ratio)).product::<usize>().min(300);
        let word = |x: u64| i128::from((x as i64) >> if large { 8 } else { 14 });
        let limit = (1i128 << 55) - 1;
        let input: Vec<Vec<[i128; 2]>> = (0..channels).map(|_| {
            let words = |_| [word(noise.next()), word(noise.next())].map(|x| x.clamp(-limit, limit));
            (0..count).map(words).collect()
        }).collect();

        // The twin: words of each channel, and with each of them whether it saturated.
        let mut words = input.clone();
        let mut spoiled = vec![false; count];
        for config in &configs {
            let ratio = usize::from(config.ratio);
            let ends: Vec<usize> = (0..words[0].len() / ratio).map(|j| (j + 1) * ratio - 1).collect();
            let mut now: Vec<bool> = ends.iter().map(|&n| spoiled[n + 1 - ratio..=n].contains(&true)).collect();
            for channel in &mut words {
                let filtered = |n: usize| {
                    let mut y = [0i128; 2];
                    for (i, &tap) in config.taps.iter().enumerate().take_while(|(i, _)| *i <= n) {
                        y = [0, 1].map(|p| y[p] + i128::from(tap) * channel[n - i][p]);
                    }
                    y.map(|x| round_even(x, config.scale_bits.into()))
                };
                let all: Vec<[i128; 2]> = (0..channel.len()).map(filtered).collect();
                let kept: Vec<[i128; 2]> = ends.iter().map(|&n| all[n]).collect();
                now.iter_mut().zip(&kept).for_each(|(s, y)| *s |= y.iter().any(|x| x.abs() > limit));
                *channel = kept.iter().map(|y| y.map(|x| x.clamp(-limit, limit))).collect();
            }
            spoiled = now;
        }
        if !large {
            prop_assert!(!spoiled.contains(&true));
        }

        let mut outputs = Vec::new();
        for n in 0..count {
            let phasor = |x: &Vec<[i128; 2]>| {
                let [i, q] = x[n].map(|x| Word::from_bits(x as i64));
                Phasor { i, q }
            };
            let mut frame: Vec<Phasor> = input.iter().map(phasor).collect();
            if let Some(saturated) = chain.push(&mut frame) {
                let bits = |p: &Phasor| [i128::from(p.i.to_bits()), i128::from(p.q.to_bits())];
                outputs.push((frame.iter().map(bits).collect::<Vec<_>>(), saturated));
            }
        }
        let (is, flags): (Vec<_>, Vec<bool>) = outputs.into_iter().unzip();
        let twin: Vec<Vec<_>> = (0..spoiled.len()).map(|j| words.iter().map(|c| c[j]).collect()).collect();
        prop_assert_eq!(is, twin, "words");
        prop_assert_eq!(flags, spoiled, "flags of saturation");
    }
}

/// a x b of 128 and 64 bits, as (upper, lower) words of 128.
fn product(a: u128, b: u64) -> (u128, u128) {
    let low = (a & u128::from(u64::MAX)) * u128::from(b);
    let high = (a >> 64) * u128::from(b) + (low >> 64);
    (high >> 64, high << 64 | low & u128::from(u64::MAX))
}

/// Whether r (1 - u^2) >= u, exact: r in Q.60 and u in Q.62, both sides in Q.184.
fn at_most_the_root(u: u64, r: u64) -> bool {
    let rest = (1u128 << 124) - u128::from(u) * u128::from(u);
    product(rest, r) >= product(1 << 122, u)
}

/// Largest |r| that the inversion takes, Q4.60.
const R_LIMIT: i64 = 11 << 59;

proptest! {
    #![proptest_config(cases(4096))]

    /// The root u of r = u/(1 - u^2) lies within two steps of the answer, without a square root.
    #[test]
    fn gap_fraction_is_the_root(r in -R_LIMIT..=R_LIMIT, small in 0u32..62) {
        for r in [r, r >> small] {
            let u = difference_gap_fraction(r);
            prop_assert_eq!(u, -difference_gap_fraction(-r));
            prop_assert!(u == 0 || (u < 0) == (r < 0));
            let (u, r) = (u.unsigned_abs(), r.unsigned_abs());
            prop_assert!(at_most_the_root(u.saturating_sub(2), r), "{} is too large for {}", u, r);
            prop_assert!(!at_most_the_root(u + 2, r) , "{} is too small for {}", u, r);
        }
    }

    /// u to r, rounded to Q4.60, and back. r's rounding is half a step of Q4.60, two of Q2.62, and
    /// du/dr is at most 1; the answer's own error is two more.
    #[test]
    fn gap_fraction_and_back(u in -(9i64 << 62) / 10..=(9i64 << 62) / 10) {
        let (u, one) = (i128::from(u >> 1), 1i128 << 62);
        // r = u (1 - u^2)^-1 with 1 - u^2 in Q.124 cut to Q.62: by long division, 30 bits twice.
        let rest = ((one << 62) - u * u) >> 62;
        let whole = (u.abs() << 62) / rest;
        let r = (whole + 2) >> 2;
        let back = difference_gap_fraction((r * u.signum()) as i64);
        prop_assert!((i128::from(back) - u).abs() <= 5, "{} back {}", u, back);
    }

    /// Separate electrodes: (a1 - a2)/(a1 + a2 - s1 - s2) with strays taken off, half to even,
    /// from words in phase; the difference bridge of the same mass agrees.
    #[test]
    fn separate_electrodes_are_the_quotient(
        gain in 1i64 << 44..1 << 49,
        u in -900i64..=900,
        strays in [0i64..1 << 48, 0i64..1 << 48],
        noise in -1000i64..1000,
    ) {
        // C1 = g/(1 - u), C2 = g/(1 + u).
        let first = gain * 1000 / (1000 - u);
        let second = gain * 1000 / (1000 + u) + noise;
        let word = Word::from_bits;
        let in_phase = |bits| Phasor { i: word(bits), q: Word::ZERO };
        let phasors = [in_phase(first + strays[0]), in_phase(second + strays[1]), in_phase(first - second)];
        let separate = BridgeKind::Separate { channels: [0, 1], strays: strays.map(word), least_sum: word(1 << 40) };
        let difference = BridgeKind::Difference {
            channel: 2, full: word(2 * gain), imbalance: Fraction::ZERO, share: Fraction::ZERO,
        };
        let range = Fraction::lit("0.9");
        let bridge = |kind| Bridge::new(&BridgeConfig { kind, gap_am: 1_000_000_000, offset_am: 0, range, quadrature: range });
        let mut out = [BridgeReading::default(); 2];
        invert(&[bridge(separate), bridge(difference)], &phasors, 1 << 60, &mut out);
        let (sum, over) = (i128::from(first + second), i128::from(first - second) << 62);
        let (floor, rest) = (over.div_euclid(sum), over.rem_euclid(sum));
        let up = 2 * rest > sum || (2 * rest == sum && floor % 2 != 0);
        prop_assert_eq!(i128::from(out[0].gap_fraction.to_bits()), floor + i128::from(up));
        // Word steps of `first`, `second` and the added noise, over a sum of at least 2 gain.
        let limit = 1002.0 * 4.0 / gain as f64;
        let disagree = (out[0].gap_fraction.to_num::<f64>() - out[1].gap_fraction.to_num::<f64>()).abs();
        prop_assert!(disagree < limit, "{} {}", disagree, limit);
    }
}
