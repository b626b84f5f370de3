//! Two and three sensors of one motion: alignment and noises against records made here, whose delay, clock, scale
//! and noises are known.

use crate::normal::Normal;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::interferometer::readings::Readings;
use quietgap_sim::interferometer::track::{Manner, tracks};
use quietgap_sim::readout::capture::{Capture, Wanted, npy};
use quietgap_sim::records::resample::{Column, Interpolation, REACH};
use quietgap_sim::records::{LeftOut, Record};
use quietgap_sim::separation::align::{Aligned, align};
use quietgap_sim::separation::noise::{Split, frequencies, of_three, of_two};
use quietgap_sim::simulation::interferometer::{Between, Detectors, Noise};
use quietgap_sim::simulation::phasor::outside::Disturbances;
use quietgap_sim::simulation::phasor::swing::{Mover, Swinging};
use quietgap_sim::simulation::phasor::{Simulation, step_hz};
use quietgap_sim::simulation::plant::Parts;
use std::f64::consts::TAU;
use std::io::Write;
use std::path::Path;

fn record(values: Vec<f64>, rate_hz: f64, start_s: f64) -> Record {
    let run = 0..values.len();
    Record {
        names: vec!["phi_rad".to_owned()],
        columns: vec![values],
        runs: std::iter::once(run).collect(),
        starts_s: vec![start_s],
        rate_hz,
        left_out: LeftOut::default(),
    }
}

fn column(record: &Record) -> Column<'_> {
    Column { record, n: 0 }
}

/// A swing of 200 s and a faster, smaller one: both sensors see them.
fn motion(t: f64) -> f64 {
    2e-5 * (TAU * t / 200.0).sin() + 3e-7 * (TAU * t / 7.3 + 1.0).sin()
}

/// A sensor's record: scale, delay, clock, white noise of a density.
struct Seen {
    rate_hz: f64,
    start_s: f64,
    scale: f64,
    delay_s: f64,
    clock: f64,
    density: f64,
    seed: u64,
}

const PLAIN: Seen = Seen {
    rate_hz: 10.0,
    start_s: 0.0,
    scale: 1.0,
    delay_s: 0.0,
    clock: 0.0,
    density: 1e-8,
    seed: 1,
};

impl Seen {
    fn record(&self, seconds: f64) -> Record {
        let mut draw = Normal::new(self.seed);
        let step = self.density * (self.rate_hz / 2.0).sqrt();
        let values = (0..(seconds * self.rate_hz) as usize)
            .map(|k| {
                let own = self.start_s + k as f64 / self.rate_hz;
                // Its clock says `own` when it is this late.
                let t = (own + self.delay_s) / (1.0 - self.clock);
                (motion(t) + step * draw.next()) / self.scale
            })
            .collect();
        record(values, self.rate_hz, self.start_s)
    }
}

/// Sines of up to 0.42 of the rate between rows; none near a gap.
#[test]
fn values_between_rows_are_the_sines() {
    let table = Interpolation::new();
    let runs = [0..400, 500..900];
    for f in [0.0, 0.01, 0.2, 0.42] {
        let sine = |t: f64| (TAU * f * t + 0.3).cos();
        let values: Vec<f64> = (0..900).map(|k| sine(f64::from(k))).collect();
        for place in [40.0, 100.37, 211.5, 366.99, 540.25, 867.0] {
            let off = table.at(&values, &runs, place).expect("within a run") - sine(place);
            // Straight lines between 512 places: (pi/512)^2/8 of the fastest.
            assert!(off.abs() < 8e-6 * f / 0.42 + 1e-7, "{f} {place}: {off:e}");
        }
        for place in [-1.0, 0.0, REACH as f64 - 1.5, 400.0 - REACH as f64, 450.0, 899.0, 5000.0] {
            assert!(table.at(&values, &runs, place).is_none(), "{place}");
        }
        assert!(table.at(&values, &runs, REACH as f64 - 1.0).is_some());
    }
}

/// Scale, delay, clock of another rate and start: 40 records, each within its stated uncertainty as often as it
/// says; and both noises.
#[test]
fn delay_clock_and_scale_come_back() {
    let mut held = [0; 3];
    for seed in 0..40 {
        let first = Seen { density: 1e-8, seed: 2 * seed + 100, ..PLAIN };
        let second = Seen {
            rate_hz: 12.5,
            start_s: -3.2,
            scale: 0.7,
            delay_s: 1.2345,
            clock: 50e-6,
            density: 1e-9,
            seed: 2 * seed + 101,
        };
        let (one, two) = (first.record(6000.0), second.record(6010.0));
        let pair = align(column(&one), column(&two), 10.0).unwrap();
        let a = &pair.alignment;
        // The second's own = t (1 - c) - d: delay in the middle of what both have.
        let middle = f64::midpoint(0.0, 5999.9);
        let delay = a.delay_s.value - 50e-6 * middle;
        for (n, (is, want, sure)) in [
            (a.scale.value, 0.7, a.scale.uncertainty),
            (delay, 1.2345, a.delay_s.uncertainty),
            (a.clock.value, 50e-6, a.clock.uncertainty),
        ]
        .into_iter()
        .enumerate()
        {
            assert!((is - want).abs() < 6.0 * sure, "{n}: {is:e} against {want:e} +- {sure:e}");
            held[n] += u32::from((is - want).abs() < 1.96 * sure);
        }
        assert!(a.scale.uncertainty < 2e-5 && a.delay_s.uncertainty < 1e-3);
        if seed == 0 {
            noises(&pair, [1e-8, 1e-9], 0.1);
        }
    }
    println!("within 95 % of 40: scale {}, delay {}, clock {}", held[0], held[1], held[2]);
    assert!(held.iter().all(|n| (33..=40).contains(n)), "{held:?}");
}

fn split(pair: &Aligned) -> Split {
    let pitches = frequencies(pair.runs[0].len(), pair.rate_hz, 3.5).unwrap();
    of_two(pair, &pitches).unwrap()
}

/// Both noises, away from the motion's lines, within `allowed` and within chance.
fn noises(pair: &Aligned, want: [f64; 2], allowed: f64) {
    let split = split(pair);
    let band = split.band(0.3, 3.5).unwrap();
    for (n, want) in want.into_iter().enumerate() {
        let [power, sure] = band.noises[n];
        let is = power.max(0.0).sqrt();
        println!("sensor {}: {is:e} against {want:e}, power known to {:.3}", n + 1, sure / power);
        assert!((power - want * want).abs() < 3.5 * sure, "{n}: {is:e}");
        if allowed > 0.0 && n == 0 || sure < 0.1 * power {
            assert!((is / want - 1.0).abs() < allowed, "{n}: {is:e} against {want:e}");
        }
    }
}

/// Three sensors need no motion: each noise by differences.
#[test]
fn three_sensors_tell_each_noise() {
    let densities = [1e-8, 2e-8, 0.7e-8];
    let records: Vec<Record> = densities
        .iter()
        .enumerate()
        .map(|(n, density)| {
            Seen { density: *density, seed: 40 + n as u64, delay_s: 0.21 * n as f64, ..PLAIN }
                .record(20_000.0)
        })
        .collect();
    let pairs = [1, 2].map(|n| align(column(&records[0]), column(&records[n]), 5.0).unwrap());
    let pitches =
        frequencies(pairs[0].runs[0].len().min(pairs[1].runs[0].len()), 10.0, 3.5).unwrap();
    let split = of_three([&pairs[0], &pairs[1]], &pitches).unwrap();
    let band = split.band(0.05, 3.5).unwrap();
    for (n, want) in densities.iter().enumerate() {
        let [power, sure] = band.noises[n];
        assert!((power / (want * want) - 1.0).abs() < 0.1, "{n}: {:e}", power.sqrt());
        assert!((power - want * want).abs() < 4.0 * sure, "{n}");
    }
}

/// A reversed sign and another unit show in the scale, clocks in theirs; what sees nothing of it is refused.
#[test]
fn what_is_wrong_is_found() {
    let first = PLAIN.record(4000.0);
    for scale in [-1.0, 1e3, -1e-9] {
        let second = Seen { scale, seed: 7, ..PLAIN }.record(4000.0);
        let a = align(column(&first), column(&second), 5.0).unwrap().alignment;
        assert!((a.scale.value / scale - 1.0).abs() < 1e-4, "{scale}: {:?}", a.scale);
    }
    let mut draw = Normal::new(8);
    let still = record((0..40_000).map(|_| 1e-8 * draw.next()).collect(), 10.0, 0.0);
    let refusal = align(column(&first), column(&still), 5.0).expect_err("refused").to_string();
    assert!(refusal.contains("do not see the same motion"), "{refusal}");
    let late = Seen { start_s: 9000.0, ..PLAIN }.record(4000.0);
    let refusal = align(column(&first), column(&late), 5.0).expect_err("refused").to_string();
    assert!(refusal.contains("no rows at the same times"), "{refusal}");
}

/// Twelve hours of the vault sensor and its interferometer at one swing, noises some ten times apart under a swing a
/// thousand times theirs: each within a tenth of what the simulation has.
#[test]
#[ignore = "a minute or more: a whole sweep; cargo test --workspace --tests -- --ignored"]
fn twelve_hours_of_one_mass() {
    one_mass(43_200.0, 0.1);
}

/// An hour of the same.
#[test]
fn an_hour_of_one_mass() {
    one_mass(3600.0, 0.25);
}

fn one_mass(seconds: f64, allowed: f64) {
    let text = include_str!("../host-sim/sensors/vault-two-bridge.toml")
        .replace("rate_hz = 2000.0", "rate_hz = 100.0")
        .replace("frequency_noise_hz_per_rthz", "frequency_noise_hz_per_rthz = 0.0 # ")
        // 1.2e-3 V/rtHz on 1.6 V of light are some 30 pm/rtHz of a beam.
        .replace("detector_noise_v_per_rthz = 2.0e-7", "detector_noise_v_per_rthz = 1.2e-3");
    let sensor = Sensor::parse(Path::new("test.toml"), &text).unwrap();
    let file = sensor.file.interferometer.clone().unwrap();
    let hz = step_hz(&sensor);
    let disturbances = Disturbances { thermal: true, ..Disturbances::NONE };
    // A swing of 4e-5 rad, rms a thousand times the readings' 2.7e-8 rad.
    let swing = Swinging::new(&sensor, [4e-5, 0.0], disturbances, hz, 21).unwrap();
    let mut simulation =
        Simulation::new(&sensor, Mover::Swing(Box::new(swing)), Parts::ALL, 21).unwrap();
    simulation.watch();
    let mut detectors = Detectors::new(&file, Noise::All, 22);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("light.npy");
    let mut out = std::fs::File::create(&path).unwrap();
    let (mut between, mut codes, mut all) = (Between::default(), Vec::new(), 0);
    let (mut bridges, mut start_s) = (Vec::new(), None);
    // The header's room first: how many frames there are shows at the end.
    npy::write_header(&mut out, 0, 8).unwrap();
    loop {
        let (row, _) = simulation.reading();
        let t = row.time_s(sensor.rate_hz());
        if t > seconds {
            break;
        }
        start_s.get_or_insert(t);
        bridges.push(row.axes[1]);
        simulation.watched().for_each(|(t, scene)| between.push(t, scene));
        between.follow(&mut detectors, &mut codes);
        all += codes.len() as u64 / 8;
        npy::write_codes(&mut out, &codes).unwrap();
        codes.clear();
    }
    std::io::Seek::rewind(&mut out).unwrap();
    npy::write_header(&mut out, all, 8).unwrap();
    out.flush().unwrap();
    let wanted = Wanted { channels: 8, bits: file.bits, rate_hz: file.rate_hz, words: None };
    let capture = Capture::open(&path, wanted).unwrap();
    let tracks = tracks(&capture, &file, 600.0, Manner::Geometric).unwrap();
    let mut readings = Readings::new(&file, tracks);
    let (mut light, mut first_s) = (Vec::new(), None);
    let take = |row: quietgap_sim::interferometer::readings::Row| {
        if row.health() == "ok" {
            first_s.get_or_insert(row.half_frames as f64 / (2.0 * file.rate_hz));
            light.push(row.axes[1]);
        } else {
            assert_eq!(row.health(), "settling");
        }
        Ok(())
    };
    readings.run(&capture, take, &|_| {}).unwrap();
    let one = record(bridges, sensor.output_rate_hz(), start_s.unwrap());
    let two = record(light, file.output_rate_hz, first_s.unwrap());
    let pair = align(column(&one), column(&two), 5.0).unwrap();
    println!("{:?}", pair.alignment);
    // What was put in: the budget's prediction for the bridges, detectors over the beams' distance for the light.
    let bridges = quietgap_sim::budget::predict(&sensor, &[1.0], [0.0; 6]).total(1)[0];
    let beam = 1.2e-3 / (2f64.sqrt() * 1.6 * 0.92) * 6.3299e-7 / 2.0 / TAU;
    let light = beam * 2f64.sqrt() / 0.048;
    println!("bridges {bridges:e}, light {light:e} rad/rtHz");
    assert!((5.0..20.0).contains(&(bridges / light)));
    noises(&pair, [bridges, light], allowed);
}

/// Rows that are not in the file take no place: behind a gap in its times a record has the values of those times.
#[test]
fn values_behind_a_gap_are_those_of_their_times() {
    let value = |t: f64| (TAU * t / 37.0).sin();
    let (first, second) = (0..400, 400..900);
    let gap_s = 123.4;
    let time = |n: usize| n as f64 / 2.0 + if n < 400 { 0.0 } else { gap_s };
    let gapped = Record {
        runs: vec![first, second],
        starts_s: vec![0.0, time(400)],
        ..record((0..900).map(|n| value(time(n))).collect(), 2.0, 0.0)
    };
    let table = Interpolation::new();
    let (mut told, mut worst) = (0, 0f64);
    for n in 0..7000 {
        let t = f64::from(n) * 0.083;
        if let Some(x) = column(&gapped).at(&table, t) {
            told += 1;
            worst = worst.max((x - value(t)).abs());
            assert!(t < 200.0 || t > 200.0 + gap_s, "{t}");
        }
    }
    assert!(told > 4000 && worst < 1e-6, "{told}: {worst:e}");
}
