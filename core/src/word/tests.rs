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
    // A shift that no format has is the nearest that one has.
    assert_eq!(narrow(5, 0), narrow(5, 1));
    assert_eq!(narrow(5 << 70, 64), narrow(5 << 70, 63));
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
}

#[test]
fn narrow_is_round_and_saturate() {
    let mut state = 2;
    for _ in 0..400_000 {
        let (x, shift) = (hard(&mut state) as i128, 1 + (hard(&mut state) % 63) as u32);
        for x in [x, -(x >> 1), x >> (shift / 2), !(x >> 60)] {
            let want = saturate(shift_round(x, shift), i64::MAX).0;
            assert_eq!(narrow(x, shift), want, "{x} >> {shift}");
        }
    }
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
