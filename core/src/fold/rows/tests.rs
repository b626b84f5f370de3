extern crate std;

use super::*;
use crate::made_up::made_up;
use std::vec::Vec;

/// Running sums as they are defined, in 64 bits.
fn plain<const ORDER: usize, const WIDTH: usize>(
    rows: &[[i32; WIDTH]],
    alternate: bool,
) -> [[i32; ORDER]; WIDTH] {
    let mut sums = [[0i64; ORDER]; WIDTH];
    for (r, row) in rows.iter().enumerate() {
        for (sums, code) in sums.iter_mut().zip(row) {
            let mut carry = i64::from(*code);
            if alternate && r % 2 == 1 {
                carry = -carry;
            }
            for sum in sums {
                *sum += carry;
                carry = *sum;
            }
        }
    }
    sums.map(|sums| sums.map(|sum| sum as i32))
}

/// A section at once, and cut in two: the same sums, and no end that is not told; whether the section was proven to have
/// none.
fn hold<const ORDER: usize, const WIDTH: usize, const EXACT: bool>(
    rows: &[[i32; WIDTH]],
    alternate: bool,
    bits: u32,
) -> bool {
    let ends = Ends::new(bits);
    let with_end = |rows: &[[i32; WIDTH]]| rows.as_flattened().iter().any(|c| ends.is_end(*c));
    let want = plain::<ORDER, WIDTH>(rows, alternate);
    let mut columns = Columns::<ORDER, WIDTH, EXACT>::IDLE;
    // Column by column, however they stand.
    let sums = |columns: &Columns<ORDER, WIDTH, EXACT>| -> [[i32; ORDER]; WIDTH] {
        if !Columns::<ORDER, WIDTH, EXACT>::BY_LEVEL {
            return *columns.sums.first_chunk().expect("as many");
        }
        let by_level = columns.sums.as_flattened();
        core::array::from_fn(|c| core::array::from_fn(|level| by_level[level * WIDTH + c]))
    };
    for cut in (0..=rows.len()).step_by(if alternate { 2 } else { 1 }) {
        columns.refill(WIDTH);
        let (before, behind) = rows.split_at(cut);
        let mut seen = 0;
        for (part, count) in [(before, cut), (behind, rows.len())] {
            let (some, rest) = columns.add_rows(part.as_flattened(), alternate, ends);
            assert!(rest.is_empty());
            seen |= some | columns.prove(count as u32, ends);
        }
        assert_eq!(sums(&columns), want, "order {ORDER}, {} rows cut at {cut}", rows.len());
        assert!(ends.met(seen) || !with_end(rows), "order {ORDER}: an end is not told");
    }
    // In place of what is there, for which there was something to clear.
    let seen = columns.take_section(rows.as_flattened(), alternate, ends);
    let seen = seen.expect("as many columns as there is room for");
    let mut centred = want;
    if ORDER > 1 {
        let middle = rows.len().div_ceil(2) as i32;
        for sums in &mut centred {
            sums[1] = sums[1].wrapping_sub(sums[0].wrapping_mul(middle));
        }
    }
    assert_eq!(sums(&columns), centred, "order {ORDER}, {} rows", rows.len());
    // Frame by frame, and centred afterwards.
    columns.refill(WIDTH);
    for (r, row) in rows.iter().enumerate() {
        columns.add_frame(0, row, alternate && r % 2 == 1, ends);
    }
    columns.centre(rows.len() as u32);
    assert_eq!(sums(&columns), centred, "order {ORDER}, {} rows, frame by frame", rows.len());
    assert!(ends.met(seen) || !with_end(rows), "order {ORDER}: an end is not told");
    !ends.met(seen)
}

fn random<const ORDER: usize, const WIDTH: usize, const EXACT: bool>() {
    let mut made_up = made_up((ORDER * 64 + WIDTH) as u64);
    let mut next = || (made_up() >> 33) as i32;
    let (mut proven, mut not) = (0, 0);
    for round in 0..200 {
        let bits = [8, 16, 24, 26, 28][round % 5];
        let count = next() as usize % 40 + 1;
        let alternate = count.is_multiple_of(2) && next() % 2 == 0;
        let last = (1i32 << (bits - 1)) - 1;
        let steady: Vec<i32> = (0..WIDTH).map(|_| next() % last / 10 * 9).collect();
        let noise = [1, last / 64, last / 4, 2 * last][next() as usize % 4];
        let rows: Vec<[i32; WIDTH]> = (0..count)
            .map(|r| {
                core::array::from_fn(|w| {
                    let sign = if alternate && r % 2 == 1 { -1 } else { 1 };
                    (sign * steady[w] + next() % (noise + 1) - noise / 2).clamp(-last - 1, last)
                })
            })
            .collect();
        *(if hold::<ORDER, WIDTH, EXACT>(&rows, alternate, bits) {
            &mut proven
        } else {
            &mut not
        }) += 1;
    }
    assert!(proven > 30 && not > 30, "order {ORDER}, {WIDTH} columns: {proven}, {not}");
}

#[test]
fn sums_of_sections_whole_and_cut() {
    random::<1, 3, true>();
    random::<2, 1, true>();
    random::<2, 4, true>();
    random::<2, 7, true>();
    random::<3, 2, true>();
    random::<6, 5, true>();
}

/// The same for a readout that is larger than its sensor, on a host: fewer columns than a vector has words, as many,
/// and more than all vectors that are taken at once.
#[cfg(feature = "wide")]
#[test]
fn sums_by_vectors() {
    random::<1, 3, false>();
    random::<1, 16, false>();
    random::<2, 1, false>();
    random::<2, 4, false>();
    random::<2, 10, false>();
    random::<2, 31, false>();
    random::<2, 32, false>();
    random::<2, 35, false>();
    random::<2, 70, false>();
    random::<3, 2, false>();
    random::<3, 17, false>();
    random::<6, 50, false>();
}

/// The energy of codes before a cut counts behind it, too: without it, this end would pass as a steady sum.
#[test]
fn an_end_behind_a_cut() {
    let ends = Ends::new(8);
    let mut columns = Columns::<2, 1, true>::IDLE;
    columns.refill(1);
    let mut seen = 0;
    for (code, rows) in [(50, 1), (127, 2)] {
        let codes = [code];
        let (some, rest) = columns.add_rows(&codes, false, ends);
        assert!(rest.is_empty());
        seen |= some | columns.prove(rows, ends);
    }
    assert!(ends.met(seen));
}
