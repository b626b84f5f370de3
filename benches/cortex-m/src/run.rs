//! **Runs of a case**: what the images count, and the digests they print.

use crate::case::{self, Settings, Words};
use crate::digest::Digest;
use crate::source::Source;
use crate::{counter, stack};
use core::ffi::CStr;
use core::hint::black_box;
use heapless::Vec;
use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::front_end::{FrontEnd, Interval};
use quietgap_core::phasor::Phasor;
use quietgap_core::section::Way;
use quietgap_core::word::{Register, Word};
use quietgap_core::{Reading, Readout};
use semihosting::println;

/// Longest block, codes.
const BLOCK: usize = 8192;
static mut CODES: [i32; BLOCK] = [0; BLOCK];

/// What a case asks for beside its plan.
pub struct Task {
    seed: u64,
    /// Frames of a block; how often the same block is pushed; cut at random or not.
    frames: usize,
    repeats: usize,
    cuts: bool,
    noise_bits: u32,
    tone: Vec<i32, 64>,
}

impl Task {
    /// The codes of a block, the same on the host, and the source they are drawn from.
    fn codes(&self, channels: usize) -> (&'static [i32], Source) {
        // Safety: one case at a time uses the buffer.
        let codes = unsafe { &mut *core::ptr::addr_of_mut!(CODES) };
        let codes = &mut codes[..self.frames * channels];
        let mut source = Source::new(self.seed);
        source.fill(codes, channels, &self.tone, self.noise_bits);
        (codes, source)
    }
}

/// Hands every case that the host wrote to `run`, with its number and kind.
pub fn cases(run: impl Fn(u16, i64, &Settings, &Task)) {
    counter::start();
    let count = Words(case::read(c"cases.bin")).next();
    for number in 0..count as u16 {
        let mut name = *b"case-000.bin\0";
        let digits = [number / 100, number / 10 % 10, number % 10];
        name[5..8].copy_from_slice(&digits.map(|digit| b'0' + digit as u8));
        let mut words = Words(case::read(CStr::from_bytes_with_nul(&name).expect("a name")));
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
        run(number, kind, &settings, &task);
    }
}

/// The whole chain and each stage alone: digests, instructions, stack.
#[inline(never)]
pub fn chain<
    R: Register,
    const N: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    W: Way<N>,
>(
    number: u16,
    settings: &Settings,
    task: &Task,
) {
    settings.with_config(true, |config| {
        let channels = config.alignments.len();
        let (codes, mut source) = task.codes(channels);
        let build = || Readout::<N, CHANNELS, COLUMNS, TAPS, OPEN, R, W>::new(config).expect("a good plan");

        let mut readout = build();
        let (mut digest, mut readings, mut rounds) = (Digest::new(), 0u32, 0u32);
        let mut push = |block: &[i32]| {
            readout.push(block, |reading| {
                digest.reading(reading);
                readings += 1;
                rounds += u32::from(reading.rounds);
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

        // Intervals by themselves: all of them, and the busiest of those that no reading comes in.
        let interval = usize::from(config.front_end.ratio) * channels;
        let (mut readout, mut alone, mut busiest) = (build(), 0, 0);
        for _ in 0..task.repeats {
            for codes in codes.chunks(interval) {
                let mut made = false;
                let count = counter::count(|| {
                    black_box(&mut readout).push(black_box(codes), |reading| {
                        made = true;
                        black_box(reading);
                    });
                });
                alone += count;
                busiest = if made { busiest } else { busiest.max(count) };
            }
        }

        let front_end = || {
            FrontEnd::<R, N, CHANNELS, COLUMNS, W>::new(
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
        let mut waiting = [Waiting::NONE; CHANNELS];
        let mut stage = build_firs();
        let mut fir_digest = Digest::new();
        let mut word = || Word::from_bits(i64::from(source.next() as i32) << 21);
        for _ in 0..inputs {
            let mut frame = [Phasor::default(); CHANNELS];
            frame.iter_mut().for_each(|phasor| *phasor = Phasor { i: word(), q: word() });
            if stage.push(&mut frame[..channels], &mut waiting, true).is_some() {
                fir_digest.phasors(&frame[..channels]);
            }
        }
        let mut stage = build_firs();
        let firs = counter::count(|| {
            for _ in 0..inputs {
                let mut frame = black_box(phasors);
                black_box(stage.push(&mut frame[..channels], &mut waiting, true));
            }
        });

        let slow = settings.with_config(false, |config| {
            let mut readout = Readout::<N, CHANNELS, COLUMNS, TAPS, OPEN, R, W>::new(config).expect("a good plan");
            let mut rounds = 0;
            let count = counter::count(|| {
                for _ in 0..100 {
                    let mut frame = black_box(phasors);
                    readout.push_phasors(&mut frame[..channels], Interval::default(), |reading| {
                        rounds = black_box(reading).rounds;
                    });
                }
            });
            (count, rounds)
        });

        println!(
            "case={} readings={} digest={:016x} phasors={:016x} firs={:016x} chain={} alone={} busiest={} front_end={} fir={} reading={} reading_rounds={} rounds={} stack={} ram={} ram_front_end={} ram_firs={}",
            number, readings, digest.0, phasor_digest.0, fir_digest.0, chain, alone, busiest, first, firs, slow.0, slow.1, rounds, stack,
            size_of::<Readout<N, CHANNELS, COLUMNS, TAPS, OPEN, R, W>>(),
            size_of::<FrontEnd<R, N, CHANNELS, COLUMNS, W>>(),
            size_of::<FirChain<TAPS, OPEN>>(),
        );
    });
}

/// A readout behind a call that is generic in nothing: given codes it pushes them, given none it starts anew.
pub type Boxed<'a> = dyn FnMut(Option<&[i32]>, &mut dyn FnMut(&Reading)) + 'a;

/// The whole chain of such a readout: digest and instructions.
#[inline(never)]
pub fn boxed(number: u16, channels: usize, task: &Task, readout: &mut Boxed<'_>) {
    let (codes, _) = task.codes(channels);
    let (mut digest, mut readings) = (Digest::new(), 0u32);
    readout(None, &mut |_| ());
    for _ in 0..task.repeats {
        readout(Some(codes), &mut |reading| {
            digest.reading(reading);
            readings += 1;
        });
    }
    readout(None, &mut |_| ());
    let chain = counter::count(|| {
        for _ in 0..task.repeats {
            readout(Some(black_box(codes)), &mut |reading| {
                black_box(reading);
            });
        }
    });
    println!("case={} readings={} digest={:016x} chain={}", number, readings, digest.0, chain);
}

/// Front end alone over whole frames.
#[inline(always)]
fn decimate<R: Register, const N: usize, const CHANNELS: usize, const COLUMNS: usize, W: Way<N>>(
    stage: &mut FrontEnd<R, N, CHANNELS, COLUMNS, W>,
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

/// The front end alone: digest and instructions.
#[inline(never)]
pub fn front_end<
    R: Register,
    const N: usize,
    const CHANNELS: usize,
    const COLUMNS: usize,
    W: Way<N>,
>(
    number: u16,
    settings: &Settings,
    task: &Task,
) {
    settings.with_config(true, |config| {
        let (codes, _) = task.codes(CHANNELS);
        let bits = config.code_bits.into();
        let mut stage = FrontEnd::<R, N, CHANNELS, COLUMNS, W>::new(
            config.carrier,
            config.front_end,
            CHANNELS,
            bits,
        )
        .expect("a good plan");
        let mut phasors = [Phasor::default(); CHANNELS];
        let mut digest = Digest::new();
        decimate(&mut stage, codes, CHANNELS, &mut phasors, |phasors| digest.phasors(phasors));
        let counted = counter::count(|| {
            for _ in 0..task.repeats {
                decimate(&mut stage, black_box(codes), CHANNELS, &mut phasors, |phasors| {
                    black_box(phasors);
                });
            }
        });
        println!("case={} phasors={:016x} front_end={}", number, digest.0, counted);
    });
}
