//! A plan compiled in gives the same bits as one loaded at run time. `tests/filter/six-channels.toml`
//! is by `quietgap filter design six-channels.spec.toml --out six-channels.toml`, `six_channels.rs` by
//! `quietgap filter export six-channels.toml --rust six_channels.rs`, both in `tests/filter`.

#[path = "filter/six_channels.rs"]
mod six_channels;

use quietgap_core::fir::FirChain;
use quietgap_core::front_end::FrontEnd;
use quietgap_core::phasor::Phasor;
use quietgap_core::word::Word;
use quietgap_sim::filter::export::{fnv1a, rust};
use quietgap_sim::filter::integers::Integers;
use quietgap_sim::filter::subject::Subject;
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
        if firs.push(&mut phasors).is_some() {
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
