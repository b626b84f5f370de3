//! The pairs: a board, the change that passes, the change that does not, the error.

use super::{BOARD, Build, Row, Setup, bridge, build, difference, electrode, separate};
use quietgap_core::Stage;
use quietgap_core::carrier::CarrierRatio;
use quietgap_core::config::*;
use quietgap_core::word::{Coefficient, Fraction, Word};

pub fn fir(s: &mut Setup, ratio: u16, taps: &[i32], scale: u8) {
    s.firs.push((ratio, taps.to_vec(), scale));
}
fn monitor(s: &mut Setup) -> &mut MonitorConfig {
    s.monitor.as_mut().expect("a monitor")
}
/// Bridge 1 with another channel and full word, as bits.
fn one(s: &mut Setup, channel: u8, full: i64) {
    s.bridges[0].kind = BridgeKind::Difference { channel, full: Word::from_bits(full) };
}
/// Bridge 2 with other channels and least sum, as bits.
fn two(s: &mut Setup, channels: [u8; 2], least_sum: i64) {
    s.bridges[1].kind = BridgeKind::Separate { channels, least_sum: Word::from_bits(least_sum) };
}
/// One of a bridge's fractions.
fn set(fraction: &mut Fraction, bits: i64) {
    *fraction = Fraction::from_bits(bits);
}
/// Largest share of another bridge, 3/8.
const SHARE: i64 = 3 << 59;

/// A second bridge of that wiring, and no share of either yet.
fn coupled(s: &mut Setup, second: BridgeKind) -> &mut Vec<Fraction> {
    s.bridges[1].kind = second;
    s.cross_coupling = vec![Fraction::ZERO; 4];
    &mut s.cross_coupling
}

/// So many electrodes of a board with three bridges at most, the last one to change.
fn last(s: &mut Setup, count: usize) -> &mut ElectrodeConfig {
    s.electrodes = vec![electrode(); count];
    s.electrodes.last_mut().expect("an electrode")
}
fn axes(s: &mut Setup, bridges: usize, axes: u8) {
    s.bridges = vec![bridge(difference()); bridges];
    s.axes = (1 << axes) - 1;
    s.solve = bridges * usize::from(axes);
    s.geometry = s.solve;
}
fn entries(s: &mut Setup, matrix: usize, bits: i128) {
    s.entries[matrix] = Coefficient::from_bits(bits as i64);
}
/// Six bridges, and that in all entries of the solving matrix.
fn six_bridges(s: &mut Setup, bits: i128) {
    s.channels = 14;
    axes(s, 6, 1);
    entries(s, 0, bits);
}
fn coherent(s: &mut Setup, samples: u32, ratio: u16) {
    s.carrier = CarrierRatio::coherent(1, samples).unwrap();
    s.front_end.path = Path::Coherent;
    s.front_end.ratio = ratio;
}
/// Order 6, as wide codes as `bits`.
fn sixth(s: &mut Setup, bits: u8, samples: u32, ratio: u16, delay: u8) {
    coherent(s, samples, ratio);
    (s.code_bits, s.front_end.order, s.front_end.differential_delay) = (bits, 6, delay);
}

const ONE: i64 = 1 << 52;
const WORD: i64 = 1 << 55;
const UNIT: i64 = 1 << 62;
/// 0.9 in Q2.62, as the core cuts it.
const RANGE: i64 = 9 * (UNIT / 10);
const BELOW: i64 = (1 << 41) + (1 << 19);
const METRE: i64 = 1_000_000_000_000_000_000;

#[rustfmt::skip]
pub fn front_end_rows() -> Vec<Row> {
    use Stage::{Converter, FrontEnd};
    let last_order: Build = build::<6, 3, 192>;
    vec![
        (BOARD, |s| s.code_bits = 8, |s| s.code_bits = 7, (Converter, "code bits", 7, 8, 32)),
        (BOARD, |s| s.code_bits = 32, |s| s.code_bits = 33, (Converter, "code bits", 33, 8, 32)),
        (BOARD, |s| { axes(s, 1, 0); (s.channels, s.monitor) = (1, None) }, |s| s.channels = 0,
            (Converter, "channels", 0, 1, 3)),
        (BOARD, |s| s.channels = 3, |s| s.channels = 4, (Converter, "channels", 4, 1, 3)),
        // Squared, 1 + e becomes 1 + 2 e + e^2: 2^41 steps above one are 2^42 and 2^20 above.
        (BOARD, |s| s.cosine = Fraction::from_bits(UNIT + (1 << 40)), |s| s.cosine = Fraction::from_bits(UNIT + (1 << 41)),
            (Converter, "alignment's cosine and sine squared, Q2.62", UNIT + (1 << 42) + (1 << 20), UNIT - (1 << 42), UNIT + (1 << 42))),
        (BOARD, |s| s.cosine = Fraction::from_bits(UNIT - (1 << 40)), |s| s.cosine = Fraction::ZERO,
            (Converter, "alignment's cosine and sine squared, Q2.62", 0, UNIT - (1 << 42), UNIT + (1 << 42))),
        // A mask of 32 bits names the channels, whatever the capacity.
        (build::<2, 40, 64>, |s| s.channels = 32, |s| s.channels = 33, (Converter, "channels", 33, 1, 32)),
        (BOARD, |_| (), |s| s.front_end.order = 1, (FrontEnd, "order", 1, 2, 2)),
        (BOARD, |_| (), |s| s.front_end.order = 3, (FrontEnd, "order", 3, 2, 2)),
        (BOARD, |s| s.front_end.ratio = 2, |s| s.front_end.ratio = 1, (FrontEnd, "ratio", 1, 2, 4096)),
        (BOARD, |s| s.front_end.ratio = 4096, |s| s.front_end.ratio = 4097, (FrontEnd, "ratio", 4097, 2, 4096)),
        (BOARD, |s| s.front_end.differential_delay = 1, |s| s.front_end.differential_delay = 0,
            (FrontEnd, "differential delay", 0, 1, 2)),
        (BOARD, |s| s.front_end.differential_delay = 2, |s| s.front_end.differential_delay = 3,
            (FrontEnd, "differential delay", 3, 1, 2)),
        (BOARD, |s| coherent(s, 4, 8), |s| coherent(s, 4, 9),
            (FrontEnd, "carrier periods that divide the ratio, for the coherent path", 0, 1, 1)),
        (BOARD, |s| coherent(s, 4, 8), |s| { coherent(s, 4, 8); s.carrier = CarrierRatio::from_step(1 << 62).unwrap() },
            (FrontEnd, "carrier periods that divide the ratio, for the coherent path", 0, 1, 1)),
        // Three channels of 2 phases fill 6 of 8 columns, of 3 phases they would 9.
        (build::<2, 3, 8>, |s| coherent(s, 4, 12), |s| coherent(s, 6, 12), (FrontEnd, "channels x carrier phases, for which there are COLUMNS", 9, 1, 8)),
        // 26 bits, 29 of the carrier (K = 2), growth 6 x 12 = 72 bits at 4096, 73 above: 127, 128.
        (last_order, |s| sixth(s, 26, 4, 2048, 2), |s| sixth(s, 26, 4, 2052, 2),
            (FrontEnd, "CIC register bits", 128, 1, 127)),
        // Two rows, summed six times, reach C(7, 6) = 7 codes: 7 x 2^28 is below 2^31, 7 x 2^29 not;
        // a row as long as the interval would have more than 64 columns.
        (last_order, |s| sixth(s, 29, 4, 128, 1), |s| sixth(s, 30, 4, 128, 1),
            (FrontEnd, "samples of codes so wide in a folded section", 0, 1, 128)),
    ]
}

#[rustfmt::skip]
pub fn fir_rows() -> Vec<Row> {
    use Stage::Fir;
    vec![
        (BOARD, |s| (0..6).for_each(|_| fir(s, 1, &[1], 0)), |s| (0..7).for_each(|_| fir(s, 1, &[1], 0)),
            (Fir(7), "number of stages", 7, 0, 6)),
        (BOARD, |s| fir(s, 1, &[1], 0), |s| fir(s, 0, &[1], 0), (Fir(1), "ratio", 0, 1, 4096)),
        (BOARD, |s| fir(s, 4096, &[1], 0), |s| fir(s, 4097, &[1], 0), (Fir(1), "ratio", 4097, 1, 4096)),
        (BOARD, |s| fir(s, 1, &[1], 0), |s| fir(s, 1, &[], 0), (Fir(1), "taps", 0, 1, 12288)),
        (BOARD, |s| fir(s, 4096, &[1; 12288], 14), |s| fir(s, 4096, &[1; 12289], 14), (Fir(1), "taps", 12289, 1, 12288)),
        (BOARD, |s| fir(s, 1, &[1], 30), |s| fir(s, 1, &[1], 31), (Fir(1), "scale bits", 31, 0, 30)),
        (BOARD, |s| fir(s, 1, &[0, -1, 0], 0), |s| fir(s, 1, &[0, 0, 0], 0),
            (Fir(1), "sum of |taps|", 0, 1, (1 << 32) - 1)),
        // Of words up to 2, this is also the last below 8.
        (BOARD, |s| fir(s, 1, &[i32::MAX, 1, i32::MAX], 30), |s| fir(s, 1, &[i32::MAX, 2, i32::MAX], 30),
            (Fir(1), "sum of |taps|", 1 << 32, 1, (1 << 32) - 1)),
        (BOARD, |s| fir(s, 1, &[i32::MAX], 29), |s| fir(s, 1, &[i32::MIN], 29),
            (Fir(1), "worst-case word, thousandths", 8000, 0, 7999)),
        (BOARD, |s| { fir(s, 1, &[2], 0); fir(s, 1, &[2047], 10) }, |s| { fir(s, 1, &[2], 0); fir(s, 1, &[2048], 10) },
            (Fir(2), "worst-case word, thousandths", 8000, 0, 7999)),
        // 2 x 4096 taps and 4 x 1024, or 5 x 1024 with one tap more.
        (BOARD, |s| { fir(s, 4096, &[1; 8192], 13); fir(s, 1024, &[1; 4096], 12) },
            |s| { fir(s, 4096, &[1; 8192], 13); fir(s, 1024, &[1; 4097], 12) },
            (Fir(2), "taps of all stages, for which there are TAPS", 13312, 0, 12288)),
        // Three channels, one output more open than 24 sums hold.
        (BOARD, |s| fir(s, 1, &[1; 8], 3), |s| fir(s, 1, &[1; 9], 4), (Fir(1), "open outputs of all stages, for which there are OPEN", 27, 0, 24)),
        (BOARD, |s| { fir(s, 2, &[1; 7], 3); fir(s, 1, &[1; 4], 2) }, |s| { fir(s, 2, &[1; 7], 3); fir(s, 1, &[1; 5], 3) },
            (Fir(2), "open outputs of all stages, for which there are OPEN", 27, 0, 24)),
        // An interval of the front end, 2 samples, 255 x 2^24 or 2^32 times.
        (BOARD, |s| many(s, 255), |s| many(s, 256), (Fir(3), "intervals of the front end in its own", 1 << 32, 1, (1 << 32) - 1)),
        // Stage 3 runs at a rate of 2^36 samples: 15 or 16 of them after the 2 x 4095 + 1 of the CIC.
        (BOARD, |s| long(s, 16), |s| long(s, 17), (Fir(3), "samples in its span", (1 << 40) + 8191, 1, 1 << 40)),
    ]
}

fn many(s: &mut Setup, last: u16) {
    s.front_end.ratio = 2;
    fir(s, 4096, &[1], 0);
    fir(s, 4096, &[1], 0);
    fir(s, last, &[1], 0);
}

fn long(s: &mut Setup, taps: usize) {
    s.front_end.ratio = 4096;
    fir(s, 4096, &[1], 0);
    fir(s, 4096, &[1], 0);
    fir(s, 128, &vec![1; taps], 5);
}

#[rustfmt::skip]
pub fn slow_rows() -> Vec<Row> {
    use Stage::{Axes, Bridge, Coupling, Housing, Monitor};
    let wide: Build = build::<2, 16, 512>;
    let word = Word::from_bits;
    assert_eq!(word(ONE), Word::ONE);
    vec![
        (BOARD, |s| monitor(s).channel = 2, |s| monitor(s).channel = 3, (Monitor, "channel", 3, 0, 2)),
        (BOARD, |s| monitor(s).calibration = Word::from_bits(1 << 30), |s| monitor(s).calibration = Word::from_bits((1 << 30) - 1),
            (Monitor, "calibration word", (1 << 30) - 1, 1 << 30, WORD)),
        (BOARD, |s| monitor(s).calibration = Word::from_bits(WORD), |s| monitor(s).calibration = Word::from_bits(WORD + 1),
            (Monitor, "calibration word", WORD + 1, 1 << 30, WORD)),
        (BOARD, |s| (monitor(s).weak, monitor(s).lost) = (Word::ZERO, Word::ZERO), |s| monitor(s).weak = Word::from_bits(-1),
            (Monitor, "weak level word", -1, 0, WORD)),
        (BOARD, |s| monitor(s).weak = Word::from_bits(WORD), |s| monitor(s).weak = Word::from_bits(WORD + 1),
            (Monitor, "weak level word", WORD + 1, 0, WORD)),
        (BOARD, |s| monitor(s).lost = Word::ZERO, |s| monitor(s).lost = Word::from_bits(-1),
            (Monitor, "lost level word", -1, 0, ONE / 2)),
        (BOARD, |s| monitor(s).lost = Word::from_bits(ONE / 2), |s| monitor(s).lost = Word::from_bits(ONE / 2 + 1),
            (Monitor, "lost level word", ONE / 2 + 1, 0, ONE / 2)),

        (BOARD, |s| one(s, 2, ONE), |s| one(s, 3, ONE), (Bridge(1), "channel", 3, 0, 2)),
        (BOARD, |s| one(s, 0, 1 << 30), |s| one(s, 0, (1 << 30) - 1),
            (Bridge(1), "full-bridge word", (1 << 30) - 1, 1 << 30, WORD)),
        (BOARD, |s| one(s, 0, WORD), |s| one(s, 0, WORD + 1), (Bridge(1), "full-bridge word", WORD + 1, 1 << 30, WORD)),
        (BOARD, |s| two(s, [2, 0], ONE), |s| two(s, [3, 0], ONE), (Bridge(2), "channel of electrode 1", 3, 0, 2)),
        (BOARD, |s| two(s, [0, 2], ONE), |s| two(s, [0, 3], ONE), (Bridge(2), "channel of electrode 2", 3, 0, 2)),
        (BOARD, |s| set(&mut s.bridges[1].strays[0], 0), |s| set(&mut s.bridges[1].strays[0], 0 - 1),
            (Bridge(2), "stray 1, Q2.62", 0 - 1, 0, UNIT)),
        (BOARD, |s| set(&mut s.bridges[1].strays[0], UNIT), |s| set(&mut s.bridges[1].strays[0], UNIT + 1),
            (Bridge(2), "stray 1, Q2.62", UNIT + 1, 0, UNIT)),
        (BOARD, |s| set(&mut s.bridges[1].strays[1], 0), |s| set(&mut s.bridges[1].strays[1], 0 - 1),
            (Bridge(2), "stray 2, Q2.62", 0 - 1, 0, UNIT)),
        (BOARD, |s| set(&mut s.bridges[1].strays[1], UNIT), |s| set(&mut s.bridges[1].strays[1], UNIT + 1),
            (Bridge(2), "stray 2, Q2.62", UNIT + 1, 0, UNIT)),
        (BOARD, |s| set(&mut s.bridges[1].weights[0], UNIT / 4), |s| set(&mut s.bridges[1].weights[0], UNIT / 4 - 1),
            (Bridge(2), "weight 1, Q2.62", UNIT / 4 - 1, UNIT / 4, 3 * (UNIT / 4))),
        (BOARD, |s| set(&mut s.bridges[1].weights[0], 3 * (UNIT / 4)), |s| set(&mut s.bridges[1].weights[0], 3 * (UNIT / 4) + 1),
            (Bridge(2), "weight 1, Q2.62", 3 * (UNIT / 4) + 1, UNIT / 4, 3 * (UNIT / 4))),
        (BOARD, |s| set(&mut s.bridges[1].weights[1], UNIT / 4), |s| set(&mut s.bridges[1].weights[1], UNIT / 4 - 1),
            (Bridge(2), "weight 2, Q2.62", UNIT / 4 - 1, UNIT / 4, 3 * (UNIT / 4))),
        (BOARD, |s| set(&mut s.bridges[1].weights[1], 3 * (UNIT / 4)), |s| set(&mut s.bridges[1].weights[1], 3 * (UNIT / 4) + 1),
            (Bridge(2), "weight 2, Q2.62", 3 * (UNIT / 4) + 1, UNIT / 4, 3 * (UNIT / 4))),
        (BOARD, |s| set(&mut s.bridges[1].gaps[0], UNIT / 2), |s| set(&mut s.bridges[1].gaps[0], UNIT / 2 - 1),
            (Bridge(2), "gap 1, Q2.62", UNIT / 2 - 1, UNIT / 2, 3 * (UNIT / 2))),
        (BOARD, |s| set(&mut s.bridges[1].gaps[0], 3 * (UNIT / 2)), |s| set(&mut s.bridges[1].gaps[0], 3 * (UNIT / 2) + 1),
            (Bridge(2), "gap 1, Q2.62", 3 * (UNIT / 2) + 1, UNIT / 2, 3 * (UNIT / 2))),
        (BOARD, |s| set(&mut s.bridges[1].gaps[1], UNIT / 2), |s| set(&mut s.bridges[1].gaps[1], UNIT / 2 - 1),
            (Bridge(2), "gap 2, Q2.62", UNIT / 2 - 1, UNIT / 2, 3 * (UNIT / 2))),
        (BOARD, |s| set(&mut s.bridges[1].gaps[1], 3 * (UNIT / 2)), |s| set(&mut s.bridges[1].gaps[1], 3 * (UNIT / 2) + 1),
            (Bridge(2), "gap 2, Q2.62", 3 * (UNIT / 2) + 1, UNIT / 2, 3 * (UNIT / 2))),
        (BOARD, |s| set(&mut s.bridges[1].phase, 0), |s| set(&mut s.bridges[1].phase, -1),
            (Bridge(2), "phase limit, Q2.62", -1, 0, UNIT)),
        (BOARD, |s| set(&mut s.bridges[1].floor, 0), |s| set(&mut s.bridges[1].floor, -1),
            (Bridge(2), "quadrature's floor, Q2.62", -1, 0, i64::MAX)),
        (BOARD, |s| set(&mut s.bridges[1].phase, UNIT), |s| set(&mut s.bridges[1].phase, UNIT + 1),
            (Bridge(2), "phase limit, Q2.62", UNIT + 1, 0, UNIT)),
        (BOARD, |s| set(&mut monitor(s).phase, 0), |s| set(&mut monitor(s).phase, -1),
            (Monitor, "sine of the phase, Q2.62", -1, 0, UNIT)),
        (BOARD, |s| set(&mut monitor(s).phase, UNIT), |s| set(&mut monitor(s).phase, UNIT + 1),
            (Monitor, "sine of the phase, Q2.62", UNIT + 1, 0, UNIT)),
        // Two difference bridges; then one of separate electrodes.
        (BOARD, |s| coupled(s, difference()).truncate(4), |s| coupled(s, difference()).truncate(3),
            (Coupling, "entries of the matrix", 3, 4, 4)),
        (BOARD, |s| coupled(s, difference()).clear(), |s| coupled(s, difference()).push(Fraction::ZERO),
            (Coupling, "entries of the matrix", 5, 4, 4)),
        (BOARD, |s| set(&mut coupled(s, difference())[1], SHARE), |s| set(&mut coupled(s, difference())[1], SHARE + 1),
            (Coupling, "share, Q2.62", SHARE + 1, -SHARE, SHARE)),
        (BOARD, |s| set(&mut coupled(s, difference())[2], -SHARE), |s| set(&mut coupled(s, difference())[2], -SHARE - 1),
            (Coupling, "share, Q2.62", -SHARE - 1, -SHARE, SHARE)),
        (BOARD, |s| set(&mut coupled(s, separate())[0], SHARE), |s| set(&mut coupled(s, separate())[1], 1),
            (Coupling, "share, Q2.62", 1, 0, 0)),
        (BOARD, |s| set(&mut coupled(s, separate())[1], 0), |s| set(&mut coupled(s, separate())[2], -1),
            (Coupling, "share, Q2.62", -1, 0, 0)),
        (BOARD, |s| set(&mut coupled(s, separate())[3], 0), |s| set(&mut coupled(s, separate())[3], 1),
            (Coupling, "share, Q2.62", 1, 0, 0)),
        (BOARD, |s| { last(s, 4); }, |s| { last(s, 3); }, (Housing, "electrodes", 3, 4, 9)),
        (BOARD, |s| { last(s, 9); }, |s| { last(s, 10); }, (Housing, "electrodes", 10, 4, 9)),
        (BOARD, |s| last(s, 5).gap_am = 1, |s| last(s, 5).gap_am = 0, (Housing, "gap, am", 0, 1, METRE)),
        (BOARD, |s| last(s, 5).gap_am = METRE, |s| last(s, 5).gap_am = METRE + 1, (Housing, "gap, am", METRE + 1, 1, METRE)),
        // Squared, 1 - e becomes 1 - 2 e + e^2: e of 2^41 and 2^19 steps is 2^42 below one.
        (BOARD, |s| set(&mut last(s, 5).normal[0], UNIT - BELOW), |s| set(&mut last(s, 5).normal[0], UNIT - BELOW - 1),
            (Housing, "normal squared, Q2.62", UNIT - (1 << 42) - 2, UNIT - (1 << 42), UNIT + (1 << 42))),
        (BOARD, |s| last(s, 5).position_am[0] = -METRE, |s| last(s, 5).position_am[0] = -METRE - 1,
            (Housing, "position, am", -METRE - 1, -METRE, METRE)),
        (BOARD, |s| last(s, 5).position_am[0] = METRE, |s| last(s, 5).position_am[0] = METRE + 1,
            (Housing, "position, am", METRE + 1, -METRE, METRE)),
        (BOARD, |s| last(s, 5).position_am[1] = -METRE, |s| last(s, 5).position_am[1] = -METRE - 1,
            (Housing, "position, am", -METRE - 1, -METRE, METRE)),
        (BOARD, |s| last(s, 5).position_am[1] = METRE, |s| last(s, 5).position_am[1] = METRE + 1,
            (Housing, "position, am", METRE + 1, -METRE, METRE)),
        (BOARD, |s| last(s, 5).position_am[2] = -METRE, |s| last(s, 5).position_am[2] = -METRE - 1,
            (Housing, "position, am", -METRE - 1, -METRE, METRE)),
        (BOARD, |s| last(s, 5).position_am[2] = METRE, |s| last(s, 5).position_am[2] = METRE + 1,
            (Housing, "position, am", METRE + 1, -METRE, METRE)),
        (BOARD, |s| set(&mut last(s, 5).total_share, 0), |s| set(&mut last(s, 5).total_share, -1),
            (Housing, "share of all capacitance, Q2.62", -1, 0, UNIT)),
        (BOARD, |s| set(&mut last(s, 5).total_share, UNIT), |s| set(&mut last(s, 5).total_share, UNIT + 1),
            (Housing, "share of all capacitance, Q2.62", UNIT + 1, 0, UNIT)),
        (BOARD, |s| set(&mut last(s, 5).drive_share, 0), |s| set(&mut last(s, 5).drive_share, -1),
            (Housing, "share of the injection, Q2.62", -1, 0, UNIT)),
        (BOARD, |s| set(&mut last(s, 5).drive_share, UNIT), |s| set(&mut last(s, 5).drive_share, UNIT + 1),
            (Housing, "share of the injection, Q2.62", UNIT + 1, 0, UNIT)),
        (BOARD, |s| two(s, [0, 1], 1 << 30), |s| two(s, [0, 1], (1 << 30) - 1),
            (Bridge(2), "least sum word", (1 << 30) - 1, 1 << 30, 1 << 57)),
        (BOARD, |s| two(s, [0, 1], 1 << 57), |s| two(s, [0, 1], (1 << 57) + 1),
            (Bridge(2), "least sum word", (1 << 57) + 1, 1 << 30, 1 << 57)),
        (BOARD, |s| s.bridges[1].gap_am = 1, |s| s.bridges[1].gap_am = 0, (Bridge(2), "gap, am", 0, 1, METRE)),
        (BOARD, |s| s.bridges[1].gap_am = METRE, |s| s.bridges[1].gap_am = METRE + 1, (Bridge(2), "gap, am", METRE + 1, 1, METRE)),
        (BOARD, |s| s.bridges[0].offset_am = -1000, |s| s.bridges[0].offset_am = -1001, (Bridge(1), "offset, am", -1001, -1000, 1000)),
        (BOARD, |s| s.bridges[0].offset_am = 1000, |s| s.bridges[0].offset_am = 1001, (Bridge(1), "offset, am", 1001, -1000, 1000)),
        (BOARD, |s| s.bridges[0].range = Fraction::from_bits(1), |s| s.bridges[0].range = Fraction::ZERO,
            (Bridge(1), "range, Q2.62", 0, 1, RANGE)),
        (BOARD, |s| s.bridges[0].range = Fraction::from_bits(RANGE), |s| s.bridges[0].range = Fraction::from_bits(RANGE + 1),
            (Bridge(1), "range, Q2.62", RANGE + 1, 1, RANGE)),
        (BOARD, |s| s.bridges[0].quadrature = Fraction::ZERO, |s| s.bridges[0].quadrature = Fraction::from_bits(-1),
            (Bridge(1), "quadrature limit, Q2.62", -1, 0, i64::MAX)),

        (BOARD, |s| axes(s, 1, 0), |s| axes(s, 0, 0), (Axes, "bridges", 0, 1, 3)),
        (BOARD, |s| axes(s, 3, 1), |s| axes(s, 4, 1), (Axes, "bridges", 4, 1, 3)),
        (wide, |s| { s.channels = 14; axes(s, 12, 6) }, |s| { s.channels = 14; axes(s, 13, 6) }, (Axes, "bridges", 13, 1, 12)),
        (BOARD, |s| { axes(s, 3, 3); s.axes = 0b11_1000 }, |s| s.axes = 0b100_0000, (Axes, "set of axes", 64, 0, 63)),
        (BOARD, |s| axes(s, 2, 2), |s| axes(s, 2, 3), (Axes, "axes", 3, 0, 2)),
        (BOARD, |s| s.solve = 2, |s| s.solve = 1, (Axes, "entries of the solving matrix", 1, 2, 2)),
        (BOARD, |s| s.solve = 2, |s| s.solve = 3, (Axes, "entries of the solving matrix", 3, 2, 2)),
        (BOARD, |s| s.geometry = 2, |s| s.geometry = 1, (Axes, "entries of the geometry", 1, 2, 2)),
        (BOARD, |s| s.geometry = 2, |s| s.geometry = 3, (Axes, "entries of the geometry", 3, 2, 2)),
        // Six entries a row of the one, three of the other.
        (BOARD, |s| { axes(s, 3, 3); entries(s, 1, (1 << 63) / 3) }, |s| { axes(s, 3, 3); entries(s, 1, (1 << 63) / 3 + 1) },
            (Axes, "row of the geometry, sum of magnitudes", 32768, 0, 32767)),
        (wide, |s| six_bridges(s, (1 << 65) / 6), |s| six_bridges(s, -((1 << 65) / 6) - 1),
            (Axes, "row of the solving matrix, sum of magnitudes", 131072, 0, 131071)),
        (BOARD, |s| s.residual_am = 0, |s| s.residual_am = -1, (Axes, "residual limit, am", -1, 0, i64::MAX)),
    ]
}
