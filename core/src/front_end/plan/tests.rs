//! What a plan of the front end is made of: columns, sections, fraction bits, constants.

use super::*;

/// Every constant by itself changes the sum.
#[test]
fn constants_are_in_the_sum() {
    let sum = |change: fn(&mut Constants<2>)| {
        let mut constants = Constants::<2>::NONE;
        change(&mut constants);
        let mut sum = Checksum::START;
        constants.check(&mut sum);
        sum.to_bits()
    };
    let sums = [
        sum(|_| ()),
        sum(|c| c.ratio += 1),
        sum(|c| c.differential_delay += 1),
        sum(|c| c.section += 1),
        sum(|c| c.weights.interval = IntervalWeights::new(9, 1)),
        sum(|c| c.weights.whole[1] += 1),
        sum(|c| c.weights.last[1] += 1),
        sum(|c| c.weights.shift = Shift::new(5)),
        sum(|c| c.weights.pruned += 1),
    ];
    for (n, sum) in sums.iter().enumerate() {
        assert!(!sums[..n].contains(sum), "{n}");
    }
}

fn config(order: u8, ratio: u16, path: Path, pruned_bits: u8) -> FrontEndConfig {
    FrontEndConfig { order, ratio, differential_delay: 1, path, pruned_bits }
}

/// More than 64 columns only where folding is asked for.
#[test]
fn many_columns_on_request() {
    for (period, columns, auto) in [(128, 64, true), (65, 65, false), (130, 65, false)] {
        let carrier = CarrierRatio::coherent(1, period).expect("a carrier");
        let of = |path| folding(carrier, config(1, 4 * period as u16, path, 0), 24);
        assert_eq!(of(Path::Auto).map(|f| f.columns), auto.then_some(columns));
        assert_eq!(of(Path::Coherent).map(|f| f.columns), Some(columns));
        assert_eq!(of(Path::General), None);
    }
}

/// Sections of a folded interval are as long as sums fit, whole rows; of a mixed one as even as may be.
#[test]
fn lengths_of_sections() {
    let carrier = CarrierRatio::coherent(1, 10).expect("a carrier");
    let config = config(3, 4000, Path::Coherent, 0);
    let folded = folding(carrier, config, 24);
    let most = folded.expect("folds").section(3, 24);
    let length = section_length(config, 24, folded);
    assert!(length == most && length < 4000 && length.is_multiple_of(10), "{length} of {most}");
    let mixed = section_length(config, 24, None);
    let longest = section(3, 24, fraction_bits(config, 24, None));
    assert!(mixed <= longest, "{mixed} of {longest}");
    assert_eq!(4000u32.div_ceil(mixed), 4000u32.div_ceil(longest));
}

/// Pruned: as many bits as a section's sums within 62, a register of 64 and the table have room for, and
/// not one less.
#[test]
fn bits_of_a_pruned_carrier() {
    let mut by_sums = 0;
    for order in 1..=6 {
        for (ratio, code_bits) in [(16, 24), (100, 24), (400, 16), (1000, 12), (4000, 8)] {
            for pruned in [1, 4, 8, 16, 24, 32] {
                for period in [0, 4, 10] {
                    let path = if period == 0 { Path::General } else { Path::Coherent };
                    let config = config(order, ratio, path, pruned);
                    let carrier = CarrierRatio::coherent(1, period.max(5)).expect("a carrier");
                    let folded = folding(carrier, config, code_bits);
                    let (order, ratio) = (u32::from(order), u32::from(ratio));
                    let bits = fraction_bits(config, code_bits, folded);
                    let samples = folded.map_or(1, |f| f.section(order, code_bits)).min(ratio);
                    let fits = |bits: u32| {
                        let sums = sum_bound(order, code_bits, samples).checked_shl(bits);
                        let sums = sums.is_some_and(|s| s >> bits != 0 && s <= 1 << 62);
                        let most = folded.map_or(table_bits(order), Folding::most_fraction_bits);
                        (sums, bits <= most)
                    };
                    let taken = width(code_bits, order, ratio, 1).saturating_sub(pruned.into());
                    let told = (order, ratio, code_bits, pruned, period, bits);
                    let (sums, table) = fits(bits);
                    assert!(sums && table, "{told:?}");
                    // One more breaks one of the three, unless the register is too small for any.
                    let (sums, table) = fits(bits + 1);
                    let register = taken + bits < 64 || taken + LEAST_FRACTION_BITS > 64;
                    assert!(!(sums && table && register), "{told:?}");
                    assert!(taken + bits <= 64 || taken + LEAST_FRACTION_BITS > 64, "{told:?}");
                    by_sums += u32::from(!sums && table);
                }
            }
        }
    }
    assert!(by_sums > 20, "{by_sums}");
}
