//! Runs the cases that the host wrote (`case-000.bin`, `case-001.bin`, ...) and prints a line for
//! each: digests of every output word, instructions of the chain and of each stage, stack.
#![no_std]
#![no_main]

use core::hint::black_box;
use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln};
use heapless::Vec;
use quietgap_board::case::{self, Settings, Words};
use quietgap_board::counter;
use quietgap_board::digest::Digest;
use quietgap_board::source::Source;
use quietgap_board::stack;
use quietgap_core::Readout;
use quietgap_core::fir::FirChain;
use quietgap_core::fold::Fold;
use quietgap_core::front_end::way::{AnyWay, Way};
use quietgap_core::front_end::{FrontEnd, Interval};
use quietgap_core::mixer::Mixer;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::Word;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    hprintln!("{}", info);
    debug::exit(debug::EXIT_FAILURE);
    loop {}
}

/// Longest block, codes.
const BLOCK: usize = 8192;
static mut CODES: [i32; BLOCK] = [0; BLOCK];

/// What a case asks for beside its plan.
struct Task {
    seed: u64,
    /// Frames of a block; how often the same block is pushed; cut at random or not.
    frames: usize,
    repeats: usize,
    cuts: bool,
    noise_bits: u32,
    tone: Vec<i32, 64>,
}

#[entry]
fn main() -> ! {
    let mut peripherals = cortex_m::Peripherals::take().expect("first and only call");
    counter::start(&mut peripherals.SYST);
    let count = case::read(b"cases.bin\0")[0];
    for number in 0..count as u8 {
        let mut name = *b"case-000.bin\0";
        let digits = [number / 100, number / 10 % 10, number % 10];
        name[5..8].copy_from_slice(&digits.map(|digit| b'0' + digit));
        let mut words = Words(case::read(&name));
        let kind = words.next();
        let mut task = Task {
            seed: words.next() as u64,
            frames: words.next() as usize,
            repeats: words.next() as usize,
            cuts: words.next() != 0,
            noise_bits: words.next() as u32,
            tone: Vec::new(),
        };
        task.tone = (0..words.next()).map(|_| words.next() as i32).collect();
        let settings = Settings::read(&mut words);
        match kind {
            // Sized for their plans, as firmware is.
            0 => run::<2, 2, 10, 265, 84, Fold<2, 2, 10, true, 5>>(number, &settings, &task),
            1 => run::<2, 7, 35, 265, 294, Fold<2, 7, 35, true, 5>>(number, &settings, &task),
            2 => run::<2, 2, 4, 265, 84, Fold<2, 2, 4, true, 2>>(number, &settings, &task),
            3 => run::<2, 2, 256, 265, 84, Mixer<2, 2, 256>>(number, &settings, &task),
            4 => run::<2, 7, 256, 265, 294, Mixer<2, 7, 256>>(number, &settings, &task),
            // Larger, and the way chosen by the plan.
            5 => run::<1, 4, 256, 256, 64, AnyWay<1, 4, 256>>(number, &settings, &task),
            6 => run::<2, 4, 256, 256, 64, AnyWay<2, 4, 256>>(number, &settings, &task),
            7 => run::<3, 4, 256, 256, 64, AnyWay<3, 4, 256>>(number, &settings, &task),
            // Sized again, to fit the counts to.
            20 => run::<2, 2, 20, 265, 84, Fold<2, 2, 20, true, 10>>(number, &settings, &task),
            21 => run::<2, 7, 70, 265, 294, Fold<2, 7, 70, true, 10>>(number, &settings, &task),
            10 => run::<2, 1, 3, 320, 400, Fold<2, 1, 3, true, 3>>(number, &settings, &task),
            11 => run::<2, 1, 5, 320, 400, Fold<2, 1, 5, true, 5>>(number, &settings, &task),
            12 => run::<2, 3, 15, 320, 400, Fold<2, 3, 15, true, 5>>(number, &settings, &task),
            13 => run::<2, 4, 16, 320, 400, Fold<2, 4, 16, true, 4>>(number, &settings, &task),
            14 => run::<2, 2, 16, 320, 400, Fold<2, 2, 16, true, 8>>(number, &settings, &task),
            15 => run::<2, 6, 12, 320, 400, Fold<2, 6, 12, true, 2>>(number, &settings, &task),
            16 => run::<2, 5, 15, 320, 400, Fold<2, 5, 15, true, 3>>(number, &settings, &task),
            18 => run::<2, 6, 36, 320, 400, Fold<2, 6, 36, true, 6>>(number, &settings, &task),
            17 => run::<2, 4, 256, 320, 400, Mixer<2, 4, 256>>(number, &settings, &task),
            _ => panic!("kind {kind}"),
        }
    }
    debug::exit(debug::EXIT_SUCCESS);
    loop {}
}

#[inline(never)]
fn run<
    const N: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    W: Way<N>,
>(
    number: u8,
    settings: &Settings,
    task: &Task,
) {
    settings.with_config(true, |config| {
        let channels = config.alignments.len();
        // Safety: one case at a time uses the buffer.
        let codes = unsafe { &mut *core::ptr::addr_of_mut!(CODES) };
        let codes = &mut codes[..task.frames * channels];
        let mut source = Source::new(task.seed);
        source.fill(codes, channels, &task.tone, task.noise_bits);
        let codes = &*codes;
        let build = || Readout::<N, CHANNELS, COLUMNS, TAPS, OPEN, i64, W>::new(config).expect("a good plan");

        let mut readout = build();
        let (mut digest, mut readings) = (Digest::new(), 0u32);
        let mut push = |block: &[i32]| {
            readout.push(block, |reading| {
                digest.reading(reading);
                readings += 1;
            });
        };
        let stack = stack::high_water(|| {
            for _ in 0..task.repeats {
                let mut rest = codes;
                while task.cuts && !rest.is_empty() {
                    let length = source.next() as usize % (3 * channels * 10) % (rest.len() + 1);
                    let (now, later) = rest.split_at(length);
                    push(now);
                    rest = later;
                }
                push(rest);
            }
        });

        // Counted apart: a digest's instructions are not the chain's.
        let mut readout = build();
        let chain = counter::count(|| {
            for _ in 0..task.repeats {
                black_box(&mut readout).push(black_box(codes), |reading| {
                    black_box(reading);
                });
            }
        });

        let front_end = || {
            FrontEnd::<i64, N, CHANNELS, COLUMNS, W>::new(
                config.carrier,
                config.front_end,
                channels,
                config.code_bits.into(),
            )
            .expect("a good plan")
        };
        let mut stage = front_end();
        let mut phasors = [Phasor::default(); CHANNELS];
        let mut phasor_digest = Digest::new();
        decimate(&mut stage, codes, channels, &mut phasors, |phasors| phasor_digest.phasors(phasors));
        let mut stage = front_end();
        let first = counter::count(|| {
            for _ in 0..task.repeats {
                decimate(&mut stage, black_box(codes), channels, &mut phasors, |phasors| {
                    black_box(phasors);
                });
            }
        });

        let inputs = task.repeats * task.frames / usize::from(config.front_end.ratio);
        let worst = Word::from_bits(2 << 52);
        let build_firs = || FirChain::<TAPS, OPEN>::new(config.firs, channels, worst).expect("a good plan");
        let mut stage = build_firs();
        let mut fir_digest = Digest::new();
        let mut word = || Word::from_bits(i64::from(source.next() as i32) << 21);
        for _ in 0..inputs {
            let mut frame = [Phasor::default(); CHANNELS];
            frame.iter_mut().for_each(|phasor| *phasor = Phasor { i: word(), q: word() });
            if stage.push(&mut frame[..channels]).is_some() {
                fir_digest.phasors(&frame[..channels]);
            }
        }
        let mut stage = build_firs();
        let firs = counter::count(|| {
            for _ in 0..inputs {
                let mut frame = black_box(phasors);
                black_box(stage.push(&mut frame[..channels]));
            }
        });

        let slow = settings.with_config(false, |config| {
            let mut readout = Readout::<N, CHANNELS, COLUMNS, TAPS, OPEN, i64, W>::new(config).expect("a good plan");
            counter::count(|| {
                for _ in 0..100 {
                    let mut frame = black_box(phasors);
                    readout.push_phasors(&mut frame[..channels], Interval::default(), |reading| {
                        black_box(reading);
                    });
                }
            })
        });

        hprintln!(
            "case={} readings={} digest={:016x} phasors={:016x} firs={:016x} chain={} front_end={} fir={} reading={} stack={} ram={} ram_front_end={} ram_firs={}",
            number, readings, digest.0, phasor_digest.0, fir_digest.0, chain, first, firs, slow, stack,
            size_of::<Readout<N, CHANNELS, COLUMNS, TAPS, OPEN, i64, W>>(),
            size_of::<FrontEnd<i64, N, CHANNELS, COLUMNS, W>>(),
            size_of::<FirChain<TAPS, OPEN>>(),
        );
    });
}

/// Front end alone over whole frames.
#[inline(always)]
fn decimate<const N: usize, const CHANNELS: usize, const COLUMNS: usize, W: Way<N>>(
    stage: &mut FrontEnd<i64, N, CHANNELS, COLUMNS, W>,
    codes: &[i32],
    channels: usize,
    phasors: &mut [Phasor; CHANNELS],
    mut sink: impl FnMut(&[Phasor]),
) {
    let mut rest = codes;
    while stage.decimate(&mut rest, &mut phasors[..channels]).is_some() {
        sink(&phasors[..channels]);
    }
}
