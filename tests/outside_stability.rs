//! Deviations against the published suites of NIST SP 1065 and another program, their intervals against
//! what random numbers do. Vectors: `gen/analysis.py`.

use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::stability::degrees;
use quietgap_sim::analysis::stability::deviations::{Deviation, Phases};
use quietgap_sim::analysis::stability::{over_times, times};
use quietgap_sim::simulation::plant::noise::{Gaussian, OneOverF, Stream};
use serde_json::Value;

fn vectors(name: &str) -> Value {
    let path = format!("{}/tests/vectors/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("a vector file")).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

/// The nine frequencies of the NBS set, and 1000 of the LCG: NIST SP 1065, pages 107 and 108 (as cited by
/// AllanTools' tests), printed to seven digits.
#[test]
fn published_suites() {
    let nine = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
    let mut n = 1_234_567_890u64;
    let thousand: Vec<f64> = (0..1000)
        .map(|_| {
            let value = n as f64 / 2_147_483_647.0;
            n = 16_807 * n % 2_147_483_647;
            value
        })
        .collect();
    let mean = thousand.iter().sum::<f64>() / 1000.0;
    assert!((mean - 0.489_774_5).abs() < 5e-8, "the suite's own mean: {mean}");
    use Deviation::*;
    type Suite<'a> = (&'a [f64], &'a [usize], [(Deviation, &'a [f64]); 7]);
    let suites: [Suite<'_>; 2] = [
        (
            &nine,
            &[1, 2],
            [
                (AllanApart, &[91.229_45, 115.808_2]),
                (Allan, &[91.229_45, 85.952_87]),
                (Modified, &[91.229_45, 74.788_49]),
                (Time, &[52.671_35, 86.358_31]),
                (HadamardApart, &[70.806_08, 116.798_0]),
                (Hadamard, &[70.806_07, 85.614_87]),
                (Total, &[91.229_45, 93.903_79]),
            ],
        ),
        (
            &thousand,
            &[1, 10, 100],
            [
                (AllanApart, &[0.292_231_9, 0.099_657_36, 0.038_978_04]),
                (Allan, &[0.292_231_9, 0.091_599_53, 0.032_413_43]),
                (Modified, &[0.292_231_9, 0.061_723_76, 0.021_709_21]),
                (Time, &[0.168_720_2, 0.356_362_3, 1.253_382]),
                (HadamardApart, &[0.294_388_3, 0.105_275_4, 0.039_108_60]),
                (Hadamard, &[0.294_388_3, 0.095_810_83, 0.032_376_38]),
                (Total, &[0.292_231_9, 0.091_347_43, 0.034_065_30]),
            ],
        ),
    ];
    for (values, times, table) in suites {
        let phases = Phases::new(&Series::whole(values, 1.0), false);
        for (deviation, wants) in table {
            for (m, want) in times.iter().zip(wants) {
                let (is, _) = phases.deviation(deviation, *m).expect("long enough");
                assert!((is / want - 1.0).abs() < 3e-7, "{deviation:?} {m}: {is} against {want}");
            }
        }
    }
}

/// Seven deviations of 1500 values, as rates and as phases, at six averaging times by AllanTools: 1e-9, and
/// the same number of differences.
#[test]
fn deviations_are_those_of_another_program() {
    let file = vectors("analysis.json");
    let (x, rate) = (numbers(&file["x"]), file["rate"].as_f64().unwrap());
    let cases = file["deviations"].as_array().unwrap();
    assert_eq!(cases.len(), 14);
    for case in cases {
        let name = case["kind"].as_str().unwrap();
        let deviation = Deviation::ALL.iter().find(|(_, n)| *n == name).unwrap().0;
        let integrated = case["integrated"].as_bool().unwrap();
        let phases = Phases::new(&Series::whole(&x, rate), integrated);
        let (taus, wants, counts) =
            (numbers(&case["tau"]), numbers(&case["dev"]), numbers(&case["n"]));
        assert!(taus.len() >= 5, "{name}");
        for ((tau, want), n) in taus.iter().zip(wants).zip(counts) {
            let m = (tau * rate).round() as usize;
            let (is, count) = phases.deviation(deviation, m).expect("long enough");
            assert!((is / want - 1.0).abs() < 1e-9, "{name} {integrated} {m}: {is} against {want}");
            // It counts as differences of the total deviation what it counts for the others.
            assert!(count as f64 == n || deviation == Deviation::Total, "{name} {m}: {count} {n}");
        }
    }
}

/// Overlapping Allan deviations as they are defined, one difference after the other, at averaging times around those
/// where sums are looked at in another order, and records that end anywhere: 1e-11.
#[test]
fn allan_deviations_are_their_definition() {
    let mut gaussian = Gaussian::new(9, Stream::Motion);
    // Beside the ends of what is taken together: 4096 and 65536 values.
    for count in [40, 130, 1290, 4_223, 4_224, 9_001, 65_600, 70_000, 140_000] {
        let rates: Vec<f64> = (0..count).map(|_| 5.0 + gaussian.next()).collect();
        let mut sum = 0.0;
        let sums = rates.iter().map(|y| {
            sum += y;
            sum
        });
        let x: Vec<f64> = std::iter::once(0.0).chain(sums).collect();
        let times = [
            1, 2, 3, 15, 16, 17, 31, 32, 63, 64, 65, 100, 257, 1000, 4095, 4096, 7000, 16_384,
            16_385, 30_000,
        ];
        let times: Vec<usize> = times.into_iter().filter(|m| 2 * m <= count).collect();
        let found = Phases::new(&Series::whole(&rates, 2.0), false).allan(&times);
        for (m, found) in times.iter().zip(found) {
            let differences = (0..x.len() - 2 * m).map(|k| x[k + 2 * m] - 2.0 * x[k + m] + x[k]);
            let number = differences.len();
            let mean = differences.map(|d| d * d).sum::<f64>() / number as f64;
            let want = (mean / 2.0).sqrt() / *m as f64;
            let (deviation, differences) = found.expect("there are differences");
            assert!((deviation / want - 1.0).abs() < 1e-11, "{count}, {m}: {deviation} {want}");
            assert_eq!(differences, number, "{count}, {m}");
        }
    }
}

/// Degrees of freedom where AllanTools works out the same sum (Greenhall and Riley 2003, equation 13).
#[test]
fn degrees_of_freedom_are_those_of_another_program() {
    let file = vectors("analysis.json");
    let cases = file["degrees"].as_array().unwrap();
    assert!(cases.len() >= 50);
    let mut held = 0;
    for case in cases {
        let number = |key: &str| case[key].as_i64().unwrap();
        let (modified, overlapping) =
            (case["modified"].as_bool().unwrap(), case["overlapping"].as_bool().unwrap());
        let deviation = match (number("d"), modified, overlapping) {
            (2, true, _) => Deviation::Modified,
            (2, _, true) => Deviation::Allan,
            (2, ..) => Deviation::AllanApart,
            (_, _, true) => Deviation::Hadamard,
            _ => Deviation::HadamardApart,
        };
        let m = number("m") as usize;
        let is =
            degrees::of(deviation, number("alpha") as i32, m, &[number("n") as usize]).unwrap();
        let want = case["edf"].as_f64().unwrap();
        // Its tables and its limit for long averages stand for the sum to a few per cent.
        assert!((is / want - 1.0).abs() < 0.06, "{case}: {is}");
        held += usize::from((is / want - 1.0).abs() < 1e-9);
    }
    assert!(held > 15, "{held} are the same sum");
}

/// Noise of three kinds in 200 records: intervals of 95 % hold the expected deviation as often as they say,
/// and the kind of noise is found.
#[test]
fn intervals_hold() {
    const RECORDS: u64 = 200;
    const LENGTH: usize = 2048;
    // One sided density 2/rate = 2 of white values: Allan variance h0/(2 tau) with h0 = 2, random walk
    // (2 pi)^2/6 h-2 tau with h-2 = 2/(2 pi)^2 of unit steps, and 2 ln 2 h-1 for 1/f (NIST SP 1065, 4.3).
    type Make = fn(&mut Gaussian, u64) -> Vec<f64>;
    let white: Make = |g, _| (0..LENGTH).map(|_| g.next()).collect();
    let walk: Make = |g, _| {
        let mut sum = 0.0;
        (0..LENGTH)
            .map(|_| {
                sum += g.next();
                sum
            })
            .collect()
    };
    let flicker: Make = |_, seed| {
        // Density 1 at a corner of 0.1 Hz, h-1 = 0.1, made 32 times as fast, as its law ends at an eighth
        // of its rate, and averaged.
        let mut source = OneOverF::new(Gaussian::new(seed, Stream::Flicker(0)), 1.0, 1e-1, 32.0);
        (0..LENGTH).map(|_| (0..32).map(|_| source.chunk()[0]).sum::<f64>() / 32.0).collect()
    };
    type Case = (&'static str, Make, i32, fn(f64) -> f64);
    let cases: [Case; 3] = [
        ("white", white, 0, |tau| (1.0 / tau).sqrt()),
        ("random walk", walk, -2, |tau| (tau / 3.0 + 1.0 / (6.0 * tau)).sqrt()),
        ("1/f", flicker, -1, |_| (2.0 * 2f64.ln() * 0.1).sqrt()),
    ];
    for (name, make, exponent, expected) in cases {
        let mut gaussian = Gaussian::new(23, Stream::Motion);
        let (mut within, mut all, mut told) = (0u32, 0u32, 0u32);
        for record in 0..RECORDS {
            let x = make(&mut gaussian, record);
            let series = Series::whole(&x, 1.0);
            for p in over_times(&series, false, Deviation::Allan, &[8, 16, 64, 256], 0.95) {
                let [low, high] = p.interval.expect("enough averages");
                let want = expected(p.tau_s);
                within += u32::from(low <= want && want <= high);
                told += u32::from(p.exponent == Some(exponent));
                all += 1;
            }
        }
        let [held, told] = [within, told].map(|n| f64::from(n) / f64::from(all));
        println!("{name}: {held} within 95 %, kind told in {told}");
        assert!((0.90..=0.99).contains(&held), "{name}: {held}");
        // 1/f stands between the two others: records this short take it for one of them half the time, which
        // the intervals allow for.
        assert!(told > if exponent == -1 { 0.3 } else { 0.85 }, "{name}: {told}");
    }
}

/// Runs are pooled: nothing connects them, and two runs say what each says by itself.
#[test]
fn runs_are_pooled() {
    let mut gaussian = Gaussian::new(29, Stream::Motion);
    let x: Vec<f64> = (0..2000).map(|_| gaussian.next()).collect();
    let both =
        Phases::new(&Series { values: &x, runs: vec![0..1200, 1250..2000], rate_hz: 1.0 }, false);
    for deviation in [Deviation::Allan, Deviation::Modified, Deviation::Hadamard] {
        let (value, count) = both.deviation(deviation, 10).unwrap();
        let parts = [&x[..1200], &x[1250..]].map(|part| {
            Phases::new(&Series::whole(part, 1.0), false).deviation(deviation, 10).unwrap()
        });
        let square: f64 = parts.iter().map(|(d, n)| d * d * *n as f64).sum();
        assert_eq!(count, parts[0].1 + parts[1].1);
        assert!((value * value * count as f64 / square - 1.0).abs() < 1e-9, "{deviation:?}");
    }
    assert!(both.deviation(Deviation::Total, 10).is_none(), "two runs have no ends to reflect at");
    let series = Series::whole(&x, 1.0);
    let all = times(&series, Deviation::Allan, 4.0);
    assert_eq!(all[..5], [1, 2, 3, 6, 10]);
    assert!(*all.last().unwrap() <= 1000);
}
