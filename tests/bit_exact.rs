//! Naive twins of the integer stages, equal to the last bit: written from the module
//! documentation in the most literal way (whole convolutions, one sample at a time, everything
//! in 128 bits or more), never from the code.

use proptest::prelude::*;
use quietgap_core::bridge::{BridgeReading, difference_gap_fraction, invert};
use quietgap_core::carrier::{CarrierRatio, cos_sin};
use quietgap_core::config::{BridgeConfig, BridgeKind, FirConfig, FrontEndConfig, Path};
use quietgap_core::fir::FirChain;
use quietgap_core::front_end::{FrontEnd, Interval, words_per_code};
use quietgap_core::phasor::Phasor;
use quietgap_core::word::{Fraction, Word};

/// x / 2^shift, the nearest integer, the even one of two.
fn round_even(x: i128, shift: i32) -> i128 {
    if shift <= 0 {
        return x << -shift;
    }
    let unit = 1i128 << shift;
    let (floor, rest) = (x.div_euclid(unit), x.rem_euclid(unit));
    match (2 * rest).cmp(&unit) {
        std::cmp::Ordering::Less => floor,
        std::cmp::Ordering::Equal => floor + floor.rem_euclid(2),
        std::cmp::Ordering::Greater => floor + 1,
    }
}

/// No regression files: a case found is worth a test of its own.
fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

/// Repeatable noise: Steele, Lea and Flood's splitmix64 (2014, recalled).
struct Noise(u64);
impl Noise {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let x = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^ (x >> 31)
    }
    fn below(&mut self, end: usize) -> usize {
        (self.next() % end as u64) as usize
    }
    /// Codes within b bits: spread evenly, or the two ends of the range.
    fn codes(&mut self, bits: u32, ends: bool, count: usize) -> Vec<i32> {
        let code = |x: u64| (x as i32) >> (32 - bits);
        let end =
            |x: u64| if x & 1 == 0 { i32::MIN >> (32 - bits) } else { i32::MAX >> (32 - bits) };
        (0..count).map(|_| if ends { end(self.next()) } else { code(self.next()) }).collect()
    }
}

#[derive(Clone, Debug)]
struct Plan {
    order: u8,
    ratio: usize,
    delay: u8,
    bits: u32,
    channels: usize,
    seed: u64,
    /// End codes only.
    ends: bool,
}

impl Plan {
    fn config(&self, path: Path) -> FrontEndConfig {
        FrontEndConfig {
            order: self.order,
            ratio: self.ratio as u16,
            differential_delay: self.delay,
            path,
        }
    }
    fn outputs(&self) -> usize {
        usize::from(self.order) * usize::from(self.delay) + 3
    }
    fn codes(&self) -> Vec<i32> {
        Noise(self.seed).codes(self.bits, self.ends, self.outputs() * self.ratio * self.channels)
    }
    /// N boxcars of R M ones, convolved one after the other.
    fn impulse_response(&self) -> Vec<i128> {
        let mut h = vec![1i128];
        for _ in 0..self.order {
            let mut next = vec![0; h.len() + self.ratio * usize::from(self.delay) - 1];
            for (i, tap) in h.iter().enumerate() {
                next[i..i + self.ratio * usize::from(self.delay)]
                    .iter_mut()
                    .for_each(|x| *x += tap);
            }
            h = next;
        }
        h
    }
    /// The shift that brings a full-scale carrier, 2^(b-1) 2^f (R M)^N / 2, into (2^51, 2^52].
    fn shift(&self, fraction_bits: u32) -> i32 {
        let full =
            (self.impulse_response().iter().sum::<i128>()) << (self.bits - 1 + fraction_bits - 1);
        (-52..74).find(|s| full <= 1i128 << (52 + s)).expect("a shift")
    }
}

fn plans(
    orders: impl Strategy<Value = u8>,
    ratio: impl Strategy<Value = usize>,
) -> impl Strategy<Value = Plan> {
    let flat = (orders, ratio, 1u8..=2, 8u32..=32, 1usize..=7, any::<u64>(), any::<bool>());
    flat.prop_map(|(order, ratio, delay, bits, channels, seed, ends)| Plan {
        order,
        ratio,
        delay,
        bits,
        channels,
        seed,
        ends,
    })
}

/// A coherent carrier, cycles and samples, and a plan whose ratio is whole periods of it.
fn coherent_plans() -> impl Strategy<Value = (u32, u32, Plan)> {
    (3u32..=33, 0u32..1000, 1usize..=40, 1u8..=6).prop_flat_map(
        |(samples, cycles, periods, order)| {
            let cycles = 1 + cycles % ((samples - 1) / 2);
            let periods = periods.min(480 / samples as usize);
            plans(Just(order), Just(periods * samples as usize))
                .prop_map(move |plan| (cycles, samples, plan))
        },
    )
}

/// The core's front end over `codes`, in blocks cut at random, some empty.
fn front_end<const N: usize, const COLUMNS: usize>(
    carrier: CarrierRatio,
    plan: &Plan,
    path: Path,
) -> Vec<Vec<[i128; 2]>> {
    let mut front =
        FrontEnd::<N, 7, COLUMNS>::new(carrier, plan.config(path), plan.channels, plan.bits)
            .unwrap();
    assert_eq!(front.is_folded(), path == Path::Coherent);
    let gain = plan.impulse_response().iter().sum::<i128>() as u128;
    // A carrier of amplitude A codes makes A gain 2^f / 2^(s+1) words, on either path.
    let exponent = if path == Path::Coherent { plan.shift(30) - 29 } else { plan.shift(28) - 27 };
    assert_eq!(words_per_code(plan.config(path), plan.bits), (gain, exponent));
    assert_eq!(front.span() as usize, plan.impulse_response().len());
    let mut noise = Noise(!plan.seed);
    let mut out = Vec::new();
    for interval in plan.codes().chunks_exact(plan.ratio * plan.channels) {
        let mut rest = interval;
        while !rest.is_empty() {
            assert_eq!(front.missing() as usize * plan.channels, rest.len());
            let most = if noise.below(2) == 0 { 5 } else { plan.ratio + 1 };
            let frames = noise.below(most).min(rest.len() / plan.channels);
            let (now, later) = rest.split_at(frames * plan.channels);
            front.push(now);
            rest = later;
        }
        let mut phasors = vec![Phasor::default(); plan.channels];
        let Interval { saturated, .. } = front.decimate(&mut phasors);
        assert!(!saturated);
        let bits = |p: &Phasor| [i128::from(p.i.to_bits()), i128::from(p.q.to_bits())];
        out.push(phasors.iter().map(bits).collect());
    }
    out
}

/// `front_end` for an order known at run time; few columns make sections short.
fn core(carrier: CarrierRatio, plan: &Plan, path: Path, few_columns: bool) -> Vec<Vec<[i128; 2]>> {
    macro_rules! orders {
        ($($n:literal)*) => {
            match (plan.order, few_columns) {
                $(($n, false) => front_end::<$n, 231>(carrier, plan, path),
                  ($n, true) => front_end::<$n, 37>(carrier, plan, path),)*
                _ => unreachable!(),
            }
        };
    }
    orders!(1 2 3 4 5 6)
}

/// y\[k\] = 2^-s sum_n h\[(k+1) R - 1 - n\] x\[n\] e^(-i phase of n), cosines and sines in Q2.30.
fn folded_twin(phase: impl Fn(u64) -> u64, period: usize, plan: &Plan) -> Vec<Vec<[i128; 2]>> {
    let h = plan.impulse_response();
    let turn = |n| {
        let (cosine, sine) = cos_sin(phase(n as u64));
        [round_even(cosine.into(), 32), -round_even(sine.into(), 32)]
    };
    let carrier: Vec<[i128; 2]> = (0..period).map(turn).collect();
    let codes = plan.codes();
    let output = |k: usize, channel: usize| {
        let mut sum = [0i128; 2];
        for n in 0..(k + 1) * plan.ratio {
            let Some(tap) = h.get((k + 1) * plan.ratio - 1 - n) else { continue };
            let x = i128::from(codes[n * plan.channels + channel]);
            sum = [0, 1].map(|part| sum[part] + tap * x * carrier[n % period][part]);
        }
        sum.map(|x| round_even(x, plan.shift(30)))
    };
    (0..plan.outputs()).map(|k| (0..plan.channels).map(|c| output(k, c)).collect()).collect()
}

/// Most samples L <= 128 and `capacity` with 2^(b-1) 2^28 C(L+N-1, N) <= 2^62.
fn section_length(plan: &Plan, capacity: usize) -> usize {
    let choose =
        |n: usize, k: usize| (0..k).fold(1u128, |c, d| c * (n - d) as u128 / (d + 1) as u128);
    let order = usize::from(plan.order);
    let bound = |length| choose(length + order - 1, order) << (plan.bits - 1 + 28);
    (1..=128.min(capacity))
        .filter(|&length| bound(length) <= 1 << 62)
        .max()
        .expect("one sample fits")
}

/// Section by section: sums against the carrier from phase zero in Q.28, each turned by Q2.30 of
/// the exact phase of the section's first sample and rounded to Q.28; the integrators run through
/// the section one sample at a time without input, then take the sums; combs one by one.
fn mixed_twin(phase: impl Fn(u64) -> u64, length: usize, plan: &Plan) -> Vec<Vec<[i128; 2]>> {
    let order = usize::from(plan.order);
    let codes = plan.codes();
    let q = |n: usize, cut: i32| {
        let (cosine, sine) = cos_sin(phase(n as u64));
        [round_even(cosine.into(), cut), round_even(sine.into(), cut)]
    };
    let channel = |channel: usize| {
        let mut integrators = vec![[0i128; 2]; order];
        let mut integrated = Vec::new();
        for start in (0..plan.outputs()).map(|k| k * plan.ratio) {
            let samples: Vec<usize> = (start..start + plan.ratio).collect();
            for section in samples.chunks(length) {
                let mut sums = vec![[0i128; 2]; order];
                for (n, &sample) in section.iter().enumerate() {
                    let [cosine, sine] = q(n, 62 - 28);
                    let x = i128::from(codes[sample * plan.channels + channel]);
                    let mut carry = [x * cosine, -x * sine];
                    for sum in &mut sums {
                        *sum = [sum[0] + carry[0], sum[1] + carry[1]];
                        carry = *sum;
                    }
                }
                for _ in section {
                    for j in 1..order {
                        integrators[j] = [0, 1].map(|p| integrators[j][p] + integrators[j - 1][p]);
                    }
                }
                let [cosine, sine] = q(section[0], 32);
                for (state, [i, q]) in integrators.iter_mut().zip(sums) {
                    state[0] += round_even(i * cosine + q * sine, 30);
                    state[1] += round_even(q * cosine - i * sine, 30);
                }
            }
            integrated.push(integrators[order - 1]);
        }
        for _ in 0..order {
            let before =
                |k: usize| k.checked_sub(plan.delay.into()).map_or([0; 2], |k| integrated[k]);
            let comb = |k: usize| [0, 1].map(|p| integrated[k][p] - before(k)[p]);
            integrated = (0..integrated.len()).map(comb).collect();
        }
        integrated
    };
    let channels: Vec<Vec<[i128; 2]>> = (0..plan.channels).map(channel).collect();
    let word = |y: [i128; 2]| y.map(|x| round_even(x, plan.shift(28)));
    (0..plan.outputs()).map(|k| channels.iter().map(|c| word(c[k])).collect()).collect()
}

fn coherent_phase(cycles: u32, samples: u32) -> impl Fn(u64) -> u64 {
    let (p, q) = (u128::from(cycles), u128::from(samples));
    move |n| (((p * u128::from(n) % q) << 64) / q) as u64
}

proptest! {
    #![proptest_config(cases(96))]

    #[test]
    fn folded_path_is_the_convolution((cycles, samples, plan) in coherent_plans()) {
        let carrier = CarrierRatio::coherent(cycles, samples).unwrap();
        let twin = folded_twin(coherent_phase(cycles, samples), samples as usize, &plan);
        prop_assert_eq!(core(carrier, &plan, Path::Coherent, false), twin);
    }

    #[test]
    fn mixed_path_is_its_sections(
        step in 1u64..1 << 63,
        few_columns: bool,
        plan in plans(1u8..=6, 2usize..=400),
    ) {
        let carrier = CarrierRatio::from_step(step).unwrap();
        let length = section_length(&plan, if few_columns { 37 } else { 231 });
        let twin = mixed_twin(|n| step.wrapping_mul(n), length, &plan);
        prop_assert_eq!(core(carrier, &plan, Path::General, few_columns), twin);
    }

    /// A coherent carrier may take either path. Bound, relative to the largest word, 2.0: the
    /// Q.28 table errs by sqrt(2)/2 2^-28 in magnitude, so does the Q2.30 turn by 2^-30 of it,
    /// the folded path's Q2.30 cosine by 2^-31, and the sections' sums by N 2^-29 2^-(b-1): below
    /// 2^-28 in all.
    #[test]
    fn both_paths_agree((cycles, samples, plan) in coherent_plans()) {
        let carrier = CarrierRatio::coherent(cycles, samples).unwrap();
        let length = section_length(&plan, 231);
        let mixed = core(carrier, &plan, Path::General, false);
        prop_assert_eq!(&mixed, &mixed_twin(coherent_phase(cycles, samples), length, &plan));
        let folded = core(carrier, &plan, Path::Coherent, false);
        for (a, b) in mixed.iter().flatten().flatten().zip(folded.iter().flatten().flatten()) {
            // The paths' shifts differ by the fraction bits: the words are the same.
            prop_assert!((a - b).abs() < 1 << (53 - 28), "{} {}", a, b);
        }
    }

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
        let made = FirChain::<64, 400>::new(&configs, channels, Word::from_bits(1 << 49));
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
        let twin: Vec<_> = (0..spoiled.len()).map(|j| (words.iter().map(|c| c[j]).collect(), spoiled[j])).collect();
        prop_assert_eq!(outputs, twin);
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
        let bridge = |kind| BridgeConfig { kind, gap_am: 1_000_000_000, offset_am: 0, range, quadrature: range };
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
