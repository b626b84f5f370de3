//! Pieces of the library that read or write, by themselves.

use quietgap_sim::error::{Error, Result, line_of, nearest};
use quietgap_sim::filter::export::{first_difference, fnv1a, package::package_name};
use quietgap_sim::records::footer::claims;
use quietgap_sim::telemetry::clock::Clock;
use quietgap_sim::telemetry::outbox::{Outbox, TRIES, WAITS};
use quietgap_telemetry::Decoder;
use quietgap_telemetry::message::{Answer, Outcome, TimeMark};
use std::time::Instant;

/// Last list that may be, first that may not; truth values, and lists of them.
#[test]
fn lists_within_their_bytes() {
    // Field 1 a list, three truth values in three bytes, the end.
    assert_eq!(claims(&[0x19, 0x32, 1, 2, 1, 0]), None);
    assert_eq!(
        claims(&[0x19, 0x52, 1, 2, 1, 0]).as_deref(),
        Some("its footer claims a list of 5 in 4 bytes")
    );
    // The same by its long head, in a map, in a list within a list, in a structure within.
    let bad: [&[u8]; 4] = [
        &[0x19, 0xf2, 0x80, 0x80, 0x80, 0x40, 0],
        &[0x1b, 0x80, 0x80, 0x40, 0x11, 1, 1, 0],
        &[0x19, 0x29, 0x12, 1, 0xf1, 0x80, 0x40, 0],
        &[0x1c, 0x1a, 0xe1, 0, 0],
    ];
    for footer in bad {
        assert!(claims(footer).is_some(), "{footer:x?}");
    }
    // What breaks off, or is too deep, is the library's to tell.
    assert_eq!(claims(&[0x18, 5, 1]), None);
    assert_eq!(claims(&[0x1c; 500]), None);
}

/// Whatever a line brings, an instant is told or not; the ends of all ranges do not overflow.
#[test]
fn ends_of_the_ranges() {
    let mut clock = Clock::default();
    assert_eq!(clock.seconds(0), None);
    clock.mark(TimeMark { edge: 0, sample: 0, fraction: 0 });
    assert_eq!(clock.seconds(0), None);
    clock.mark(TimeMark { edge: u32::MAX, sample: u64::MAX, fraction: u16::MAX });
    for half_samples in [i64::MIN, 0, i64::MAX] {
        assert!(clock.seconds(half_samples).is_some_and(f64::is_finite));
    }
    // One that does not follow begins anew.
    clock.mark(TimeMark { edge: 5, sample: 4_000_000, fraction: 0x8000 });
    assert_eq!(clock.seconds(0), None);
    clock.mark(TimeMark { edge: 7, sample: 5_600_016, fraction: 0 });
    assert!((clock.rate_hz().unwrap() - 800_007.75).abs() < 1e-9);
    let at = clock.seconds(2 * 4_000_000 + 1).unwrap();
    assert!((at - 5.0).abs() < 1e-12, "{at}");
}

fn outbox(texts: &[&str]) -> Result<Outbox> {
    Outbox::new(&texts.iter().map(|text| (*text).to_owned()).collect::<Vec<_>>())
}

#[test]
fn last_that_is_a_command_and_first_that_is_none() {
    for (good, bad) in [
        ("start", "start:1"),
        ("stop", "halt"),
        ("mark:4294967295", "mark:4294967296"),
        ("mark:0", "mark"),
        ("injection:1", "injection:1.0000001"),
        ("injection:0", "injection:-0.1"),
    ] {
        assert!(outbox(&[good]).is_ok(), "{good}");
        let error = outbox(&[bad]).expect_err(bad).to_string();
        assert!(error.contains(bad) && error.contains("allowed"), "{error}");
    }
    assert!(outbox(&["injection:nan"]).is_err());
}

#[test]
fn calibrations_in_pieces() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("c.toml");
    for (length, pieces) in
        [(0, 0), (1, 1), (192, 1), (193, 2), (255 * 192, 255), (255 * 192 + 1, 0)]
    {
        std::fs::write(&path, vec![7u8; length]).expect("written");
        let made = outbox(&[&format!("calibration:{}", path.display())]);
        assert_eq!(made.map_or(0, |outbox| outbox.len()), pieces, "{length}");
    }
    assert!(outbox(&["calibration:/nowhere"]).is_err());
}

/// Sent, not answered, sent again with the same number; answered; the next has the next number; given up at last.
#[test]
fn until_it_is_answered() {
    let mut outbox = outbox(&["start", "mark:5"]).expect("commands");
    let now = Instant::now();
    let first = outbox.due(now).expect("due").expect("sent");
    assert!(outbox.due(now + WAITS / 2).is_none());
    assert_eq!(outbox.due(now + WAITS).expect("due").expect("again"), first);
    let mut board = Decoder::new();
    let told = first.iter().find_map(|byte| board.push_command(*byte));
    let (number, _) = told.expect("a command");
    let answer = |command, outcome| Answer { command, sample: 9, outcome };
    assert_eq!(outbox.answered(&answer(number + 1, Outcome::Done)), None, "another's");
    let fate = outbox.answered(&answer(number, Outcome::Before)).expect("answered");
    assert!(fate.is_done() && fate.tries == 2 && fate.text == "start");
    assert_eq!(outbox.answered(&answer(number + 1, Outcome::Done)), None, "not sent yet");
    let mut now = now + WAITS;
    for _ in 0..TRIES {
        assert!(outbox.due(now).expect("due").is_ok());
        now += WAITS;
    }
    let fate = outbox.due(now).expect("due").expect_err("given up");
    assert_eq!((fate.number, fate.tries, fate.outcome), (number + 1, TRIES, None));
    assert!(!fate.is_done() && outbox.is_empty() && outbox.due(now).is_none());
}

#[test]
fn messages_are_short_and_plain() {
    let quoted = format!("a.toml:3: key is `{}\u{1b}[31m`, allowed 1 to 2", "x".repeat(10_000));
    let said = Error::new(quoted).to_string();
    assert!(said.chars().count() <= 300, "{said}");
    assert!(said.starts_with("a.toml:3: key is `xxx") && said.ends_with("`, allowed 1 to 2"));
    assert!(said.contains("\\u{1b}[31m"), "{said}");
    assert_eq!(Error::new("a\tb\u{202e}").to_string(), "a\\tb\\u{202e}");
    let just = "y".repeat(300);
    assert_eq!(Error::new(just.clone()).to_string(), just);
}

#[test]
fn slips_find_their_key() {
    assert_eq!(nearest("gap_mm", ["area_m2", "gap_m", "name"]), Some("gap_m"));
    assert_eq!(nearest("zzzzzzzzzz", ["area_m2", "gap_m"]), None);
    assert_eq!(line_of("a\nb\nc", 2), 2);
}

#[test]
fn names_of_packages() {
    for (sensor, name) in [
        ("vault-two-bridge", "vault-two-bridge-board"),
        ("Vault  six/axis", "vault-six-axis-board"),
        ("3rd", "sensor-3rd-board"),
        ("--", "sensor-board"),
        ("Höhle", "h-hle-board"),
    ] {
        assert_eq!(package_name(sensor), name);
    }
}

/// Values of the function's published description, recalled.
#[test]
fn fnv1a_as_published() {
    assert_eq!(fnv1a(""), 0xcbf2_9ce4_8422_2325);
    assert_eq!(fnv1a("a"), 0xaf63_dc4c_8601_ec8c);
    assert_eq!(fnv1a("foobar"), 0x8594_4171_f739_67e8);
}

#[test]
fn first_difference_is_found() {
    assert_eq!(first_difference("a\nb\n", "a\nb\n"), None);
    assert_eq!(first_difference("a\nb", "a\nc"), Some((2, "b", "c")));
    assert_eq!(first_difference("a", "a\nc"), Some((2, "(end)", "c")));
}
