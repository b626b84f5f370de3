//! Host throughput of the stages and of the whole chain, in codes a second. Host time says
//! nothing about a microcontroller; see `benches/README.md`.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use quietgap_core::config::{FrontEndConfig, Path};
use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::Word;
use quietgap_core::{CarrierRatio, carrier};
use quietgap_sim::instrument::Sensor;
use quietgap_sim::readout::chain::Chain;
use quietgap_sim::simulation::plant::{Parts, Plant};
use quietgap_sim::simulation::scenario;
use std::hint::black_box;

const CHANNELS: usize = 6;
const FRAMES: usize = 1 << 16;

/// Codes of a carrier at a tenth of the rate, with some noise-like spread.
fn codes() -> Vec<i32> {
    let mut state = 1u32;
    (0..FRAMES * CHANNELS)
        .map(|n| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let phase = (n / CHANNELS) as f64 * 0.2 * std::f64::consts::PI;
            (2e6 * phase.cos()) as i32 + (state >> 20) as i32
        })
        .collect()
}

fn front_end(c: &mut Criterion, name: &str, carrier: CarrierRatio) {
    let config = FrontEndConfig {
        order: 2,
        ratio: 200,
        differential_delay: 1,
        path: Path::Auto,
        pruned_bits: 0,
    };
    let mut stage: Box<FrontEnd<i64, 2, CHANNELS, 128>> =
        Box::new(FrontEnd::new(carrier, config, CHANNELS, 24).expect("a good plan"));
    let codes = codes();
    let mut group = c.benchmark_group("front end");
    group.throughput(Throughput::Elements(codes.len() as u64));
    group.bench_function(name, |b| {
        b.iter(|| {
            let mut out = [Phasor::default(); CHANNELS];
            let mut rest = codes.as_slice();
            while stage.decimate(&mut rest, &mut out).is_some() {}
            black_box(out)
        });
    });
    group.finish();
}

fn stages(c: &mut Criterion) {
    front_end(c, "folded", CarrierRatio::coherent(1, 10).expect("a good carrier"));
    front_end(c, "mixed", CarrierRatio::from_step(0x1991_b4c3_9581_0625).expect("a good carrier"));

    let sensor = Sensor::load("vault-six-axis").expect("built in");
    let chain = sensor.settings.with_config(|config| {
        FirChain::<1024, 1024>::new(config.firs, 7, Word::from_bits(2 << 52)).expect("a good plan")
    });
    let mut group = c.benchmark_group("FIR stages");
    group.throughput(Throughput::Elements(7 * 5000));
    group.bench_function("seven channels, 5 kS/s to 10 S/s", |b| {
        let (mut chain, mut waiting) = (chain.clone(), [Waiting::NONE; 7]);
        b.iter(|| {
            for n in 0..5000 {
                let mut frame =
                    [Phasor { i: Word::from_bits(n << 40), q: Word::from_bits(n << 30) }; 7];
                black_box(chain.push(&mut frame, &mut waiting, true));
            }
        });
    });
    group.finish();

    c.bench_function("carrier: one cosine and sine", |b| {
        let mut phase = 0u64;
        b.iter(|| {
            phase = phase.wrapping_add(0x1234_5678_9abc_def1);
            black_box(carrier::cos_sin(phase))
        });
    });

    // Fifty intervals, 224 KB: in the cache, as the product that `peers.py` measures beside it. Ten of them make a reading.
    let mut plant = Plant::new(&sensor, scenario::vault(&sensor, 1.0, 1), Parts::ALL, 1);
    let mut block = Vec::new();
    while block.len() < 7 * 8_000 {
        plant.chunk(&mut block);
    }
    let mut readout = Chain::new(&sensor.settings).expect("built in");
    let mut group = c.benchmark_group("whole chain");
    group.throughput(Throughput::Elements(block.len() as u64));
    group.bench_function("six axes, seven channels, folded", |b| {
        b.iter(|| {
            readout.push(black_box(&block), |reading| {
                black_box(reading);
            })
        });
    });
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
