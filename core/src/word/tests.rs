//! Rounding, limits, registers and division against plain arithmetic.

use super::*;

#[test]
fn half_goes_to_even() {
    let cases = [(5, 1, 2), (7, 1, 4), (-5, 1, -2), (-7, 1, -4), (6, 2, 2), (10, 2, 2)];
    for (x, shift, want) in cases {
        assert_eq!(shift_round(x, shift), want, "{x} >> {shift}");
        assert_eq!(divide_round(x, 1 << shift), Some(want), "{x} / 2^{shift}");
    }
    for (n, d, want) in [(5, 3, 2), (4, 3, 1), (-5, 3, -2), (-4, 3, -1), (1, 3, 0)] {
        assert_eq!(divide_round(n, d), Some(want), "{n} / {d}");
    }
    assert_eq!(divide_round(1, 0), None);
    assert_eq!(divide_round(1, -3), None);
    // More than 126 is 126.
    assert_eq!(shift_round(i128::MIN, 127), -2);
}

#[test]
fn limits_are_within() {
    assert_eq!(
        [-6, -5, 5, 6].map(|x| saturate(x, 5)),
        [(-5, true), (-5, false), (5, false), (5, true)]
    );
    // A word's: 8 less a step.
    assert_eq!(WORD_LIMIT, 0x7f_ffff_ffff_ffff);
    for x in [i64::MAX, 1 << 55, -(1 << 55), i64::MIN] {
        let (word, saturated) = saturate_word(x);
        assert!(saturated && word.to_bits() == x.signum() * 0x7f_ffff_ffff_ffff);
    }
    for x in [(1 << 55) - 1, 1 << 54, 5, -5, -(1 << 54), 1 - (1 << 55)] {
        assert_eq!(saturate_word(x), (Word::from_bits(x), false));
    }
}

#[test]
fn shifts_that_take_the_long_way() {
    let long = |bits| Shift::new(bits).is_long();
    assert_eq!(
        [-1, 0, 1, 2, 32, 33, 126].map(long),
        [false, false, true, false, false, true, true]
    );
    let sum = |bits| {
        let mut sum = Checksum::START;
        Shift::new(bits).check(&mut sum);
        sum.to_bits()
    };
    assert_ne!(sum(40), sum(41));
    assert_ne!(sum(8), sum(9));
}

/// All registers give the word that the widest gives by the steps of its docstring.
#[test]
fn registers_agree() {
    let mut state = 4;
    for _ in 0..400_000 {
        let (bits, keep) = ((hard(&mut state) % 92) as i32 - 28, (hard(&mut state) % 63) as u32);
        let x = (hard(&mut state) as i64) >> keep;
        // To the left only what stays in the register, as in a plan that fits.
        let x = if bits < 0 { x >> bits.unsigned_abs() } else { x };
        let exact =
            if bits < 0 { i128::from(x) << -bits } else { shift_round(x.into(), bits as u32) };
        let (want, saturated) = saturate(exact, WORD_LIMIT);
        let want = (Word::from_bits(want), saturated);
        let shift = Shift::new(bits);
        assert_eq!(i128::of(x).to_word(shift), want, "{x} by {bits}");
        assert_eq!(i64::of(x).to_word(shift), want, "{x} by {bits}");
        assert_eq!(Pruned::of(x).to_word(shift), want, "{x} by {bits}");
        let (pruned, bits) = (shift_round(x.into(), keep % 33), keep % 33);
        assert_eq!(i128::of(x).pruned(bits), pruned, "{x} less {bits} bits");
        assert_eq!(i64::of(x).pruned(bits), pruned as i64, "{x} less {bits} bits");
        assert_eq!(Pruned::of(x).pruned(bits), Pruned::of(pruned as i64), "{x} less {bits} bits");
    }
}

#[test]
fn registers_wrap() {
    let edge = i64::MAX;
    assert_eq!(edge.plus(1), i64::MIN);
    assert_eq!(i64::MIN.minus(1), edge);
    assert_eq!(edge.times(3), edge.wrapping_mul(3));
    assert_eq!(Pruned::of(edge).plus(Pruned::of(1)), Pruned::of(i64::MIN));
    assert_eq!(Pruned::of(i64::MIN).minus(Pruned::of(1)), Pruned::of(edge));
    assert_eq!(Pruned::of(edge).times(3), Pruned::of(edge.wrapping_mul(3)));
    assert_eq!(i128::MAX.plus(1), i128::MIN);
    assert_eq!(i128::MIN.minus(1), i128::MAX);
    assert_eq!(i128::MAX.times(3), i128::MAX.wrapping_mul(3));
}

/// Words with few and many leading zeros, runs of ones and what stands beside them: a digit that is
/// estimated one or two too large among them.
fn hard(state: &mut u64) -> u128 {
    let mut next = || {
        // Numerical Recipes' 64-bit linear congruential generator, from memory.
        *state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        *state >> 32
    };
    let (mut x, bits) = (0u128, next() % 129);
    for _ in 0..8 {
        let digit = [0, 1, 0x7fff, 0x8000, 0xfffe, 0xffff, next() & 0xffff, next() & 0xffff];
        x = x << 16 | u128::from(digit[next() as usize % 8]);
    }
    x.checked_shr(bits as u32).unwrap_or(0)
}

#[test]
fn division_is_the_languages() {
    let mut state = 1;
    for _ in 0..400_000 {
        let (n, d) = (hard(&mut state), (hard(&mut state) as u64).max(1));
        let want = (n / u128::from(d), (n % u128::from(d)) as u64);
        assert_eq!(divide(n, d), want, "{n} / {d}");
    }
    assert_eq!(divide(5, 0), (5, 0));
    // An upper word that is not below the divisor counts as none.
    assert_eq!(division::divide_below(2, 7, 3), (u64::MAX / 3 * 2 + 3, 0));
    assert_eq!(division::divide_below(3, 7, 3), (2, 1));
}

#[test]
fn inverses_are_the_nearest_below() {
    let edges =
        [1 << 31, (1 << 31) + 1, 0x8000_ffff, 0x8001_0000, 0xffff_0000, u32::MAX - 1, u32::MAX];
    for d in edges.into_iter().chain((1 << 31..=u32::MAX).step_by(9973)) {
        let want = u64::MAX / u64::from(d) - (1 << 32);
        assert_eq!(u64::from(division::inverse_word(d)), want, "{d}");
    }
}

/// To the nearest, the even one of two equally near, as the definition says it in 256 bits' stead: twice the numerator
/// is within the divisor of twice the quotient times it.
#[test]
fn ratios_are_the_nearest() {
    let mut state = 5;
    for _ in 0..400_000 {
        let shift = [58, 62, 63, hard(&mut state) as u32 % 64][hard(&mut state) as usize % 4];
        let x = hard(&mut state) as i64 >> (hard(&mut state) % 64);
        let y = (hard(&mut state) as i64 >> (hard(&mut state) % 64)).max(1);
        let (exact, d) = (u128::from(x.unsigned_abs()) << shift, y as u128);
        let floor = exact / d;
        let twice = 2 * (exact - floor * d) + (floor & 1);
        let nearest = (floor + u128::from(twice > d)).min(i64::MAX as u128) as i64;
        let want = if x < 0 { -nearest } else { nearest };
        assert_eq!(ratio(x, shift, y), want, "{x} 2^{shift}/{y}");
    }
    for y in [0, -1, i64::MIN] {
        assert_eq!(ratio(-5, 58, y), i64::MAX);
    }
}

#[test]
fn narrow_is_round_and_saturate() {
    let mut state = 2;
    for _ in 0..400_000 {
        let (x, shift) = (hard(&mut state) as i128, 34 + (hard(&mut state) % 29) as u32);
        for x in [x, -(x >> 1), x >> (shift / 2), !(x >> 60)] {
            let want = saturate(shift_round(x, shift), i64::MAX).0;
            assert_eq!(product::narrow(x, shift), want, "{x} >> {shift}");
        }
    }
    // At the ends of what is narrowed the short way, and ties at them.
    for shift in 34..=62 {
        let (one, half) = (1i128 << shift, 1i128 << (shift - 1));
        for end in [1i128 << 62, (1 << 63) - 1, 1 << 63] {
            for off in [-half - 1, -half, 1 - half, -1, 0, 1, half - 1, half, half + 1] {
                for x in [end * one + off, -end * one + off] {
                    let want = saturate(shift_round(x, shift), i64::MAX).0;
                    assert_eq!(product::narrow(x, shift), want, "{x} >> {shift}");
                }
            }
        }
    }
}

/// By words of 32 bits, as boards do it, the language's product.
#[test]
fn products_are_exact() {
    let edges = [0, 1, -1, 1 << 31, -(1 << 31), (1 << 31) - 1, 1 << 32, i64::MIN, i64::MAX];
    let near = [-(1 << 31), -(1 << 31) - 1, -1, 0, 1, (1 << 31) - 1, 1 << 31];
    let edges = edges.map(|edge| near.map(|near| i64::wrapping_add(edge, near)));
    let mut state = 6;
    let any = (0..400_000).map(|_| [(); 2].map(|()| hard(&mut state) as i64));
    let edges = edges.as_flattened();
    let all = edges.iter().flat_map(|x| edges.iter().map(|y| [*x, *y]));
    for [x, y] in all.chain(any) {
        assert_eq!(product::by_words(x, y), i128::from(x) * i128::from(y), "{x} {y}");
        assert_eq!(times(x, y, 62), saturate(multiply_round(x, y, 62), i64::MAX).0, "{x} {y}");
    }
}

#[test]
fn sums_of_products() {
    let (x, y) = ([3 << 50, -(5 << 40), i64::MIN], [1 << 60, 1 << 61, 0]);
    let want = (3 << 48) - (5 << 39);
    assert_eq!(dot(&x, &y, 62), want);
    // As many as the shorter has.
    assert_eq!(dot(&x, &y[..1], 62), 3 << 48);
    assert_eq!(dot(&[1, 1], &[1 << 61, 1 << 62], 62), 2);
    assert_eq!(dot(&[i64::MAX; 2], &[i64::MAX >> 1; 2], 34), i64::MAX);
}

#[test]
fn square_root_brackets() {
    for x in [0u128, 1, 2, 3, 4, 8, 9, 1 << 62, (1 << 63) - 1, u128::MAX >> 1, u128::MAX] {
        let r = u128::from(square_root(x));
        assert!(r * r <= x);
        assert!((r + 1).checked_mul(r + 1).is_none_or(|next| next > x));
    }
    let mut state = 3;
    for _ in 0..400_000 {
        let x = hard(&mut state);
        let square = u128::from(x as u64).pow(2);
        for x in [x, square, square.saturating_sub(1), square.saturating_add(1)] {
            assert_eq!(u128::from(square_root(x)), x.isqrt(), "{x}");
        }
    }
}
