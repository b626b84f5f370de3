//! Hogenauer's pruning: variance gains and discarded bits against his published example and an exact
//! recomputation (`tests/vectors/cic_pruning.json`), and the noise of pruned section sums measured.

use quietgap_core::cic::width;
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_sim::filter::check::noise;
use quietgap_sim::filter::check::pruning::{discards, variance_gain};
use quietgap_sim::filter::subject::Subject;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde_json::Value;
use std::path::Path;

/// Hogenauer 1981, design example: N = 4, R = 25, M = 1, 16 bits in and out. Discarded bits as an
/// open-source test cites the paper, variance gains recomputed with exact polynomials.
#[test]
fn hogenauers_example() {
    assert_eq!(width(16, 4, 25, 1), 35);
    assert_eq!(discards(4, 25, 1, 16, 16), [1, 6, 9, 13, 14, 15, 16, 17, 19]);
    let gains: Vec<i128> = (1..=9).map(|j| variance_gain(4, 25, 1, j)).collect();
    assert_eq!(gains, [2_927_984_825, 6_520_850, 41_750, 500, 70, 20, 6, 2, 1]);
    // The combs' part alone is a central binomial: 2, 6, 20, 70, 252, 924 (a fact of combinatorics).
    for (n, binomial) in [2, 6, 20, 70, 252, 924].into_iter().enumerate() {
        let order = n + 1;
        assert_eq!(variance_gain(order, 8, 1, order + 1), binomial);
    }
}

/// Parameters of textbook and public examples, recomputed exactly; one where floating point is off by
/// one (N = 4, R = 10, 12 bits to 16: the eighth is exactly 8), one wider at the output than needed.
#[test]
fn other_examples() {
    assert_eq!(discards(3, 8, 1, 12, 12), [0, 3, 4, 5, 6, 7, 9]);
    assert_eq!(discards(3, 16, 1, 16, 16), [1, 4, 7, 8, 9, 10, 12]);
    assert_eq!(discards(3, 32, 2, 8, 10), [0, 5, 10, 12, 13, 14, 16]);
    assert_eq!(discards(5, 64, 1, 16, 24), [0, 0, 5, 9, 14, 16, 17, 18, 19, 19, 22]);
    assert_eq!(discards(4, 10, 1, 12, 16)[7], 8);
    assert!(discards(2, 8, 1, 12, 30).iter().all(|bits| *bits == 0));
}

#[test]
fn all_recomputed_rows() {
    let path = format!("{}/tests/vectors/cic_pruning.json", env!("CARGO_MANIFEST_DIR"));
    let rows: Value =
        serde_json::from_str(&std::fs::read_to_string(path).expect("vectors")).expect("JSON");
    let rows = rows.as_array().expect("rows");
    assert!(rows.len() >= 5);
    for row in rows {
        let number = |key: &str| row[key].as_u64().expect("a number");
        let [order, ratio, delay] = ["N", "R", "M"].map(|key| number(key) as usize);
        let bits = discards(order, ratio, delay, number("Bin") as u32, number("Bout") as u32);
        assert_eq!(
            u64::from(width(number("Bin") as u32, order as u32, ratio as u32, delay as u32)),
            number("width")
        );
        for stage in row["rows"].as_array().expect("stages") {
            let j = stage[0].as_u64().expect("a stage") as usize;
            assert_eq!(
                variance_gain(order, ratio, delay, j),
                i128::from(stage[1].as_u64().expect("a gain"))
            );
            // Below zero is none.
            let want = stage[4].as_i64().expect("bits").max(0);
            assert_eq!(i64::from(bits[j - 1]), want, "{row}: stage {j}");
        }
    }
}

/// Noise of a plan's pruned sums: difference of the same front end with and without pruning over small
/// random codes, whose share of the cosines' rounding is out of sight. Rms within 4 % of the predicted.
#[test]
fn measured_noise_is_the_predicted() {
    for (order, ratio, pruned, carrier) in
        [(2u8, 160u16, 24u8, 1e5), (2, 100, 26, 77_313.0), (3, 150, 27, 1e5), (4, 100, 30, 1e5)]
    {
        let plan = |pruned: u8| {
            let text = format!(
                "order = {order}\nratio = {ratio}\nrate_hz = 1e6\ncarrier_hz = {carrier:?}\ncode_bits = 24\n\
                 register_bits = 128\npruned_bits = {pruned}\n"
            );
            Subject::parse(Path::new("plan.toml"), &text, None).expect("a plan")
        };
        let subject = plan(pruned);
        let roundings = noise::roundings(&subject);
        let entry = roundings.iter().find(|r| r.what == "pruned section sums").expect("shown");
        let rate = 1e6 / f64::from(ratio);
        let predicted = entry.density_code_per_rthz * (rate / 2.0).sqrt();
        let mut random = ChaCha8Rng::seed_from_u64(3);
        let codes: Vec<i32> = (0..4000 * usize::from(ratio))
            .map(|_| (random.next_u32() % 201) as i32 - 100)
            .collect();
        let steps = quietgap_sim::filter::integers::steps_per_code(&subject);
        let [a, b] = [pruned, 0].map(|pruned| words(&plan(pruned), &codes));
        let squares: f64 = a.iter().zip(&b).map(|(a, b)| ((a - b) / steps).powi(2)).sum();
        let rms = (squares / a.len() as f64).sqrt();
        println!("order {order}, ratio {ratio}: {rms:e} codes, predicted {predicted:e}");
        assert!(
            (rms / predicted - 1.0).abs() < 0.04,
            "{order} {ratio}: {rms:e}, not {predicted:e}"
        );
    }
}

/// In-phase and quadrature words of a front end behind its first outputs.
fn words(subject: &Subject, codes: &[i32]) -> Vec<f64> {
    fn run<const N: usize>(subject: &Subject, codes: &[i32]) -> Vec<f64> {
        let front = FrontEnd::<i128, N, 1, 512>::new(
            subject.carrier,
            subject.front_end(),
            1,
            subject.code_bits,
        );
        let (mut front, mut rest) = (front.expect("a plan"), codes);
        let (mut out, mut phasors) = (Vec::new(), [Phasor::default()]);
        while front.decimate(&mut rest, &mut phasors).is_some() {
            out.extend([phasors[0].i, phasors[0].q].map(|w| w.to_bits() as f64));
        }
        out.split_off(20)
    }
    match subject.plan.order {
        2 => run::<2>(subject, codes),
        3 => run::<3>(subject, codes),
        _ => run::<4>(subject, codes),
    }
}
