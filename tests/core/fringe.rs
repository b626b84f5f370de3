//! Fringes in the core: the arctangent against published angles and the library's, the count against turns that
//! were made, settings and flags by pairs: the last good, the first bad.

use proptest::prelude::*;
use quietgap_core::fringe::{FringeConfig, FringeHealth, Fringes, arctangent};
use std::f64::consts::TAU;

/// 2^32 to the turn.
const TURN: f64 = 4_294_967_296.0;

/// The table of CHECKS (mpmath): angles to the last place, lengths by the rotations' gain.
#[test]
fn arctangents_are_the_tables() {
    let mut compared = 0;
    for line in include_str!("../vectors/atan2_i32.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [y, x] = [cells[0], cells[1]].map(|c| c.parse::<i64>().unwrap());
        let turns: u64 = cells[3].parse::<i64>().unwrap().rem_euclid(1 << 32) as u64;
        let (is, length) = arctangent(y, x);
        if (y, x) == (0, 0) {
            assert_eq!((is, length), (0, 0));
            continue;
        }
        let off = is.wrapping_sub(turns as u32).cast_signed();
        assert!(off.abs() <= 1, "{line}: {is}");
        let want = 1.646_760_258_121_065_6 * (x as f64).hypot(y as f64);
        assert!((length as f64 - want).abs() <= 1.0 + want * 1e-15, "{line}: {length} {want}");
        compared += 1;
    }
    assert!(compared > 200, "{compared}");
    for (y, x, want) in
        [(0, 5, 0u32), (5, 0, 1 << 30), (0, -5, 1 << 31), (-5, 0, 3 << 30), (7, 7, 1 << 29)]
    {
        assert_eq!(arctangent(y, x).0, want, "{y} {x}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(500) })]

    /// Of any length, the largest and the smallest numbers too.
    #[test]
    fn arctangent_is_nearest(y in any::<i64>(), x in any::<i64>(), down in 0u32..62) {
        let (y, x) = (y >> down, x >> down);
        prop_assume!((y, x) != (0, 0));
        let (is, length) = arctangent(y, x);
        let want = (y as f64).atan2(x as f64) / TAU * TURN;
        let off = (f64::from(is) - want).rem_euclid(TURN);
        let off = off.min(TURN - off);
        prop_assert!(off < 0.63, "{y} {x}: {off}");
        let whole = 1.646_760_258_121_065_6 * (y as f64).hypot(x as f64);
        prop_assert!((length as f64 / whole - 1.0).abs() < 1e-9 + 2.0 / whole || length == i64::MAX);
    }
}

const SETTINGS: FringeConfig = FringeConfig {
    code_bits: 18,
    balance: [1 << 30, 1 << 30],
    offset: [0, 0],
    tangent: 0,
    ratio: 1 << 28,
    // Half and a tenth of a contrast of 0.9 by 1.6467602.
    weak: 795_687_913,
    lost: 159_137_583,
    step: 3 << 29,
};

/// Codes of four detectors at a phase in turns, of a mean and a contrast, in the order of a frame.
fn codes(turns: f64, mean: f64, contrast: f64) -> [i32; 4] {
    let (s, c) = (TAU * turns).sin_cos();
    [c, -c, s, -s].map(|f| (mean * (1.0 + contrast * f)).round() as i32)
}

/// Turns both ways, of any start, to the codes' own rounding.
#[test]
fn turns_are_counted() {
    for (start, step) in [(0.0, 0.37), (0.3, -0.37), (0.9, 0.011), (0.5, -0.249)] {
        let mut fringes = Fringes::new(SETTINGS).unwrap();
        for n in 0..4000 {
            let turns = start + step * f64::from(n);
            let (is, health) = fringes.push(codes(turns, 60_000.0, 0.9));
            assert_eq!(health, FringeHealth::default(), "{start} {step} {n}");
            let want = step * f64::from(n);
            let off = is as f64 / TURN - want;
            // Two frames' rounding of half a code on 54 000.
            assert!(off.abs() < 2.0 * 0.7 / 54_000.0 / TAU, "{start} {step} {n}: {off:e}");
        }
    }
}

/// Balance, offsets, ratio and the lack of a quarter turn are taken off: codes made with them give the turns back.
#[test]
fn an_ellipse_is_taken_off() {
    let (g, h, p, q, r, alpha) = (1.3, 0.45, 0.05, -0.03, 1.12, 0.13f64);
    let q30 = |x: f64| (x * 2f64.powi(30)).round();
    let config = FringeConfig {
        code_bits: 24,
        balance: [q30(g) as u32, q30(h) as u32],
        offset: [q30(p) as i32, q30(q) as i32],
        tangent: (alpha.tan() * 2f64.powi(28)).round() as i32,
        ratio: (r / alpha.cos() * 2f64.powi(28)).round() as i32,
        ..SETTINGS
    };
    let mut fringes = Fringes::new(config).unwrap();
    for n in 0..3000 {
        let turns = 0.0173 * f64::from(n);
        let phase = TAU * turns;
        let (x, y) = (p + 0.9 * phase.cos(), q + 0.9 / r * (phase - alpha).sin());
        // Light of 1 in each state: a + g b = 1, a - g b = x.
        let light = 1.2e6 * (1.0 + 0.01 * (f64::from(n) / 100.0).sin());
        let all = [(1.0 + x) / 2.0, (1.0 - x) / (2.0 * g), (1.0 + y) / 2.0, (1.0 - y) / (2.0 * h)];
        let (is, health) = fringes.push(all.map(|v| (v * light * 2.0).round() as i32));
        assert_eq!(health, FringeHealth::default(), "{n}");
        let off = is as f64 / TURN - turns;
        assert!(off.abs() < 2e-6, "{n}: {off:e}");
    }
}

/// Each flag: the first frame that raises it, the last that does not, and that it does not stay.
#[test]
fn flags_by_pairs() {
    let none = FringeHealth::default();
    let saturated = FringeHealth { saturated: true, ..none };
    let weak = FringeHealth { weak: true, ..none };
    let lost = FringeHealth { weak: true, lost: true, ..none };
    let fast = FringeHealth { fast: true, ..none };
    let still = codes(0.1, 60_000.0, 0.9);
    let with = |n: usize, code: i32| {
        let mut codes = still;
        codes[n] = code;
        codes
    };
    let faint = |part: f64| codes(0.1, 60_000.0, 0.9 * part);
    let turned = |turns: f64| codes(0.1 + turns, 60_000.0, 0.9);
    for (frame, want) in [
        (faint(0.501), none),
        (faint(0.499), weak),
        (faint(0.101), weak),
        (faint(0.099), lost),
        (turned(0.3749), none),
        (turned(0.3751), fast),
        (turned(-0.3749), none),
        (turned(-0.3751), fast),
    ] {
        let mut fringes = Fringes::new(SETTINGS).unwrap();
        assert_eq!(fringes.push(still).1, none);
        assert_eq!(fringes.push(frame).1, want, "{frame:?}");
        // What raised it is over: a step back is as far.
        assert_eq!(fringes.push(frame).1, FringeHealth { fast: false, ..want });
    }
    for n in 0..4 {
        for (code, ends) in [(131_071, true), (131_070, false), (-131_072, true), (-131_071, false)]
        {
            let mut fringes = Fringes::new(SETTINGS).unwrap();
            let told = fringes.push(with(n, code)).1.saturated;
            assert_eq!(told, saturated.saturated && ends, "{n} {code}");
        }
    }
}

/// The largest codes of either sign overflow nothing.
#[test]
fn the_ends_overflow_nothing() {
    let ends = [-(1 << 23), (1 << 23) - 1];
    for wide in [[u32::MAX; 2], [1; 2]] {
        for offset in [[1 << 30; 2], [-(1 << 30); 2]] {
            for tangent in [1 << 28, -(1 << 28)] {
                let config = FringeConfig {
                    code_bits: 24,
                    balance: wide,
                    offset,
                    tangent,
                    ratio: (4 << 28) - 1,
                    ..SETTINGS
                };
                let mut fringes = Fringes::new(config).unwrap();
                for n in 0..16 {
                    fringes.push(std::array::from_fn(|k| ends[n >> k & 1]));
                }
            }
        }
    }
}

#[test]
fn settings_by_pairs() {
    type Change = fn(&mut FringeConfig, i64);
    let changes: [(&str, Change, i64, i64); 18] = [
        ("bits of a code", |c, x| c.code_bits = x as u8, 8, 7),
        ("bits of a code", |c, x| c.code_bits = x as u8, 24, 25),
        ("balance in phase", |c, x| c.balance[0] = x as u32, 1, 0),
        ("balance in quadrature", |c, x| c.balance[1] = x as u32, 1, 0),
        ("offset in phase", |c, x| c.offset[0] = x as i32, 1 << 30, (1 << 30) + 1),
        ("offset in phase", |c, x| c.offset[0] = x as i32, -(1 << 30), -(1 << 30) - 1),
        ("offset in quadrature", |c, x| c.offset[1] = x as i32, 1 << 30, (1 << 30) + 1),
        ("offset in quadrature", |c, x| c.offset[1] = x as i32, -(1 << 30), -(1 << 30) - 1),
        (
            "tangent of the lack of a quarter turn",
            |c, x| c.tangent = x as i32,
            1 << 28,
            (1 << 28) + 1,
        ),
        (
            "tangent of the lack of a quarter turn",
            |c, x| c.tangent = x as i32,
            -(1 << 28),
            -(1 << 28) - 1,
        ),
        ("ratio of amplitudes", |c, x| c.ratio = x as i32, 1, 0),
        ("ratio of amplitudes", |c, x| c.ratio = x as i32, (4 << 28) - 1, 4 << 28),
        ("weak fringe", |c, x| c.weak = x as u32, (1 << 31) - 1, 1 << 31),
        ("lost fringe", |c, x| c.lost = x as u32, 795_687_913, 795_687_914),
        ("lost fringe", |c, x| c.lost = x as u32, 0, 795_687_914),
        ("largest step", |c, x| c.step = x as u32, 1, 0),
        ("largest step", |c, x| c.step = x as u32, (1 << 31) - 1, 1 << 31),
        ("largest step", |c, x| c.step = x as u32, 2, 0),
    ];
    for (quantity, change, good, bad) in changes {
        let of = |x: i64| {
            let mut config = SETTINGS;
            change(&mut config, x);
            Fringes::new(config)
        };
        assert!(of(good).is_ok(), "{quantity} {good}");
        let refusal = of(bad).expect_err("refused");
        assert_eq!((refusal.quantity, refusal.given), (quantity, bad));
        assert!(refusal.to_string().starts_with("fringes: "), "{refusal}");
    }
}
