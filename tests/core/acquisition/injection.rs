//! The injection tone against the cosine.

use quietgap_acquisition::injection::{FULL_SCALE, Injection};
use quietgap_core::CarrierRatio;

/// A tenth of the sample rate: one period, again and again, within a code of the cosine.
#[test]
fn a_period_is_the_cosine() {
    let ratio = CarrierRatio::coherent(1, 10).expect("a carrier");
    let mut tone = Injection::new(ratio, 16, 0);
    assert_eq!(tone.period(), Some(10));
    let mut codes = [1; 20];
    tone.fill(&mut codes);
    assert_eq!(codes, [0; 20], "silent until told");
    for (millionths, peak) in [(FULL_SCALE, 32767.0), (250_000, 8192.0), (1, 0.0)] {
        tone.set_amplitude(millionths).expect("allowed");
        tone.seek(0);
        tone.fill(&mut codes);
        for (n, code) in codes.iter().enumerate() {
            let want = peak * (std::f64::consts::TAU * n as f64 / 10.0).cos();
            assert!(
                (f64::from(*code) - want).abs() <= 0.500_001,
                "{millionths}, {n}: {code}, {want}"
            );
        }
    }
    assert_eq!(tone.set_amplitude(FULL_SCALE + 1), None);
    tone.fill(&mut codes);
    assert_eq!(codes, [0; 20], "a refused amplitude changes nothing");
}

/// A quarter turn ahead is minus sine; seeking gives what filling from the start gives.
#[test]
fn phase_and_place() {
    let ratio = CarrierRatio::from_step(0x1234_5678_9abc_def0).expect("a carrier");
    let mut tone = Injection::new(ratio, 24, 1 << 62);
    assert_eq!(tone.period(), None);
    tone.set_amplitude(500_000).expect("allowed");
    let mut all = [0; 64];
    tone.fill(&mut all);
    for (n, code) in all.iter().enumerate() {
        let turns = 0x1234_5678_9abc_def0_u64.wrapping_mul(n as u64) as f64 / 2f64.powi(64);
        let want = -4_194_304.0 * (std::f64::consts::TAU * turns).sin();
        assert!((f64::from(*code) - want).abs() < 0.51, "{n}: {code}, {want}");
    }
    tone.seek(40);
    let mut part = [0; 24];
    tone.fill(&mut part);
    assert_eq!(part, all[40..]);
}
