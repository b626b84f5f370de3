//! Mixer and first decimation against their twins, on both paths.

use super::{Noise, cases, round_even};
use proptest::prelude::*;
use quietgap_core::carrier::{CarrierRatio, cos_sin, cos_sin_quick};
use quietgap_core::config::{FrontEndConfig, Path};
use quietgap_core::front_end::{FrontEnd, words_per_code};
use quietgap_core::phasor::Phasor;
use quietgap_core::word::Register;

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
            pruned_bits: 0,
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
    /// Fraction bits of the carrier: those that make codes, growth and cosines 64 bits, if that
    /// leaves 22 or more, and never more than `most`.
    fn fraction_bits(&self, most: u32) -> u32 {
        let gain = self.impulse_response().iter().sum::<i128>();
        let growth = (0..).find(|bits| 1i128 << bits >= gain).expect("growth");
        match 64u32.checked_sub(self.bits + growth) {
            Some(left) if left >= 22 => left.min(most),
            _ => most,
        }
    }
    /// Mixed: for order 2, half a section times a cosine has to fit an `i32`.
    fn mixed_bits(&self) -> u32 {
        self.fraction_bits(if self.order == 2 { 24 } else { 28 })
    }
    /// Folded: K times a cosine fits an `i32`.
    fn folded_bits(&self, samples: usize) -> u32 {
        let columns = self.columns(samples) as u64;
        let most = (0..31).filter(|f| columns << f < 1 << 31).max().expect("bits");
        self.fraction_bits(most)
    }
    /// Half a period, or a whole one of an odd number of samples; or, up to 64, the fewest of them
    /// of which so few rows make an interval that every sum fits 32 bits: r codes, codes by their
    /// rows from the middle, and cascaded sums beyond.
    fn columns(&self, samples: usize) -> usize {
        let (order, code) = (usize::from(self.order), 1u128 << (self.bits - 1));
        let least = if samples.is_multiple_of(2) { samples / 2 } else { samples };
        let fits = |rows: usize| {
            let middle = (rows / 2) as i64;
            let weights: u128 =
                (0..rows as i64).map(|row| u128::from((middle - row).unsigned_abs())).sum();
            code * rows as u128 <= 1 << 31
                && (order < 2 || code * weights <= 1 << 31)
                && (3..=order).all(|level| code * choose(rows + level - 1, level) <= 1 << 31)
        };
        (least..=64)
            .step_by(least)
            .find(|columns| {
                let rows = self.ratio / columns;
                let odd = samples.is_multiple_of(2) && !columns.is_multiple_of(samples);
                self.ratio.is_multiple_of(*columns)
                    && rows <= 4096
                    && fits(rows)
                    && (!odd || rows.is_multiple_of(2))
            })
            .unwrap_or(least)
    }
    /// Whether codes, growth and cosines are 64 bits or fewer.
    fn narrow(&self, path: Path, carrier: CarrierRatio) -> bool {
        let fraction_bits = match path {
            Path::Coherent => self.folded_bits(carrier.period().unwrap() as usize),
            _ => self.fraction_bits(28),
        };
        let gain = self.impulse_response().iter().sum::<i128>();
        gain <= 1i128.checked_shl(64 - (self.bits + fraction_bits).min(64)).unwrap_or(0)
            && self.bits + fraction_bits < 64
    }
    /// The shift that brings a full-scale carrier, 2^(b-1) 2^f (R M)^N / 2, into (2^51, 2^52].
    fn shift(&self, fraction_bits: u32) -> i32 {
        let full =
            (self.impulse_response().iter().sum::<i128>()) << (self.bits - 1 + fraction_bits - 1);
        (-52..74).find(|s| full <= 1i128 << (52 + s)).expect("a shift")
    }
}

/// Whether one row of codes, or two that alternate, can be summed N times within 32 bits: A_1,
/// A_2 from the middle row, others plainly, all inputs at an end.
pub fn folds(carrier: CarrierRatio, order: u8, bits: u32) -> bool {
    let rows: i128 = if carrier.period().unwrap().is_multiple_of(2) { 2 } else { 1 };
    let bound = |level: i128| match level {
        1 => rows,
        2 => rows * rows / 4,
        _ => (0..level).fold(1, |c, d| c * (rows + d) / (d + 1)),
    };
    (1..=order.into()).all(|level| bound(level) << (bits - 1) <= 1 << 31)
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
                .prop_filter("codes narrow enough to fold", move |plan| {
                    let carrier = CarrierRatio::coherent(cycles, samples).unwrap();
                    folds(carrier, plan.order, plan.bits)
                })
                .prop_map(move |plan| (cycles, samples, plan))
        },
    )
}

/// The core's front end over `codes`, in blocks cut at random, some empty.
fn front_end<R: Register, const N: usize, const CHANNELS: usize, const COLUMNS: usize>(
    carrier: CarrierRatio,
    plan: &Plan,
    path: Path,
) -> Vec<Vec<[i128; 2]>> {
    let mut front = FrontEnd::<R, N, CHANNELS, COLUMNS>::new(
        carrier,
        plan.config(path),
        plan.channels,
        plan.bits,
    )
    .unwrap();
    assert_eq!(front.is_folded(), path == Path::Coherent);
    let gain = plan.impulse_response().iter().sum::<i128>() as u128;
    // A carrier of amplitude A codes makes A gain 2^f / 2^(s+1) words, whatever the f.
    let exponent = plan.shift(28) - 27;
    assert_eq!(words_per_code(plan.config(path), plan.bits), (gain, exponent));
    assert_eq!(front.span() as usize, plan.impulse_response().len());
    let mut noise = Noise(!plan.seed);
    let mut out = Vec::new();
    for interval in plan.codes().chunks_exact(plan.ratio * plan.channels) {
        let mut rest = interval;
        let mut phasors = vec![Phasor::default(); plan.channels];
        while !rest.is_empty() {
            let most = if noise.below(2) == 0 { 5 } else { plan.ratio + 1 };
            let frames = noise.below(most).min(rest.len() / plan.channels);
            let (mut now, later) = rest.split_at(frames * plan.channels);
            let interval = front.decimate(&mut now, &mut phasors);
            assert!(now.is_empty());
            // An interval is full with its last frame, and not before.
            assert_eq!(interval.is_some(), later.is_empty() && frames > 0);
            assert!(!interval.is_some_and(|interval| interval.saturated));
            rest = later;
        }
        let bits = |p: &Phasor| [i128::from(p.i.to_bits()), i128::from(p.q.to_bits())];
        out.push(phasors.iter().map(bits).collect());
    }
    out
}

/// `front_end` for an order known at run time. Where 64 bits hold the plan, both registers give
/// the same; so do readouts just large enough and larger.
fn core(carrier: CarrierRatio, plan: &Plan, path: Path) -> Vec<Vec<[i128; 2]>> {
    macro_rules! orders {
        ($($n:literal)*) => {
            match plan.order {
                $($n => (
                    front_end::<i128, $n, 7, 448>(carrier, plan, path),
                    plan.narrow(path, carrier).then(|| match (plan.channels, carrier.period()) {
                        (2, Some(period)) if path == Path::Coherent && plan.columns(period as usize) == 5 => {
                            front_end::<i64, $n, 2, 10>(carrier, plan, path)
                        }
                        _ => front_end::<i64, $n, 7, 448>(carrier, plan, path),
                    }),
                ),)*
                _ => unreachable!(),
            }
        };
    }
    let (wide, narrow) = orders!(1 2 3 4 5 6);
    if let Some(narrow) = narrow {
        assert_eq!(wide, narrow, "64 and 128 bits");
    }
    wide
}

/// y\[k\] = 2^-s sum_n h\[(k+1) R - 1 - n\] x\[n\] e^(-i phase of n), cosines and sines in Q.f.
fn folded_twin(phase: impl Fn(u64) -> u64, period: usize, plan: &Plan) -> Vec<Vec<[i128; 2]>> {
    let (h, fraction_bits) = (plan.impulse_response(), plan.folded_bits(period));
    let turn = |n| {
        let (cosine, sine) = cos_sin(phase(n as u64));
        let cut = 62 - fraction_bits as i32;
        [round_even(cosine.into(), cut), -round_even(sine.into(), cut)]
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
        sum.map(|x| round_even(x, plan.shift(fraction_bits)))
    };
    (0..plan.outputs()).map(|k| (0..plan.channels).map(|c| output(k, c)).collect()).collect()
}

/// C(n, k).
fn choose(n: usize, k: usize) -> u128 {
    (0..k).fold(1u128, |c, d| c * (n - d) as u128 / (d + 1) as u128)
}

/// Most samples L <= 255 with 2^(b-1) 2^f C(L+N-1, N) <= 2^62 (and half of L, rounded down, times 2^f < 2^31
/// for order 2), then as few sections as that allows, all about as long, of a multiple of 8 samples
/// where such a length is allowed.
fn section_length(plan: &Plan) -> usize {
    let fraction_bits = plan.mixed_bits();
    let order = usize::from(plan.order);
    let bound = |length| choose(length + order - 1, order) << (plan.bits - 1 + fraction_bits);
    let longest = (1..=255)
        .filter(|&length| bound(length) <= 1 << 62)
        .filter(|&length| order != 2 || (length as u64 / 2) << fraction_bits < 1 << 31)
        .max()
        .expect("one sample fits");
    let even = plan.ratio.div_ceil(plan.ratio.div_ceil(longest));
    (even..even + 8)
        .find(|length| length % 8 == 0 && *length <= longest.min(plan.ratio))
        .unwrap_or(even)
}

/// Section by section: sums against the carrier in Q.f, phase zero at the middle of a whole section and one side the other's
/// mirror, each turned by Q2.30 of the exact phase there and rounded to Q.f; the integrators run through
/// the section one sample at a time without input, then take the sums; combs one by one.
fn mixed_twin(phase: impl Fn(u64) -> u64, length: usize, plan: &Plan) -> Vec<Vec<[i128; 2]>> {
    let (order, fraction_bits) = (usize::from(plan.order), plan.mixed_bits());
    let codes = plan.codes();
    let middle = length / 2;
    let q = |n: usize, cut: i32| {
        let (cosine, sine) = cos_sin(phase(n.abs_diff(middle) as u64));
        let sign = if n < middle { -1 } else { 1 };
        [round_even(cosine.into(), cut), sign * round_even(sine.into(), cut)]
    };
    let channel = |channel: usize| {
        let mut integrators = vec![[0i128; 2]; order];
        let mut integrated = Vec::new();
        for start in (0..plan.outputs()).map(|k| k * plan.ratio) {
            let samples: Vec<usize> = (start..start + plan.ratio).collect();
            for section in samples.chunks(length) {
                let mut sums = vec![[0i128; 2]; order];
                for (n, &sample) in section.iter().enumerate() {
                    let [cosine, sine] = q(n, 62 - fraction_bits as i32);
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
                let [cosine, sine] =
                    cos_sin_quick(phase((section[0] + middle) as u64)).map(i128::from);
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
    let word = |y: [i128; 2]| y.map(|x| round_even(x, plan.shift(fraction_bits)));
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
        let period = carrier.period().unwrap() as usize;
        let twin = folded_twin(coherent_phase(cycles, samples), period, &plan);
        prop_assert_eq!(core(carrier, &plan, Path::Coherent), twin);
    }

    #[test]
    fn mixed_path_is_its_sections(
        step in 1u64..1 << 63,
        plan in plans(1u8..=6, 2usize..=400),
    ) {
        let carrier = CarrierRatio::from_step(step).unwrap();
        let length = section_length(&plan);
        let twin = mixed_twin(|n| step.wrapping_mul(n), length, &plan);
        prop_assert_eq!(core(carrier, &plan, Path::General), twin);
    }

    /// A coherent carrier may take either path. Bound, relative to the largest word, 2.0, with f
    /// the fewer of the paths' fraction bits: tables err by sqrt(2)/2 2^-f in magnitude on each
    /// path, the Q2.30 turn by 2^-30, the sections' sums by N 2^-(f+1) 2^-(b-1): below 2^(1-f).
    #[test]
    fn both_paths_agree((cycles, samples, plan) in coherent_plans()) {
        let carrier = CarrierRatio::coherent(cycles, samples).unwrap();
        let length = section_length(&plan);
        let mixed = core(carrier, &plan, Path::General);
        prop_assert_eq!(&mixed, &mixed_twin(coherent_phase(cycles, samples), length, &plan));
        let folded = core(carrier, &plan, Path::Coherent);
        let bits = plan.mixed_bits().min(plan.folded_bits(carrier.period().unwrap() as usize));
        for (a, b) in mixed.iter().flatten().flatten().zip(folded.iter().flatten().flatten()) {
            // The paths' shifts differ by the fraction bits: the words are the same.
            prop_assert!((a - b).abs() < 1 << (54 - bits), "{} {}", a, b);
        }
    }
}
