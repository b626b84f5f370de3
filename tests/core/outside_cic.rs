//! The CIC against outside values: gain, register width and responses of Hogenauer 1981, and
//! streams computed elsewhere, equal to the last bit.
//!
//! Paper: E. B. Hogenauer, "An economical class of digital filters for decimation and
//! interpolation", IEEE Trans. ASSP 29 (1981) 155-162. Its text was not at hand: equation 11 is
//! as an open listing gives it, tables I and II are recalled; all values are computed anew
//! (`tests/vectors/README.md`).

use quietgap_core::cic::{Cic, IntervalWeights, gain, step_weights, width};
use serde_json::Value;
use std::f64::consts::PI;

fn vectors(name: &str) -> String {
    let path = format!("{}/../tests/vectors/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(path).expect("vector file")
}

fn json(name: &str) -> Vec<Value> {
    serde_json::from_str(&vectors(name)).expect("JSON array")
}

/// Hogenauer's design example, N = 4, R = 25, M = 1, 16 bits in: gain 25^4, growth 19 bits, most
/// significant bit 34, so a register of 35 bits (equation 11).
#[test]
fn design_example() {
    assert_eq!(gain(4, 25, 1), 390_625);
    assert_eq!(width(16, 4, 25, 1) - 16, 19);
    assert_eq!(width(16, 4, 25, 1), 35);
}

/// Where R M is a power of two the growth is N log2(R M) exactly, one more just above; the widest
/// allowed is 6 x 13.
#[test]
fn growth_at_powers_of_two() {
    for (order, ratio, delay, growth) in
        [(1, 2, 1, 1), (3, 8, 1, 9), (5, 64, 1, 30), (3, 32, 2, 18), (6, 4096, 2, 78)]
    {
        assert_eq!(width(16, order, ratio, delay), 16 + growth, "{order} {ratio} {delay}");
        assert!(width(16, order, ratio + 1, delay) > 16 + growth, "{order} {ratio}+1");
        assert!(width(16, order, ratio - 1, delay) <= 16 + growth);
    }
}

/// Output k of a CIC whose inputs are `input`, one integrator step at a time.
fn run<const N: usize>(
    ratio: usize,
    delay: u8,
    input: impl IntoIterator<Item = i128>,
) -> Vec<i128> {
    let mut cic = Cic::<i128, N>::IDLE;
    let (weights, intervals) = (step_weights(1), IntervalWeights::new(ratio as u32, delay));
    let mut out = Vec::new();
    for (n, x) in input.into_iter().enumerate() {
        // A section of one sample: all its sums are the sample.
        let first = n % ratio == 0;
        if (n + 1) % ratio == 0 {
            out.push(cic.decimate(first, [x; N], &weights, &intervals));
        } else {
            cic.advance(first, [x; N], &weights);
        }
    }
    out
}

/// Impulse response at the input's rate, from unit impulses at every phase of the decimation.
fn impulse_response<const N: usize>(ratio: usize, delay: u8) -> Vec<i128> {
    let outputs = N * usize::from(delay) + 2;
    let mut h = vec![0; outputs * ratio];
    for phase in 0..ratio {
        let impulse = (0..outputs * ratio).map(|n| i128::from(n == phase));
        for (k, y) in run::<N>(ratio, delay, impulse).into_iter().enumerate() {
            h[(k + 1) * ratio - 1 - phase] = y;
        }
    }
    h
}

fn response_of(order: u64, ratio: usize, delay: u8) -> Vec<i128> {
    match order {
        1 => impulse_response::<1>(ratio, delay),
        2 => impulse_response::<2>(ratio, delay),
        3 => impulse_response::<3>(ratio, delay),
        4 => impulse_response::<4>(ratio, delay),
        5 => impulse_response::<5>(ratio, delay),
        6 => impulse_response::<6>(ratio, delay),
        _ => panic!("order {order}"),
    }
}

/// Attenuation, dB below zero frequency, at `f` cycles per output sample, `f` a multiple of 1/512.
fn attenuation_db(h: &[i128], ratio: usize, f: f64) -> f64 {
    let steps = (f * 512.0) as usize;
    assert_eq!(steps as f64, f * 512.0);
    let total: i128 = h.iter().sum();
    let sum = h.iter().enumerate().fold([0f64; 2], |[re, im], (n, &tap)| {
        // Whole turns off by integers: deep in a stop band the angle must be good to 1e-16.
        let turns = (steps * n % (512 * ratio)) as f64 / (512 * ratio) as f64;
        let (s, c) = (2.0 * PI * turns).sin_cos();
        [re + tap as f64 * c, im + tap as f64 * s]
    });
    -20.0 * (sum[0].hypot(sum[1]) / total as f64).log10()
}

/// What the sum above may err, dB, at an attenuation: `f64` errs by 3e-16 of the gain.
fn float_error_db(attenuation: f64) -> f64 {
    8.7 * 3e-16 * 10f64.powf(attenuation / 20.0)
}

#[test]
fn impulse_response_sums_to_the_gain_and_is_symmetric() {
    for (order, ratio, delay) in [(1, 2, 2), (2, 7, 1), (4, 25, 1), (6, 16, 2)] {
        let h = response_of(order, ratio, delay);
        let length = order as usize * (ratio * usize::from(delay) - 1) + 1;
        assert_eq!(h.iter().sum::<i128>() as u128, gain(order as u32, ratio as u32, delay.into()));
        assert!(h[length..].iter().all(|&tap| tap == 0));
        assert!((0..length).all(|n| h[n] == h[length - 1 - n] && h[n] > 0));
    }
}

/// Finite ratio: (sin(pi M f)/(R M sin(pi f/R)))^N, Hogenauer 1981 equation 8 (recalled); values
/// computed with 30 digits, `tests/vectors/cic_finiteR.json`. Limit 1e-9 dB and `f64`'s error.
#[test]
fn response_at_finite_ratio() {
    let rows = json("cic_finiteR.json");
    assert_eq!(rows.len(), 42);
    let mut plan = (0, 0, 0);
    let mut h = Vec::new();
    for row in rows {
        let [order, ratio, delay] = ["N", "R", "M"].map(|key| row[key].as_u64().unwrap());
        if plan != (order, ratio, delay) {
            plan = (order, ratio, delay);
            h = response_of(order, ratio as usize, delay as u8);
        }
        let fc = fraction(row["fc"].as_str().unwrap());
        for (f, key) in [(fc, "droop_dB"), (1.0 - fc, "alias_dB")] {
            let want = row[key].as_f64().unwrap();
            let is = attenuation_db(&h, ratio as usize, f);
            let limit = 1e-9 + float_error_db(want);
            assert!((is - want).abs() < limit, "{plan:?} at {f}: {is} dB, not {want}");
        }
    }
}

fn fraction(text: &str) -> f64 {
    let (a, b) = text.split_once('/').expect("a/b");
    a.parse::<f64>().unwrap() / b.parse::<f64>().unwrap()
}

/// Tables I (passband droop) and II (attenuation of the first alias) of Hogenauer 1981, recalled:
/// values for a large ratio, -20 N log10 sinc(M f), to 0.005 and 0.05 dB. At R = 128 the finite
/// ratio itself makes N x 20 log10(1 + (pi f/R)^2/6): up to 0.0003 and 0.005 dB.
#[test]
fn tables_of_the_paper() {
    const RATIO: usize = 128;
    // A few entries as recalled from the paper's tables, for N = 4 and M = 1.
    let printed = [("1/16", 0.22, 94.3), ("1/8", 0.90, 68.5), ("1/4", 3.65, 41.8)];
    let droops = vectors("cic_tableI_passband.csv");
    let aliases = vectors("cic_tableII_alias.csv");
    let mut printed_seen = 0;
    for order in 1..=6usize {
        for delay in [1u8, 2] {
            let h = response_of(order as u64, RATIO, delay);
            for line in droops.lines().skip(1) {
                let cells: Vec<&str> = line.split(',').collect();
                // The table's variable is M f, one period of the response being f = 1.
                let is = attenuation_db(&h, RATIO, fraction(cells[0]) / f64::from(delay));
                let want: f64 = cells[order].parse().unwrap();
                assert!((is - want).abs() < 0.005, "N {order} M {delay} {line}: {is}");
                for (f, droop, _) in printed {
                    if order == 4 && delay == 1 && f == cells[0] {
                        assert!((is - droop).abs() < 0.0051 + 0.005);
                        printed_seen += 1;
                    }
                }
            }
            for line in aliases.lines().skip(1) {
                let cells: Vec<&str> = line.split(',').collect();
                if cells[0] != delay.to_string() {
                    continue;
                }
                let is = attenuation_db(&h, RATIO, 1.0 - fraction(cells[1]));
                let want: f64 = cells[order + 1].parse().unwrap();
                let limit = 0.05 + float_error_db(want);
                assert!((is - want).abs() < limit, "N {order} M {delay} {line}: {is}");
                for (f, _, alias) in printed {
                    if order == 4 && delay == 1 && f == cells[1] {
                        assert!((is - alias).abs() < 0.051 + 0.05);
                        printed_seen += 1;
                    }
                }
            }
        }
    }
    assert_eq!(printed_seen, 6);
}

/// The same input by sections of any length: section sums by cascades of running sums, started
/// at zero with each section, from the definition.
fn run_in_sections<const N: usize>(
    ratio: usize,
    delay: u8,
    input: &[i128],
    length: usize,
) -> Vec<i128> {
    let mut cic = Cic::<i128, N>::IDLE;
    let mut out = Vec::new();
    for interval in input.chunks_exact(ratio) {
        let mut left = interval.len();
        for section in interval.chunks(length) {
            let mut sums = [0i128; N];
            for &x in section {
                let mut carry = x;
                for sum in &mut sums {
                    *sum += carry;
                    carry = *sum;
                }
            }
            let (first, weights) = (left == ratio, step_weights(section.len() as u32));
            left -= section.len();
            if left > 0 {
                cic.advance(first, sums, &weights);
            } else {
                let intervals = IntervalWeights::new(ratio as u32, delay);
                out.push(cic.decimate(first, sums, &weights, &intervals));
            }
        }
    }
    out
}

fn both<const N: usize>(ratio: usize, delay: u8, input: &[i128], want: &[i128]) {
    assert_eq!(run::<N>(ratio, delay, input.iter().copied()), want, "sample by sample");
    for length in [2, 3, ratio - 1, ratio] {
        let is = run_in_sections::<N>(ratio, delay, input, length);
        assert_eq!(is, want, "sections of {length}");
    }
}

/// Fifteen streams of `tests/vectors/cic_streams.json` (random, negative full scale, impulse),
/// expected values by big-integer convolution. There output n stands at input n R; here output k
/// at input (k+1) R - 1, so R - 1 zeros go first. Every output fits the width of equation 11, and
/// a width of one bit less would not hold all of them.
#[test]
fn streams_to_the_last_bit() {
    let streams = json("cic_streams.json");
    assert_eq!(streams.len(), 15);
    for stream in streams {
        let [order, ratio, delay, bits, register] =
            ["N", "R", "M", "Bin", "width"].map(|key| stream[key].as_u64().unwrap() as usize);
        let numbers = |key: &str| -> Vec<i128> {
            let values = stream[key].as_array().unwrap().iter();
            values.map(|x| i128::from(x.as_i64().unwrap())).collect()
        };
        let mut input = vec![0; ratio - 1];
        input.extend(numbers("x"));
        let want = numbers("y");
        input.truncate(want.len() * ratio);
        let own = width(bits as u32, order as u32, ratio as u32, delay as u32);
        assert_eq!(own as usize, register);
        let lowest = want.iter().min().copied().unwrap();
        assert!(lowest >= -(1 << (register - 1)));
        assert!(stream["kind"] != "fullscale_neg" || lowest < -(1 << (register - 2)));
        let delay = delay as u8;
        match order {
            2 => both::<2>(ratio, delay, &input, &want),
            3 => both::<3>(ratio, delay, &input, &want),
            4 => both::<4>(ratio, delay, &input, &want),
            5 => both::<5>(ratio, delay, &input, &want),
            _ => panic!("order {order}"),
        }
    }
}

/// Two's complement: integrators that have wrapped any number of times leave no trace. Started
/// near the end of 128 bits, a stream's outputs come right once N M outputs have flushed it.
#[test]
fn wrapped_integrators_leave_no_trace() {
    const RATIO: usize = 5;
    let input: Vec<i128> = (0..200).map(|n: i128| (n * n * 7919) % 65_536 - 32_768).collect();
    let want = run::<3>(RATIO, 2, input.iter().copied());
    let mut cic = Cic::<i128, 3>::IDLE;
    cic.advance(true, [i128::MAX, i128::MAX - 5, i128::MIN + 1], &[1; 3]);
    let mut is = Vec::new();
    for (number, interval) in input.as_chunks::<RATIO>().0.iter().enumerate() {
        for (n, &x) in interval[..RATIO - 1].iter().enumerate() {
            cic.advance(n == 0 && number > 0, [x; 3], &step_weights(1));
        }
        let intervals = IntervalWeights::new(RATIO as u32, 2);
        is.push(cic.decimate(false, [interval[RATIO - 1]; 3], &step_weights(1), &intervals));
    }
    assert_ne!(is[0], want[0]);
    for k in 6..want.len() {
        assert_eq!(is[k], want[k], "output {k}");
    }
}
