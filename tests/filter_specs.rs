//! `filter design` on any specification: it ends with a plan or a refusal, whatever is asked; what was once
//! refused, or took too many taps, is met; the work it does is bounded.

use crate::specs::{spec, subject};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use quietgap_sim::filter::check::Check;
use quietgap_sim::filter::design::search::{Found, search};
use quietgap_sim::filter::design::write;
use quietgap_sim::filter::subject::Subject;

/// Finds a plan, looks whether the plan as written keeps its mask, and tells it.
fn met(text: &str) -> (Found, Subject) {
    let found = search(&spec(text)).unwrap_or_else(|refusal| panic!("{text}\n{refusal}"));
    let written = subject(&write::plan(&found.subject, &[]));
    let check = Check::new(written.clone());
    let failed: Vec<_> = check.limits.iter().filter(|limit| !limit.pass).collect();
    assert!(failed.is_empty(), "{text}\n{failed:?}");
    assert!(found.candidates[1] <= 40, "{:?} candidates", found.candidates);
    (found, written)
}

fn taps(subject: &Subject) -> Vec<usize> {
    subject.plan.firs.iter().map(|fir| fir.taps.len()).collect()
}

/// 10 kS/s for a servo within 0.215 ms was refused, "nearest 0.253 ms": a CIC of order 2 by 10 and 41 taps,
/// which leave free what does not fold onto the band, keep it with 0.209 ms.
#[test]
fn a_servo() {
    let text = "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 10000\n[mask]\n\
                pass_hz = 2000\npass_db = 0.1\nalias_into_hz = 2000\nalias_db = 60\ndelay_s = 0.000215\n";
    let (found, written) = met(text);
    assert!(written.delay_s() <= 0.000_209_1, "{} s", written.delay_s());
    assert_eq!((written.plan.order, written.plan.ratio), (2, 10));
    assert!(taps(&written)[0] <= 41, "{:?}", taps(&written));
    assert!(found.cost < 110.0, "{}", found.cost);
}

/// The same band and rejection by least phase: three fifths of the delay. All zeros are on or within the unit
/// circle by the recursion of Schur (1917) and Cohn (1922), recalled: taps of least phase leave reflection
/// coefficients below 1 as their order goes down.
#[test]
fn a_servo_of_low_delay() {
    let text = "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 10000\nmethod = \"low-delay\"\n\
                [mask]\npass_hz = 2000\npass_db = 0.1\nalias_into_hz = 2000\nalias_db = 60\ndelay_s = 0.000125\n";
    let (found, written) = met(text);
    assert!(written.delay_s() < 0.6 * 0.000_209_1, "{} s", written.delay_s());
    assert!(found.cost < 110.0, "{}", found.cost);
    let last = written.plan.firs.last().expect("a stage");
    assert!(!last.symmetric && last.taps.len() <= 43, "{} taps", last.taps.len());
    let mut taps: Vec<f64> = last.taps.iter().map(|tap| f64::from(*tap)).collect();
    while taps.len() > 1 {
        let end = taps.len() - 1;
        let reflected = taps[end] / taps[0];
        assert!(reflected.abs() < 1.0, "{reflected} at order {end}");
        taps = (0..end).map(|n| taps[n] - reflected * taps[end - n]).collect();
    }
    // Earlier than the centre, at the rate that the stage works at.
    let centre = (last.taps.len() - 1) as f64 / 2.0 / 1e5;
    assert!(written.delay_s() < centre);
}

/// A reading in ten seconds did not end in a minute.
#[test]
fn a_reading_in_ten_seconds() {
    let text = "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 0.1\n[mask]\npass_hz = 0.03\n\
                pass_db = 0.001\nalias_into_hz = 0.04\nalias_db = 120\n";
    let (_, written) = met(text);
    assert_eq!(written.interval(), 10_000_000);
}

/// Last stages were 5 to 20 % longer than they need be.
#[test]
fn last_stages_are_no_longer_than_needed() {
    // 1 kS/s, 100 dB: 106 taps of an equiripple stop band over all, 104 and fewer with free bands.
    let text = "schema = 1\nrate_hz = 1e6\ncarrier_hz = 1e5\noutput_rate_hz = 10\nchannels = 6\n[mask]\n\
                pass_hz = 3\npass_db = 0.001\nalias_into_hz = 4\nalias_db = 120\n";
    let (_, written) = met(text);
    let last = *taps(&written).last().expect("a stage");
    assert!(last <= 104, "{:?}", taps(&written));
}

/// The built-in sensors' plans are the designer's, of what their masks promise.
#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn built_in_plans_are_the_cheapest() {
    for name in ["vault-two-bridge", "vault-six-axis", "vault-quarter-rate"] {
        let sensor = Subject::load(name, None).expect("a built-in sensor");
        let mask = sensor.plan.mask.clone().expect("a mask");
        let text = format!(
            "schema = 1\nrate_hz = {}\ncarrier_hz = {}\noutput_rate_hz = {}\nchannels = {}\ncode_bits = {}\n\
             [mask]\npass_hz = {}\npass_db = {}\nalias_into_hz = {}\nalias_db = {}\n",
            sensor.rate_hz,
            sensor.carrier_hz,
            sensor.output_rate_hz(),
            sensor.channels,
            sensor.code_bits,
            mask.pass_hz,
            mask.pass_db,
            mask.alias_into_hz,
            mask.alias_db,
        );
        let (_, found) = met(&text);
        assert_eq!((found.plan.order, found.plan.ratio), (sensor.plan.order, sensor.plan.ratio));
        assert_eq!(found.plan.firs.len(), sensor.plan.firs.len(), "{name}");
        for (is, should) in sensor.plan.firs.iter().zip(&found.plan.firs) {
            assert_eq!((is.ratio, &is.taps), (should.ratio, &should.taps), "{name}");
        }
    }
}

/// Any rates, bands and rejections. Total ratios stay small, so that a case takes no time.
fn any_specification() -> impl Strategy<Value = String> {
    let rates = vec![192e3, 96e3, 48e3, 1e6, 800e3, 320e3, 44_100.0, 5e5];
    let totals = vec![2u32, 3, 4, 5, 6, 7, 8, 9, 12, 16, 24, 31, 40, 64, 97, 100];
    let methods = vec!["equiripple", "kaiser", "least-squares", "half-band", "low-delay"];
    let numbers = (
        prop::sample::select(rates),
        prop::sample::select(totals),
        [0.001f64..0.999, 0.001f64..0.999],
        prop::sample::select(vec![1e-4, 0.01, 0.1, 1.0, 3.0]),
        20.0f64..140.0,
        0.001f64..0.499,
        prop::option::of(1e-6f64..1e-2),
        prop::sample::select(methods),
    );
    numbers.prop_map(|(rate, total, [pass, into], pass_db, alias_db, carrier, delay, method)| {
        let output = rate / f64::from(total);
        let delay = delay.map_or(String::new(), |s| format!("delay_s = {s}\n"));
        format!(
            "schema = 1\nrate_hz = {rate}\ncarrier_hz = {}\noutput_rate_hz = {output}\nmethod = \"{method}\"\n\
             [mask]\npass_hz = {}\npass_db = {pass_db}\nalias_into_hz = {}\nalias_db = {alias_db}\n{delay}",
            (carrier * rate).round(),
            pass * output,
            into * output,
        )
    })
}

/// A plan that keeps its mask, or a refusal with a nearest value that is a number.
fn ends_with_a_plan_or_a_refusal(cases: u32) {
    let config = ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() };
    let ended = TestRunner::new(config).run(&any_specification(), |text| {
        match search(&spec(&text)) {
            Ok(found) => {
                let written = subject(&write::plan(&found.subject, &[]));
                let check = Check::new(written);
                let missed = check.limits.iter().filter(|l| !l.pass);
                prop_assert_eq!(missed.count(), 0, "{}", text);
            }
            Err(refusal) => {
                prop_assert!(refusal.nearest.is_finite(), "{}\n{}", text, refusal);
                prop_assert!(refusal.to_string().chars().count() <= 300);
            }
        }
        Ok(())
    });
    ended.unwrap_or_else(|failure| panic!("{failure}"));
}

#[test]
fn some_specifications() {
    ends_with_a_plan_or_a_refusal(40);
}

#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn many_specifications() {
    ends_with_a_plan_or_a_refusal(600);
}
