//! A plan compiled in gives the same bits as one loaded at run time; so do all of a sensor's settings,
//! checked by the compiler: the packages in `benches/cortex-m/boards` are by `quietgap filter export
//! vault-six-axis --crate six-axis` and the like. `tests/filter/six-channels.toml`
//! is by `quietgap filter design six-channels.spec.toml --out six-channels.toml`, `six_channels.rs` by
//! `quietgap filter export six-channels.toml --rust six_channels.rs`, both in `tests/filter`.

#[path = "filter/six_channels.rs"]
mod six_channels;

#[path = "../benches/cortex-m/boards/quarter-rate/src/settings.rs"]
mod quarter_rate;
#[path = "../benches/cortex-m/boards/six-axis/src/settings.rs"]
mod six_axis;
#[path = "../benches/cortex-m/boards/two-bridge/src/settings.rs"]
mod two_bridge;

use quietgap_core::fir::{FirChain, Waiting};
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_core::section::Way as WayOf;
use quietgap_core::word::Word;
use quietgap_core::{Health, Reading, Readout};
use quietgap_sim::filter::export::package::package;
use quietgap_sim::filter::export::{first_difference, fnv1a, rust};
use quietgap_sim::filter::integers::Integers;
use quietgap_sim::filter::subject::Subject;
use quietgap_sim::instrument::Sensor;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use six_channels::{
    CARRIER, CHANNELS, CODE_BITS, COLUMNS, FIRS, FRONT_END, OPEN, ORDER, Register, TAPS, Way,
};
use std::path::Path;

fn file(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/filter").join(name);
    std::fs::read_to_string(path).expect("a file")
}

fn subject() -> Subject {
    Subject::parse(Path::new("six-channels.toml"), &file("six-channels.toml"), None)
        .expect("a plan")
}

#[test]
fn compiled_in_and_loaded_give_the_same_bits() {
    let mut front = FrontEnd::<Register, ORDER, CHANNELS, COLUMNS, Way>::new(
        CARRIER,
        FRONT_END,
        CHANNELS,
        CODE_BITS.into(),
    )
    .expect("a good plan");
    let worst = Word::from_bits(2 << 52);
    let mut waiting = [Waiting::NONE; CHANNELS];
    let mut firs = FirChain::<TAPS, OPEN>::new(&FIRS, CHANNELS, worst).expect("a good plan");
    let subject = subject();
    let mut loaded = Integers::new(&subject, CHANNELS).expect("a good plan");
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let frames = 40 * subject.interval() as usize;
    let shift = 32 - u32::from(CODE_BITS);
    let codes: Vec<i32> =
        (0..frames * CHANNELS).map(|_| random.next_u32() as i32 >> shift).collect();

    let mut of_file = Vec::new();
    loaded.push(&codes, |phasors, _| of_file.extend_from_slice(phasors));
    let mut compiled = Vec::new();
    let mut rest = codes.as_slice();
    let mut phasors = [Phasor::default(); CHANNELS];
    while front.decimate(&mut rest, &mut phasors).is_some() {
        if firs.push(&mut phasors, &mut waiting, true).is_some() {
            compiled.extend_from_slice(&phasors);
        }
    }
    assert_eq!(compiled.len(), 40 * CHANNELS);
    assert_eq!(compiled, of_file);
    assert!(compiled.iter().any(|p| p.i.to_bits() > 1 << 40));
}

/// The committed file is what the command writes now; its checksum is of what stands below the header.
#[test]
fn committed_export_is_current() {
    let text = file("six_channels.rs");
    assert_eq!(text, rust(&subject()));
    let body = &text[text.find("\nuse ").expect("a body")..];
    assert!(text.contains(&format!("{:#018x}", fnv1a(body))));
    // One tap, one step: another checksum.
    let mut other = subject();
    other.plan.firs[0].taps[0] += 1;
    assert_ne!(rust(&other).lines().nth(3), text.lines().nth(3));
}

/// Readings of random codes, long enough for several, from a readout in any state before.
fn readings<
    const CHANNELS: usize,
    const COLUMNS: usize,
    const TAPS: usize,
    const OPEN: usize,
    W: WayOf<2>,
>(
    readout: &mut Readout<2, CHANNELS, COLUMNS, TAPS, OPEN, i64, W>,
    code_bits: u8,
) -> Vec<Reading> {
    let mut random = ChaCha8Rng::seed_from_u64(2);
    let mut readings = Vec::new();
    let shift = 33 - u32::from(code_bits);
    for _ in 0..3 * readout.interval() / 1000 + 1 {
        let block: Vec<i32> =
            (0..1000 * CHANNELS).map(|_| random.next_u32() as i32 >> shift).collect();
        readout.push(&block, |reading| readings.push(reading.clone()));
    }
    assert_eq!(readings.len(), 3);
    readings
}

macro_rules! same_bits {
    ($sensor:ident, $name:literal) => {
        let sensor = Sensor::load($name).expect("a built-in sensor");
        let mut by_compiler = $sensor::Board::IDLE;
        by_compiler.load(&$sensor::PLAN);
        let first = readings(&mut by_compiler, $sensor::CODE_BITS);
        // Used, and loaded again.
        by_compiler.load(&$sensor::PLAN);
        assert_eq!(by_compiler.counts().readings(), 0);
        assert_eq!(readings(&mut by_compiler, $sensor::CODE_BITS), first);
        // Of the sensor file, at run time, by the same type and by that which takes any plan.
        let mut same = sensor.settings.with_config(|config| $sensor::Board::new(config).unwrap());
        assert_eq!(readings(&mut same, $sensor::CODE_BITS), first);
        let mut any = sensor.settings.with_config(|config| {
            Readout::<2, { $sensor::CHANNELS }, 256, 1024, 1024, i64>::new(config).unwrap()
        });
        assert_eq!(readings(&mut any, $sensor::CODE_BITS), first);
        assert!(first.iter().all(|r| !r.health.has(Health::MEMORY)));
        assert!(first.iter().any(|r| r.bridges[0].displacement_am != 0));
    };
}

#[test]
fn made_by_the_compiler_and_loaded_give_the_same_bits() {
    same_bits!(two_bridge, "vault-two-bridge");
    same_bits!(six_axis, "vault-six-axis");
    same_bits!(quarter_rate, "vault-quarter-rate");
}

/// Without a plan, or with its memory wiped, a readout gives no reading that could be believed.
#[test]
fn without_a_plan_every_reading_is_flagged() {
    let mut idle = six_axis::Board::IDLE;
    let mut readings = 0;
    for length in [0, 1, 6, 7, 8, 7000] {
        idle.push(&vec![1; length], |reading| {
            assert!(reading.health.has(Health::MEMORY));
            readings += 1;
        });
    }
    assert!(readings > 0);
    idle.seek(12_345);
    idle.push(&[1; 70], |reading| assert!(reading.health.has(Health::MEMORY)));
}

#[test]
fn packages_of_the_boards_are_current() {
    for board in ["two-bridge", "six-axis", "quarter-rate"] {
        let sensor = format!("vault-{board}");
        let subject = Subject::load(&sensor, None).expect("a built-in sensor");
        let folder =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/cortex-m/boards").join(board);
        for (path, now) in package(&subject) {
            let text = std::fs::read_to_string(folder.join(path)).expect("a file");
            assert_eq!(first_difference(&text, &now), None, "{sensor}: {path}");
        }
    }
}

/// A sensor's name stands in a comment, and cannot end it.
#[test]
fn no_name_ends_the_header() {
    let mut subject = Subject::load("vault-two-bridge", None).expect("a built-in sensor");
    subject.name = "two\nfn\r\u{2028}lines".to_owned();
    let text = rust(&subject);
    assert!(text.starts_with("//! two fn "), "{text}");
    let header = &text[..text.find("\nuse ").expect("a body")];
    assert!(header.lines().all(|line| line.is_empty() || line.starts_with("//!")), "{header}");
}
