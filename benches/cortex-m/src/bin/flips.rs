//! Flips every bit of a readout, one at a time, in the middle of a run, and tells what becomes of
//! it: nothing, a fault that heals by itself, or one that is flagged by the next reading.
//!
//! Prints a line for each plan; ends badly where a bit does anything else, or the chain panics.
#![no_std]
#![no_main]

use core::mem::MaybeUninit;
use core::ptr::{addr_of, addr_of_mut};
use cortex_m_rt::{ExceptionFrame, entry, exception};
use heapless::Vec;
use quietgap_board::digest::Digest;
use quietgap_board::machine;
use quietgap_board::source::Source;
use quietgap_core::config::*;
use quietgap_core::fold::Fold;
use quietgap_core::front_end::way::AnyWay;
use quietgap_core::mixer::Mixer;
use quietgap_core::readout::Reading;
use quietgap_core::section::Way;
use quietgap_core::word::{Coefficient, Fraction, Word};
use quietgap_core::{CarrierRatio, Health, Plan, Readout};
use semihosting::println;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    machine::fail(format_args!("fault at {:08x}", frame.pc()))
}

const CHANNELS: usize = 2;
/// Frames of the run, and of it before the flip: in mid-interval.
const FRAMES: usize = 800;
const BEFORE: usize = 153;
/// Blocks end within a frame.
const BLOCK: usize = 37;
/// Samples of which a reading is made: 39 + 20 x 3 + 40 x 3.
const SPAN: usize = 219;

type Board<W> = Readout<2, CHANNELS, 64, 16, 8, i64, W>;
type BoardPlan<W> = Plan<2, CHANNELS, 64, 16, 8, i64, W>;
/// Time stamp, digest of the values, digest of everything, whether a fault of memory was flagged.
type Readings = Vec<(i64, u64, u64, bool), 12>;

#[entry]
fn main() -> ! {
    let coherent = CarrierRatio::coherent(1, 10).expect("a carrier");
    let other = CarrierRatio::from_step(0x19b3_d07c_84b5_dcc6).expect("a carrier");
    campaign::<Fold<2, CHANNELS, 10, true, 5>>("folded", coherent, 1);
    campaign::<Mixer<2, CHANNELS, 32>>("mixed", other, 1);
    campaign::<AnyWay<2, CHANNELS, 32>>("any,folded", coherent, 5);
    campaign::<AnyWay<2, CHANNELS, 32>>("any,mixed", other, 5);
    machine::done()
}

fn plan<W: Way<2>>(carrier: CarrierRatio) -> BoardPlan<W> {
    let bridge = |kind, strays| BridgeConfig {
        strays,
        offset_am: 11,
        range: Fraction::lit("0.6"),
        quadrature: Fraction::lit("1"),
        ..BridgeConfig::plain(kind, 2_000_000_000_000_000)
    };
    let electrode = |sign: i32, drive| ElectrodeConfig {
        gap_am: 2_000_000_000_000_000,
        position_am: [0, 20_000_000_000_000_000, 0],
        normal: [Fraction::from_num(sign), Fraction::ZERO, Fraction::ZERO],
        half_sides: [[HalfSide::lit("0"), HalfSide::lit("5"), HalfSide::lit("0")]; 2],
        total_share: Fraction::lit("0.1"),
        drive_share: drive,
    };
    let (none, some) = (Fraction::ZERO, Fraction::lit("0.5"));
    let electrodes = [
        electrode(1, none),
        electrode(-1, none),
        electrode(1, none),
        electrode(-1, none),
        electrode(1, some),
    ];
    let firs = [FirConfig { ratio: 2, taps: &[3, 5, 5, 3], scale_bits: 4 }; 2];
    let checked = BoardPlan::<W>::checked(&ReadoutConfig {
        code_bits: 24,
        carrier,
        front_end: FrontEndConfig {
            order: 2,
            ratio: 20,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        },
        firs: &firs,
        alignments: &[Alignment { cosine: Fraction::lit("0.8"), sine: Fraction::lit("0.6") };
            CHANNELS],
        monitor: Some(MonitorConfig {
            channel: 0,
            calibration: Word::lit("0.3"),
            weak: Word::lit("0.05"),
            lost: Word::lit("0.01"),
            phase: Fraction::lit("0.9"),
        }),
        bridges: &[
            bridge(
                BridgeKind::Difference { channel: 1, full: Word::lit("0.4") },
                [Fraction::lit("0.01"), Fraction::ZERO],
            ),
            bridge(
                BridgeKind::Separate { channels: [0, 1], least_sum: Word::lit("0.05") },
                [Fraction::lit("0.01"), Fraction::lit("0.02")],
            ),
        ],
        cross_coupling: &[Fraction::lit("0.01"), Fraction::ZERO, Fraction::ZERO, Fraction::ZERO],
        electrodes: &electrodes,
        axes: AxesConfig {
            axes: 1,
            solve: &[Coefficient::lit("0.5"); 2],
            geometry: &[Coefficient::ONE; 2],
            residual_am: i64::MAX,
        },
    });
    checked.expect("a good plan")
}

fn note(readings: &mut Readings, reading: &Reading) {
    let mut values = Digest::new();
    reading.axes.iter().for_each(|axis| values.word(*axis));
    for bridge in &reading.bridges {
        values.word(bridge.gap_fraction.to_bits());
        values.word(bridge.displacement_am);
        values.word(bridge.quadrature.to_bits());
    }
    values.word(reading.monitor_ratio);
    let mut all = Digest::new();
    all.reading(reading);
    let flag = reading.health.has(Health::MEMORY);
    // More readings than there can be: the first ones will differ enough.
    let _ = readings.push((reading.half_samples, values.0, all.0, flag));
}

/// Stops at a flagged reading: what comes after it is not to be used.
fn run<W: Way<2>>(readout: &mut Board<W>, codes: &[i32]) -> Readings {
    let mut readings = Readings::new();
    for block in codes.chunks(BLOCK) {
        readout.push(block, |reading| note(&mut readings, reading));
        if readings.iter().any(|reading| reading.3) {
            break;
        }
    }
    readings
}

fn campaign<W: Way<2>>(name: &str, carrier: CarrierRatio, step: usize) {
    let mut codes = [0; FRAMES * CHANNELS];
    let mut source = Source::new(11);
    let tone = [4, 3, 1, -1, -3, -4, -3, -1, 1, 3].map(|x: i32| x << 19);
    source.fill(&mut codes, CHANNELS, &tone, 12);
    // The flip comes in mid-frame, too.
    let (before, after) = codes.split_at(BEFORE * CHANNELS + 1);

    let plan = plan::<W>(carrier);
    let mut start = Board::start(&plan);
    let _ = run(&mut start, before);
    // Values are right when the filters hold nothing of the flip, an interval of the front end later
    // as the mixed one rounds once a section; flags that hold for the filters' length, after two.
    let time = |spans: usize| (2 * (BEFORE + spans * SPAN + 20)) as i64 - SPAN as i64;
    let same = |a: &Readings, b: &Readings| {
        let late = |readings: &Readings, spans: usize| -> Readings {
            readings.iter().copied().filter(|reading| reading.0 >= time(spans)).collect()
        };
        let values = |readings: Readings| -> Vec<(i64, u64), 12> {
            readings.iter().map(|reading| (reading.0, reading.1)).collect()
        };
        values(late(a, 1)) == values(late(b, 1)) && late(a, 2) == late(b, 2) && late(a, 2).len() > 1
    };
    let expected = run(&mut start.clone(), after);
    assert!(expected.iter().all(|reading| !reading.3) && same(&expected, &expected));

    // Recovery: with its plan loaded again, it goes on with the next whole frame, and is right once
    // settled.
    let mut anew = start.clone();
    anew.load(&plan);
    anew.seek(BEFORE as u64 + 1);
    let (_, rest) = after.split_at(CHANNELS - 1);
    let recovered = run(&mut anew, rest);
    assert!(same(&expected, &recovered), "recovery");

    let size = size_of::<Board<W>>();
    let (mut nothing, mut healed, mut flagged, mut wrong) = (0u32, 0u32, 0u32, 0u32);
    let mut flipped = MaybeUninit::<Board<W>>::uninit();
    for bit in (0..size * 8).step_by(step) {
        // Safety: the copy has the size of what it is a copy of, which owns nothing; a flipped bit
        // is what is to be tested, as on a board: the compiler knows nothing of it.
        let board = unsafe {
            let to = addr_of_mut!(flipped).cast::<u8>();
            core::ptr::copy_nonoverlapping(addr_of!(start).cast::<u8>(), to, size);
            let byte = to.add(bit / 8);
            byte.write_volatile(byte.read_volatile() ^ 1 << (bit % 8));
            &mut *core::hint::black_box(to.cast::<Board<W>>())
        };
        let readings = run(board, after);
        let first = readings.first().is_some_and(|reading| reading.3);
        if readings == expected {
            nothing += 1;
        } else if first {
            flagged += 1;
        } else if same(&readings, &expected) {
            healed += 1;
        } else {
            if wrong < 20 {
                println!("wrong: {} byte {} bit {}", name, bit / 8, bit % 8);
            }
            wrong += 1;
        }
    }
    println!(
        "flips={} bits={} nothing={} healed={} flagged={} wrong={}",
        name,
        (size * 8).div_ceil(step),
        nothing,
        healed,
        flagged,
        wrong
    );
}
