//! Host speed of the interferometer's chain: `cargo bench --bench fringes`. Codes of four detectors at 1 MS/s in
//! memory to readings at 1 kS/s, one thread; and the core's integers on the same codes.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use quietgap_core::fringe::Fringes;
use quietgap_sim::instrument::Sensor;
use quietgap_sim::interferometer::board;
use quietgap_sim::interferometer::ellipse::Ellipse;
use quietgap_sim::interferometer::readings::Readings;
use quietgap_sim::interferometer::track::{Knot, Track};
use std::f64::consts::TAU;
use std::hint::black_box;

const FRAMES: usize = 1_000_000;

fn fringes(c: &mut Criterion) {
    let sensor = Sensor::load("vault-two-bridge").expect("built in");
    let mut file = sensor.file.interferometer.expect("it has one");
    file.beams.truncate(1);
    file.axes.truncate(1);
    (file.rate_hz, file.output_rate_hz) = (1e6, 1e3);
    let codes: Vec<i32> = (0..FRAMES)
        .flat_map(|n| {
            let (s, c) = (40.0 * (TAU * n as f64 / 3e5).sin()).sin_cos();
            [c, -c, s, -s].map(|f| (4e4 * (1.0 + 0.9 * f)).round() as i32)
        })
        .collect();
    let ellipse = Ellipse::of_numbers([0.0, 0.0, 0.9, 1.0, 0.0]);
    let knot = Knot { frame: 0.0, balance: [1.0; 2], ellipse };
    let mut group = c.benchmark_group("fringes");
    group.throughput(Throughput::Elements(codes.len() as u64));
    group.bench_function("codes to readings", |b| {
        b.iter(|| {
            let track = Track { knots: vec![knot], told: None };
            let mut readings = Readings::new(&file, vec![track]);
            readings.push(&codes, |row| drop(black_box(row)));
        });
    });
    let settings = board::settings(&file, &knot).expect("within its numbers");
    group.bench_function("the core's integers", |b| {
        b.iter(|| {
            let mut fringes = Fringes::new(settings).expect("checked");
            for frame in codes.as_chunks::<4>().0 {
                black_box(fringes.push(*frame));
            }
        });
    });
    group.finish();
}

criterion_group!(benches, fringes);
criterion_main!(benches);
