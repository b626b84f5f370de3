//! Host speed of the analysis: `cargo bench --bench analysis`. One thread but for the last.
//! `benches/analysis_peers.py` runs these beside NumPy's world and prints ratios.

use criterion::{Criterion, SamplingMode, criterion_group, criterion_main};
use quietgap_sim::analysis::density::Detrend;
use quietgap_sim::analysis::log_spaced::{self, Weighing, Wish, pitches};
use quietgap_sim::analysis::series::Series;
use quietgap_sim::analysis::stability::deviations::Phases;
use quietgap_sim::analysis::welch::{self, Cut};
use quietgap_sim::analysis::window::Window;
use quietgap_sim::simulation::plant::noise::{Gaussian, Stream};
use std::hint::black_box;
use std::time::Duration;

fn noise(count: usize) -> Vec<f64> {
    let mut gaussian = Gaussian::new(1, Stream::Motion);
    (0..count).map(|_| gaussian.next()).collect()
}

fn analysis(c: &mut Criterion) {
    let mut group = c.benchmark_group("analysis");
    // Samples of a few runs each: peers' best is of single ones.
    group.sampling_mode(SamplingMode::Flat);
    group.sample_size(50).measurement_time(Duration::from_secs(6));
    let long = noise(10_000_000);
    group.bench_function("welch of 1e7 values, segments of 2^17", |b| {
        let series = Series::whole(&long, 10.0);
        let cut = Cut::halves(1 << 17, Window::HANN, Detrend::Mean);
        b.iter(|| black_box(welch::auto(&series, cut)));
    });
    let values = &long[..1_000_000];
    let series = Series::whole(values, 10.0);
    let weighing = Weighing { window: Window::HANN, overlap: 0.5, detrend: Detrend::Mean };
    let wish =
        Wish { from_hz: 2e-5, to_hz: 5.0, count: 400, averages: 100, overlap: 0.5, lobe: 2.0 };
    let grid = pitches(values.len(), 10.0, &wish);
    println!("{} frequencies", grid.len());
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        group.bench_function(format!("log-spaced of 1e6 values, {threads} threads"), |b| {
            b.iter(|| pool.install(|| black_box(log_spaced::auto(&series, &grid, weighing))));
        });
    }
    let mut times: Vec<usize> = (0..75)
        .map(|k| 10f64.powf(f64::from(k) / 74.0 * 3e5f64.log10()).round() as usize)
        .collect();
    times.dedup();
    times.truncate(60);
    group.bench_function(format!("overlapping allan of 1e6 values, {} times", times.len()), |b| {
        b.iter(|| {
            let phases = Phases::new(&series, false);
            black_box(phases.allan(&times))
        });
    });
    group.finish();
}

criterion_group!(benches, analysis);
criterion_main!(benches);
