//! No panic, whatever the codes and whatever constants a plan allows; overflow checks are on.

use super::readout::{Board, CHANNELS, Plan, Step, folded, mixed};
use super::{Noise, cases};
use proptest::prelude::*;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::coupling::MAX_SHARE;
use quietgap_core::fold::Fold;
use quietgap_core::front_end::way::AnyWay;
use quietgap_core::front_end::{FrontEnd, Interval};
use quietgap_core::mixer::Mixer;
use quietgap_core::phasor::Phasor;
use quietgap_core::section::Way;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{ConfigError, Health, Readout};

proptest! {
    #![proptest_config(cases(256))]

    /// Any codes at all, any constants that a plan may have: readings come, nothing panics
    /// (overflow checks are on), and every reading of too large codes says so.
    #[test]
    fn nothing_panics(plan in prop_oneof![folded(), mixed()], seed: u64, start in 0u64..1 << 60) {
        fn go<const N: usize>(plan: &Plan, noise: &mut Noise, start: u64) -> bool {
            let Ok(mut board) = wild_board::<N>(plan, noise) else { return false };
            let samples = plan.span() + 2 * plan.interval();
            for kind in 0..4 {
                let code = |x: u64| match kind {
                    0 => x as i32,
                    1 => if x & 1 == 0 { i32::MIN } else { i32::MAX },
                    2 => i32::MIN,
                    _ => (x as i32) >> (x >> 59),
                };
                let codes: Vec<i32> = (0..samples as usize * CHANNELS).map(|_| code(noise.next())).collect();
                let mut readings = 0;
                board.push(&codes, |reading| {
                    assert!(kind != 2 || reading.health.has(Health::OVER_RANGE));
                    readings += 1;
                });
                assert!(readings >= samples / plan.interval());
                board.seek(start);
            }
            true
        }
        let mut noise = Noise(seed);
        let mut built = 0;
        for _ in 0..4 {
            built += u32::from(match plan.order {
                1 => go::<1>(&plan, &mut noise, start),
                2 => go::<2>(&plan, &mut noise, start),
                3 => go::<3>(&plan, &mut noise, start),
                4 => go::<4>(&plan, &mut noise, start),
                5 => go::<5>(&plan, &mut noise, start),
                _ => go::<6>(&plan, &mut noise, start),
            });
        }
        prop_assert_eq!(built, 4);
    }
}

const METRE: i64 = 1_000_000_000_000_000_000;

/// A board with every constant drawn from all that is allowed, the ends more often than not.
fn wild_board<const N: usize>(plan: &Plan, noise: &mut Noise) -> Result<Board<N>, ConfigError> {
    fn within(noise: &mut Noise, min: i64, max: i64) -> i64 {
        match noise.below(4) {
            0 => min,
            1 => max,
            2 => min.max(0).max(max >> noise.below(60)),
            _ => {
                let part = i128::from(noise.next() >> 1);
                let span = i128::from(max) - i128::from(min);
                (i128::from(min) + ((part * span) >> 63)) as i64
            }
        }
    }
    let alignments: Vec<Alignment> = (0..CHANNELS)
        .map(|_| {
            let (cosine, sine) = quietgap_core::carrier::cos_sin(noise.next());
            let (cosine, sine) = (Fraction::from_bits(cosine), Fraction::from_bits(sine));
            Alignment { cosine, sine }
        })
        .collect();
    let bridges: Vec<BridgeConfig> = (0..1 + noise.below(CHANNELS))
        .map(|_| {
            let kind = if noise.below(2) == 0 {
                BridgeKind::Difference {
                    channel: noise.below(CHANNELS) as u8,
                    full: Word::from_bits(within(noise, 1 << 30, 1 << 55)),
                }
            } else {
                BridgeKind::Separate {
                    channels: [0; 2].map(|_| noise.below(CHANNELS) as u8),
                    least_sum: Word::from_bits(within(noise, 1 << 30, 1 << 57)),
                }
            };
            let gap_am = within(noise, 1, METRE);
            let mut fraction = |min, max| Fraction::from_bits(within(noise, min, max));
            BridgeConfig {
                kind,
                strays: [0; 2].map(|_| fraction(0, 1 << 62)),
                weights: [0; 2].map(|_| fraction(1 << 60, 3 << 60)),
                gaps: [0; 2].map(|_| fraction(1 << 61, 3 << 61)),
                range: fraction(1, 9 * ((1 << 62) / 10)),
                quadrature: fraction(0, i64::MAX),
                phase: fraction(0, 1 << 62),
                floor: fraction(0, i64::MAX),
                gap_am,
                offset_am: within(noise, -gap_am, gap_am),
            }
        })
        .collect();
    let is_difference = |b: usize| matches!(bridges[b].kind, BridgeKind::Difference { .. });
    let count = bridges.len();
    let cross_coupling: Vec<Fraction> = (0..noise.below(2) * count * count)
        .map(|n| {
            let coupled = is_difference(n / count) && is_difference(n % count);
            let most = if coupled { MAX_SHARE.to_bits() } else { 0 };
            Fraction::from_bits(within(noise, -most, most))
        })
        .collect();
    let electrodes: Vec<ElectrodeConfig> = (0..noise.below(2)
        * (2 * bridges.len() + noise.below(4)))
        .map(|_| {
            let (cosine, sine) = quietgap_core::carrier::cos_sin(noise.next());
            let mut normal = [cosine, sine, 0].map(Fraction::from_bits);
            normal.rotate_left(noise.below(3));
            ElectrodeConfig {
                gap_am: within(noise, 1, METRE),
                position_am: [0; 3].map(|_| within(noise, -METRE, METRE)),
                normal,
                half_sides: [[0; 3]; 2]
                    .map(|side| side.map(|_| HalfSide::from_bits(noise.next() as i32))),
                total_share: Fraction::from_bits(within(noise, 0, 1 << 62)),
                drive_share: Fraction::from_bits(within(noise, 0, 1 << 62)),
            }
        })
        .collect();
    let set = noise.below(64) as u8;
    let axes = set.count_ones() as usize;
    let (set, axes) = if axes > bridges.len() { (0, 0) } else { (set, axes) };
    let count = axes * bridges.len();
    // What entries of a row may add up to.
    let matrix = |noise: &mut Noise, columns: usize, sum: i128| -> Vec<Coefficient> {
        let most = ((sum - 1) / columns.max(1) as i128).min(i64::MAX.into()) as i64;
        (0..count).map(|_| Coefficient::from_bits(within(noise, -most, most))).collect()
    };
    let (solve, geometry) = (matrix(noise, bridges.len(), 1 << 65), matrix(noise, axes, 1 << 63));
    let weak = within(noise, 0, 1 << 55);
    let monitor = MonitorConfig {
        channel: noise.below(CHANNELS) as u8,
        calibration: Word::from_bits(within(noise, 1 << 30, 1 << 55)),
        weak: Word::from_bits(weak),
        lost: Word::from_bits(within(noise, 0, weak)),
        phase: Fraction::from_bits(within(noise, 0, 1 << 62)),
    };
    let taps = plan.taps();
    let fir =
        |(taps, (ratio, ..)): (_, &(u16, _, _))| FirConfig { ratio: *ratio, taps, scale_bits: 15 };
    let firs: Vec<FirConfig> = taps.iter().map(Vec::as_slice).zip(&plan.firs).map(fir).collect();
    Readout::new(&ReadoutConfig {
        code_bits: plan.bits,
        carrier: plan.carrier,
        front_end: plan.front_end(),
        firs: &firs,
        alignments: &alignments,
        monitor: (noise.below(3) > 0).then_some(monitor),
        bridges: &bridges,
        cross_coupling: &cross_coupling,
        electrodes: &electrodes,
        axes: AxesConfig {
            axes: set,
            solve: &solve,
            geometry: &geometry,
            residual_am: within(noise, 0, i64::MAX),
        },
    })
}

/// Without a plan, at any sample, in blocks of any length; and stages taken by themselves, with slices
/// that are no whole frames, too short or too long.
#[test]
fn odd_uses_do_no_harm() {
    fn idle<W: Way<2>>() {
        for sample in [0, 1, 250, 1 << 60, u64::MAX] {
            let mut readout = Readout::<2, 2, 64, 16, 8, i64, W>::IDLE;
            readout.seek(sample);
            for length in [0, 1, 2, 7, 500] {
                readout.push(&vec![i32::MIN; length], |reading| {
                    assert!(reading.health.has(Health::MEMORY), "{sample}");
                });
            }
        }
    }
    idle::<Fold<2, 2, 64, false>>();
    idle::<Mixer<2, 2, 64>>();
    idle::<AnyWay<2, 2, 64>>();
    let coherent = CarrierRatio::coherent(1, 4).unwrap();
    for carrier in [coherent, CarrierRatio::from_step(1 << 60).unwrap()] {
        let config = FrontEndConfig {
            order: 2,
            ratio: 8,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        };
        let mut front = FrontEnd::<i64, 2, 2, 64>::new(carrier, config, 2, 24).unwrap();
        for sample in [0, 250, u64::MAX - 1, u64::MAX] {
            front.seek(sample);
            for length in [1, 3, 17, 1001] {
                let codes = vec![i32::MAX; length];
                // No room for both channels: nothing comes out.
                let (mut rest, mut short) = (codes.as_slice(), [Phasor::default(); 1]);
                assert_eq!(front.decimate(&mut rest, &mut short), None);
                let (mut rest, mut long) = (codes.as_slice(), [Phasor::default(); 3]);
                while front.decimate(&mut rest, &mut long).is_some() {}
            }
        }
    }
}

/// Fewer phasors than channels, or more, are no reading to be believed.
#[test]
fn another_number_of_phasors_is_flagged() {
    let front_end = FrontEndConfig {
        order: 2,
        ratio: 8,
        differential_delay: 1,
        path: Path::Auto,
        pruned_bits: 0,
    };
    let config = ReadoutConfig {
        code_bits: 24,
        carrier: CarrierRatio::coherent(1, 4).unwrap(),
        front_end,
        firs: &[],
        alignments: &[Alignment::NONE; 2],
        monitor: None,
        bridges: &[BridgeConfig::plain(BridgeKind::Difference { channel: 1, full: Word::ONE }, 1)],
        cross_coupling: &[],
        electrodes: &[],
        axes: AxesConfig { axes: 0, solve: &[], geometry: &[], residual_am: 0 },
    };
    for count in 0..4 {
        let mut readout = Readout::<2, 2, 64, 16, 8>::new(&config).unwrap();
        let mut flags = Vec::new();
        for _ in 0..3 {
            let mut phasors = vec![Phasor::default(); count];
            readout.push_phasors(&mut phasors, Interval::default(), |reading| {
                flags.push(reading.health.has(Health::MEMORY));
            });
        }
        assert_eq!(flags, [count != 2; 3], "{count} phasors");
    }
}

/// The README promises no panics: so also at the last sample numbers there are.
#[test]
fn seek_takes_any_sample() {
    let carrier = CarrierRatio::coherent(1, 4).unwrap();
    let plan =
        Plan { carrier, order: 2, ratio: 8, delay: 1, path: Path::Auto, bits: 24, firs: vec![] };
    for sample in [(1 << 62) - 8, 1 << 62, u64::MAX - 8, u64::MAX] {
        let steps = [Step::Seek(sample), Step::Push(&[0; 8 * CHANNELS])];
        let outcome = std::panic::catch_unwind(|| plan.run(&steps).len());
        assert_eq!(outcome.ok(), Some(1), "from sample {sample}");
    }
}
