//! FIR decimators and bridge inversion against their twins.

use super::{Noise, cases, round_even};
use proptest::prelude::*;
use quietgap_core::bridge::{Bridge, gap_fraction};
use quietgap_core::config::{BridgeConfig, BridgeKind, FirConfig};
use quietgap_core::coupling::{Coupling, MAX_SHARE};
use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Fraction, Word};

proptest! {
    #![proptest_config(cases(256))]

    /// Filter everything, then drop: y\[j\] = 2^-s sum_i h\[i\] x\[(j+1) D - 1 - i\] by stages; an
    /// output's flag tells of any saturation since the output before it, in any stage. In pieces, with all at once
    /// where the last stage's output is due, the same.
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
        let (mut pieces, [mut waiting, mut others]) = (chain.clone(), [[Waiting::NONE; 3]; 2]);
        let interval = configs.iter().map(|c| usize::from(c.ratio)).product::<usize>();
        let count = 12 * interval.min(300);
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
            let mut again = frame.clone();
            let due = (n + 1) % interval == 0;
            let in_pieces = pieces.push(&mut again, &mut waiting, due);
            let at_once = chain.push(&mut frame, &mut others, true);
            prop_assert_eq!(in_pieces, at_once);
            prop_assert!(!due || again == frame, "in pieces");
            if let Some(saturated) = at_once {
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

/// Largest |r| that the inversion takes, Q6.58.
const R_LIMIT: i64 = 11 << 57;
const UNIT: i64 = 1 << 58;

/// Of a pair of equal electrodes.
fn of_equals(r: i64) -> i64 {
    gap_fraction([UNIT / 2; 2], r, [UNIT; 2]).expect("a root")
}

proptest! {
    #![proptest_config(cases(4096))]

    /// The root u of r = u/(1 - u^2) lies within eight steps of the answer, without a square root.
    #[test]
    fn gap_fraction_is_the_root(r in -R_LIMIT..=R_LIMIT, small in 0u32..62) {
        for r in [r, r >> small] {
            let u = of_equals(r);
            prop_assert_eq!(u, -of_equals(-r));
            prop_assert!(u == 0 || (u < 0) == (r < 0));
            let (u, r) = (u.unsigned_abs(), r.unsigned_abs() << 2);
            prop_assert!(at_most_the_root(u.saturating_sub(8), r), "{} is too large for {}", u, r);
            prop_assert!(!at_most_the_root(u + 8, r) , "{} is too small for {}", u, r);
        }
    }

    /// u to r, rounded to Q6.58, and back. r's rounding is half a step of Q6.58, eight of Q2.62, and
    /// du/dr is at most 1; the answer's own error is eight more.
    #[test]
    fn gap_fraction_and_back(u in -(9i64 << 62) / 10..=(9i64 << 62) / 10) {
        let (u, one) = (i128::from(u >> 1), 1i128 << 62);
        // r = u (1 - u^2)^-1 with 1 - u^2 in Q.124 cut to Q.62: by long division, 30 bits twice.
        let rest = ((one << 62) - u * u) >> 62;
        let whole = (u.abs() << 62) / rest;
        let r = (whole + 8) >> 4;
        let back = of_equals((r * u.signum()) as i64);
        prop_assert!((i128::from(back) - u).abs() <= 17, "{} back {}", u, back);
    }

    /// Unequal gaps and weights: the answer solves the equation, and lies between the electrodes.
    #[test]
    fn gap_fraction_of_any_pair(
        u in -0.9f64..0.9, weights in [0.25f64..0.75, 0.25f64..0.75], gaps in [0.7f64..1.3, 0.7f64..1.3],
    ) {
        let u = u * gaps[0].min(gaps[1]);
        let [p, q] = weights;
        let s = (q * (gaps[1] + u) - p * (gaps[0] - u)) / ((gaps[0] - u) * (gaps[1] + u));
        prop_assume!(s.abs() < 5.4);
        let fixed = |x: f64| (x * UNIT as f64).round() as i64;
        let got = gap_fraction([p, q].map(fixed), fixed(s), gaps.map(fixed)).expect("a root");
        let got = got as f64 / 2f64.powi(62);
        prop_assert!((got - u).abs() < 1e-14, "{} {}", got, u);
    }

    /// Separate electrodes: (a1 - a2)/(a1 + a2 - s1 - s2) with strays taken off, from words in phase;
    /// the difference bridge of the same mass agrees.
    #[test]
    fn separate_electrodes_are_the_quotient(
        gain in 1i64 << 44..1 << 49,
        u in -900i64..=900,
        strays in [0i64..1 << 44, 0i64..1 << 44],
    ) {
        // C1 = g/(1 - u), C2 = g/(1 + u).
        let first = gain * 1000 / (1000 - u);
        let second = gain * 1000 / (1000 + u);
        let word = Word::from_bits;
        let in_phase = |bits| Phasor { i: word(bits), q: Word::ZERO };
        let phasors = [in_phase(first + strays[0]), in_phase(second + strays[1]), in_phase(first - second)];
        let separate = BridgeKind::Separate { channels: [0, 1], least_sum: word(1 << 40) };
        let difference = BridgeKind::Difference { channel: 2, full: word(2 * gain) };
        let none = [Fraction::ZERO; 2];
        let shares = strays.map(|s| Fraction::from_bits(((i128::from(s) << 61) / i128::from(gain)) as i64));
        let bridge = |kind, strays| {
            let range = Fraction::lit("0.9");
            Bridge::new(&BridgeConfig { strays, range, ..BridgeConfig::plain(kind, 1_000_000_000) })
        };
        let out = [(separate, shares), (difference, none)].map(|(kind, strays)| {
            let bridge = bridge(kind, strays);
            bridge.invert(&bridge.measure(&phasors, UNIT), &bridge.at_rest(), UNIT)
        });
        let (sum, over) = (i128::from(first + second), i128::from(first - second) << 62);
        // Steps of Q2.62: some ten amplitudes, strays and products that are each within eight, over
        // a slope b of a half or, with as much of strays as of electrodes, a quarter.
        let apart = i128::from(out[0].gap_fraction.to_bits()) - over.div_euclid(sum);
        // And the words' own rounding, which asks for another carrier than the strays were made for.
        let rounding = (strays[0] + strays[1]) as f64 / (gain as f64).powi(2) * 2f64.powi(62);
        prop_assert!(apart.unsigned_abs() < 400 + rounding as u128, "{} steps", apart);
        // Word steps of `first` and `second` over a sum of at least 2 gain.
        let limit = 2.0 * 4.0 / gain as f64;
        let disagree = (out[0].gap_fraction.to_num::<f64>() - out[1].gap_fraction.to_num::<f64>()).abs();
        prop_assert!(disagree < limit, "{} {}", disagree, limit);
    }

    /// r = r' - sum S r', the sum rounded half to even at once; separate electrodes are left as they are.
    #[test]
    fn coupling_is_a_sum_of_shares(seed: u64, count in 1usize..=5, separate: bool, small in 0u32..40) {
        let mut noise = Noise(seed);
        let word = |bits: i64| Word::from_bits(bits);
        let difference = |channel| BridgeKind::Difference { channel, full: Word::lit("0.5") };
        let mut kinds: Vec<BridgeKind> = (0..count as u8).map(difference).collect();
        if separate {
            kinds.push(BridgeKind::Separate { channels: [0, 1], least_sum: word(1 << 30) });
        }
        let bridges: Vec<BridgeConfig> =
            kinds.into_iter().map(|kind| BridgeConfig::plain(kind, 1_000_000_000)).collect();
        let all = bridges.len();
        let most = MAX_SHARE.to_bits();
        let shares: Vec<i64> = (0..all * all)
            .map(|n| {
                let coupled = n / all < count && n % all < count;
                if coupled { (noise.next() as i64 % most) >> (small / 2) } else { 0 }
            })
            .collect();
        let fractions: Vec<Fraction> = shares.iter().map(|s| Fraction::from_bits(*s)).collect();
        let coupling = Coupling::<6>::new(&fractions, &bridges).expect("good shares");
        // In phase; up to a quarter of a word, half of a ratio.
        let words: Vec<i64> = (0..6).map(|_| noise.next() as i64 >> 14 >> small).collect();
        let phasors: Vec<Phasor> =
            words.iter().map(|bits| Phasor { i: word(*bits), q: Word::ZERO }).collect();
        let kept: Vec<Bridge> = bridges.iter().map(Bridge::new).collect();
        let mut measured: Vec<_> = kept.iter().map(|b| b.measure(&phasors, UNIT)).collect();
        let before: Vec<_> =
            kept.iter().zip(&measured).map(|(b, m)| b.invert(m, &b.at_rest(), UNIT)).collect();
        coupling.take_off(&mut measured);
        for (b, (bridge, measured)) in kept.iter().zip(&measured).enumerate() {
            let is = bridge.invert(measured, &bridge.at_rest(), UNIT);
            if b == count {
                prop_assert_eq!(is, before[b]);
                continue;
            }
            // Over 0.5, from Q.52 to Q.58: seven more bits.
            let ratio = |n: usize| i128::from(words[n]) << 7;
            let sum: i128 = (0..count).map(|n| i128::from(shares[b * all + n]) * ratio(n)).sum();
            let r = ratio(b) - round_even(sum, 62);
            prop_assert_eq!(is.gap_fraction.to_bits(), of_equals(r as i64), "{}", b);
        }
    }
}
