//! How often the watch's proof fails and a section is looked at code by code, though no code is at an end: for the built-in
//! sensors as they are simulated, and for carriers near full scale. That no end is ever missed is held in
//! `tests/core/promises/stages.rs`.

use quietgap_core::fold::Fold;
use quietgap_core::front_end::FrontEndPlan;
use quietgap_core::over_range::Ends;
use quietgap_core::section::{Sections, Way};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::simulation::plant::noise::{Gaussian, Stream};
use quietgap_sim::simulation::plant::{Parts, Plant};
use quietgap_sim::simulation::scenario;
use std::f64::consts::TAU;

/// Sections of a sensor's codes, and how many of them are not proven.
fn unproven<const CHANNELS: usize, const COLUMNS: usize, const PHASES: usize>(
    sensor: &Sensor,
    codes: &[i32],
) -> (usize, usize) {
    let settings = &sensor.settings;
    let (carrier, bits) = (settings.carrier, u32::from(settings.code_bits));
    let plan = FrontEndPlan::<2, CHANNELS, Sections>::new::<i64>(
        carrier,
        settings.front_end,
        CHANNELS,
        bits,
    )
    .expect("a plan");
    let length = plan.tables().whole;
    assert_eq!(length, u32::from(settings.front_end.ratio), "one section an interval");
    let mut fold = Fold::<2, CHANNELS, COLUMNS, true, PHASES>::IDLE;
    fold.load(&Fold::<2, CHANNELS, COLUMNS, true, PHASES>::tables(plan.tables()).expect("folds"));
    let ends = Ends::new(bits);
    let sections = codes.chunks_exact(length as usize * CHANNELS);
    let count = sections.len();
    let looked = sections.filter(|section| {
        assert!(section.iter().all(|code| !ends.is_end(*code)), "no end among them");
        ends.met(fold.push(section, 0, length, ends))
    });
    (count, looked.count())
}

/// The scenario of each built-in sensor, all noises on: two thousand sections, none looked at twice.
#[test]
fn built_in_sensors_are_looked_at_once() {
    let run = |name: &str, of: fn(&Sensor, &[i32]) -> (usize, usize)| {
        let sensor = Sensor::load(name).expect("built in");
        let mut plant = Plant::new(&sensor, scenario::vault(&sensor, 1.0, 5), Parts::ALL, 5);
        let wanted =
            2000 * usize::from(sensor.settings.front_end.ratio) * sensor.settings.alignments.len();
        let mut codes = Vec::new();
        while codes.len() < wanted {
            plant.chunk(&mut codes);
        }
        let (sections, looked) = of(&sensor, &codes);
        assert!(sections >= 2000, "{name}: {sections}");
        assert_eq!(looked, 0, "{name}: of {sections}");
    };
    run("vault-two-bridge", unproven::<2, 10, 5>);
    run("vault-six-axis", unproven::<7, 35, 5>);
    run("vault-quarter-rate", unproven::<2, 4, 2>);
}

/// A carrier of 95 % of full scale in both channels, in the amplifier's white noise of the built-in sensor and in ten times as
/// much: none looked at twice. At 99.8 % most are, though the carrier's crests are fifteen standard deviations from the ends.
#[test]
fn carriers_near_full_scale() {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    let largest = 2f64.powi(i32::from(sensor.settings.code_bits) - 1);
    let mut random = Gaussian::new(1, Stream::Motion);
    // 1.0e-6 V/rtHz over 400 kHz, of 5 V.
    let noise = 1.0e-6 * 400e3f64.sqrt() / 5.0;
    let mut share = |amplitude: f64, noise: f64| {
        let codes: Vec<i32> = (0..1000 * 160)
            .flat_map(|n| {
                let carrier = amplitude * (TAU * f64::from(n) / 10.0).cos();
                [(); 2].map(|()| carrier + noise * random.next())
            })
            .map(|x| (x * largest) as i32)
            .collect();
        let (sections, looked) = unproven::<2, 10, 5>(&sensor, &codes);
        looked as f64 / sections as f64
    };
    assert_eq!(share(0.95, noise), 0.0);
    assert_eq!(share(0.95, 10.0 * noise), 0.0);
    assert_eq!(share(0.9995, noise / 10.0), 0.0);
    assert!(share(0.998, noise) > 0.9);
}
