//! The carrier against outside values: tabulated sines, every one of 2^32 phases, exact phase
//! arithmetic over the longest runs, and the injection tone.

use proptest::prelude::*;
use quietgap_core::carrier::{cos_sin, cos_sin_q31, cos_sin_quick};
use quietgap_core::{Carrier, CarrierRatio};
use std::f64::consts::TAU;

fn vectors(name: &str) -> Vec<Vec<String>> {
    let path = format!("{}/../tests/vectors/{name}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("vector file");
    let rows = text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect());
    rows.collect()
}

/// A decimal of magnitude at most 1 as Q2.62, to half a step, by integers alone.
fn q62(decimal: &str) -> i128 {
    let (number, exponent) = decimal.split_once('e').unwrap_or((decimal, "0"));
    let (negative, number) = match number.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, number),
    };
    let (whole, part) = number.split_once('.').unwrap_or((number, ""));
    let zeros = -exponent.parse::<i32>().expect("exponent");
    // Nineteen digits after the point.
    let digits: String = "0".repeat(zeros as usize) + whole + part + &"0".repeat(40);
    let value: i128 = digits[..whole.len() + 19].parse().expect("digits");
    let scale = 10i128.pow(19);
    let bits = ((value << 62) + scale / 2) / scale;
    if negative { -bits } else { bits }
}

/// Source: `tests/vectors/sincos_phase32.csv`, 25 digits by mpmath. Limits: those that
/// `cos_sin`, `cos_sin_quick` and `cos_sin_q31` promise, 2^-57, 0.52 steps and 1 step.
#[test]
fn tabulated_phases() {
    assert_eq!(q62("-0.5"), -(1 << 61));
    assert_eq!(q62("1.25e-1"), 1 << 59);
    let rows = vectors("sincos_phase32.csv");
    assert_eq!(rows.len(), 256);
    for row in rows {
        let phase: u32 = row[0].parse().unwrap();
        let (cosine, sine) = cos_sin(u64::from(phase) << 32);
        for (is, exact) in [(sine, &row[1]), (cosine, &row[2])] {
            let error = (i128::from(is) - q62(exact)).abs();
            assert!(error < 1 << 5, "phase {phase}: Q2.62 off by {error} steps");
        }
        let [cosine, sine] = cos_sin_quick(u64::from(phase) << 32);
        for (is, exact) in [(sine, &row[1]), (cosine, &row[2])] {
            let error = ((i128::from(is) << 32) - q62(exact)).abs();
            assert!(100 * error < 52 << 32, "phase {phase}: Q2.30 off by {error} 2^-32 steps");
        }
        let (cosine, sine) = cos_sin_q31(phase);
        for (is, exact) in [(sine, &row[3]), (cosine, &row[4])] {
            let error = (i64::from(is.to_bits()) - exact.parse::<i64>().unwrap()).abs();
            assert!(error <= 1, "phase {phase}: Q1.31 off by {error} steps");
        }
    }
}

/// Source: `tests/vectors/sin_q31_1024.csv`, by mpmath.
#[test]
fn tabulated_turn() {
    let rows = vectors("sin_q31_1024.csv");
    assert_eq!(rows.len(), 1024);
    for (k, row) in (0u32..).zip(rows) {
        assert_eq!(row[0], k.to_string());
        let sine = cos_sin_q31(k << 22).1.to_bits();
        let want: i64 = row[1].parse().unwrap();
        assert!((i64::from(sine) - want).abs() <= 1, "phase {k}/1024: {sine}, not {want}");
    }
}

/// All 2^32 phases: those of the first quarter against `f64`, within one step, and within half a step (and what `f64` may
/// err, 1e-6 of a step) wherever Q1.31 can hold the value; all others are the same to the last bit, turned by quarters. Only
/// +1 has no such twin: it is cut, and -1 is not.
///
/// The reference is the angle sum of the platform's sines of the upper 16 bits and of the lower 16: error below 4e-16, so
/// 9e-7 steps.
#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn every_phase() {
    const ONE: f64 = (1u64 << 31) as f64;
    /// Beyond it Q1.31 holds no nearest.
    const CUT: f64 = ONE - 0.5;
    let low: Vec<(f64, f64)> =
        (0..1 << 16).map(|p| (f64::from(p) * TAU / 2f64.powi(32)).sin_cos()).collect();
    let bits = |phase: u32| {
        let (cosine, sine) = cos_sin_q31(phase);
        (cosine.to_bits(), sine.to_bits())
    };
    let worst_of = |highs: std::ops::Range<u32>| {
        let mut worst = 0f64;
        let mut cut = 0u32;
        for high in highs {
            let (s, c) = (f64::from(high) * TAU / 2f64.powi(16)).sin_cos();
            for (p, &(ls, lc)) in (0u32..).zip(&low) {
                let phase = high << 16 | p;
                let (cosine, sine) = bits(phase);
                let exact = [(c * lc - s * ls) * ONE, (s * lc + c * ls) * ONE];
                let mut minus = [-cosine, -sine];
                for ((is, exact), minus) in [cosine, sine].into_iter().zip(exact).zip(&mut minus) {
                    let error = (f64::from(is) - exact).abs();
                    if exact <= CUT {
                        worst = worst.max(error);
                    } else {
                        assert!(is == i32::MAX && error <= 1.0 + 1e-6);
                        *minus = i32::MIN;
                        cut += 1;
                    }
                }
                let turned = [1, 2, 3].map(|quarters| bits(phase + (quarters << 30)));
                let want = [(minus[1], cosine), (minus[0], minus[1]), (sine, minus[0])];
                assert_eq!(turned, want, "phase {phase} and a quarter, a half, three quarters");
            }
        }
        (worst, cut)
    };
    let ((worst_a, cut_a), (worst_b, cut_b)) = std::thread::scope(|scope| {
        let other = scope.spawn(|| worst_of(0..1 << 13));
        let own = worst_of(1 << 13..1 << 14);
        (own, other.join().expect("thread"))
    });
    let (worst, cut) = (worst_a.max(worst_b), cut_a + cut_b);
    println!("2^32 phases: worst {worst} steps, {cut} above what Q1.31 holds in a quarter");
    assert!(worst <= 0.5 + 1e-6, "{worst} steps");
    // A reference that follows the core would miss the worst rounding there is.
    assert!(worst > 0.499_999);
    // Above 1 - 2^-32: within acos(1 - 2^-32) = 14750.7 x 2^-32 turns of either peak; those below the cosine's peak
    // are of the last quarter.
    assert_eq!(cut, 14_750 + 1 + 14_750);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// 64-bit phases lie between those of the tables: on the unit circle within the 2^-57 that is
    /// promised for each part, and on the same arc as the platform's sine.
    #[test]
    fn phases_between_the_tabulated(phase: u64) {
        let (cosine, sine) = cos_sin(phase);
        let square = i128::from(cosine) * i128::from(cosine) + i128::from(sine) * i128::from(sine);
        // 2 sqrt(2) 2^-57 at most, in Q.124.
        prop_assert!((square - (1 << 124)).abs() < 3 << 67);
        let exact = (phase as f64 / 2f64.powi(64) * TAU).sin_cos();
        let step = 2f64.powi(-62);
        prop_assert!((sine as f64 * step - exact.0).abs() < 2e-15);
        prop_assert!((cosine as f64 * step - exact.1).abs() < 2e-15);
    }

    /// The phase after n samples is floor(2^64 (p n mod q)/q), for runs of any length.
    #[test]
    fn coherent_carriers_never_drift(
        samples in 3u32..=1 << 20,
        part in 0.0..1.0f64,
        cuts in prop::collection::vec(0u64..1 << 50, 0..20),
        extra in 0u64..1 << 20,
    ) {
        let most = (samples - 1) / 2;
        let cycles = 1 + (part * f64::from(most)) as u32 % most;
        let ratio = CarrierRatio::coherent(cycles, samples).unwrap();
        let (p, q) = (u128::from(cycles), u128::from(samples));
        let exact = |n: u64| (((p * u128::from(n) % q) << 64) / q) as u64;
        for n in [1, 1_000_000_000_000 + extra, (1 << 62) + extra] {
            let mut carrier = Carrier::new(ratio);
            carrier.seek(n);
            prop_assert_eq!(carrier.phase(), exact(n), "{}/{} after {}", cycles, samples, n);
        }
        let mut carrier = Carrier::new(ratio);
        let mut n = 0;
        for cut in cuts {
            carrier.advance(cut);
            n += cut;
            prop_assert_eq!(carrier.phase(), exact(n), "{}/{} after {}", cycles, samples, n);
        }
    }

    /// A carrier set by its step: phase n step mod 2^64, in any chunks.
    #[test]
    fn other_carriers_keep_their_step(
        step in 1u64..1 << 63,
        cuts in prop::collection::vec(any::<u64>(), 1..20),
    ) {
        let ratio = CarrierRatio::from_step(step).unwrap();
        let (mut carrier, mut sought) = (Carrier::new(ratio), Carrier::new(ratio));
        let mut n = 0u64;
        for cut in cuts {
            let cut = cut.min(u64::MAX - n);
            carrier.advance(cut);
            n += cut;
            sought.seek(n);
            let exact = (u128::from(step) * u128::from(n)) as u64;
            prop_assert_eq!(carrier.phase(), exact);
            prop_assert_eq!(sought.phase(), exact);
        }
    }

    /// The tone: amplitude cos(2 pi (f n + phase)) within half a code and `f64`'s error, the same
    /// codes however the run is cut.
    #[test]
    fn injection_tone(
        step in 1u64..1 << 63,
        amplitude in -i32::MAX..=i32::MAX,
        phase: u64,
        start in 0u64..1 << 40,
        cuts in prop::collection::vec(0usize..50, 1..8),
    ) {
        let ratio = CarrierRatio::from_step(step).unwrap();
        let length: usize = cuts.iter().sum();
        let mut whole = vec![0; length];
        let mut carrier = Carrier::new(ratio);
        carrier.seek(start);
        carrier.inject(&mut whole, amplitude, phase);
        for (n, &code) in (start..).zip(&whole) {
            let turns = step.wrapping_mul(n).wrapping_add(phase) as f64 / 2f64.powi(64);
            let exact = f64::from(amplitude) * (turns * TAU).cos();
            prop_assert!((f64::from(code) - exact).abs() <= 0.5 + 2e-6, "{} not {}", code, exact);
            prop_assert!(code.unsigned_abs() <= amplitude.unsigned_abs());
        }
        let mut pieces = vec![0; length];
        let mut carrier = Carrier::new(ratio);
        carrier.seek(start);
        let mut rest = &mut pieces[..];
        for cut in cuts {
            let (now, later) = rest.split_at_mut(cut);
            carrier.inject(now, amplitude, phase);
            rest = later;
        }
        prop_assert_eq!(whole, pieces);
    }
}

/// Amplitude -2^31 at half a turn is +2^31, which a code cannot hold: it may fall short by one,
/// it must not change sign.
#[test]
fn the_lowest_amplitude_keeps_its_sign() {
    let mut carrier = Carrier::new(CarrierRatio::coherent(1, 4).unwrap());
    let mut tone = [0; 4];
    carrier.inject(&mut tone, i32::MIN, 0);
    assert_eq!(tone, [i32::MIN, 0, i32::MAX, 0]);
}

/// Neighbouring steps are less than 1 nHz apart at 1 MS/s: measured over 2^40 samples (12.7 days).
#[test]
fn frequency_resolution() {
    let step = 1u64 << 60 | 12_345;
    let phase_after = |step| {
        let mut carrier = Carrier::new(CarrierRatio::from_step(step).unwrap());
        carrier.advance(1 << 40);
        carrier.phase()
    };
    let turns = phase_after(step + 1).wrapping_sub(phase_after(step)) as f64 / 2f64.powi(64);
    let hertz = turns / (2f64.powi(40) / 1e6);
    assert!(hertz > 0.0 && hertz < 1e-9, "{hertz} Hz");
    assert!((hertz / (1e6 / 2f64.powi(64)) - 1.0).abs() < 1e-12);
}

/// The quick one beside the long one, which the vectors hold: at every cell's ends and middle, and anywhere.
#[test]
fn quick_is_the_long_one() {
    let mut worst = 0;
    let mut judge = |phase: u64| {
        let (cosine, sine) = cos_sin(phase);
        for (is, exact) in cos_sin_quick(phase).into_iter().zip([cosine, sine]) {
            worst = worst.max(((i128::from(is) << 32) - i128::from(exact)).abs());
        }
    };
    for half_cell in 0..2048u64 {
        for off in [-2i64, -1, 0, 1, 2] {
            judge((half_cell << 53).wrapping_add_signed(off));
        }
    }
    let mut phase = 1u64;
    for _ in 0..200_000 {
        phase =
            phase.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        judge(phase);
    }
    assert!(100 * worst < 52 << 32, "{} steps", worst as f64 / 2f64.powi(32));
    // Rounding takes half a step, almost: the rest is small.
    assert!(100 * worst > 49 << 32, "{worst}");
}
