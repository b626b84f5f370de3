//! Telemetry: literal frames made by other hands, and what a line may do to bytes: flips, bursts, loss, truncation, foreign bytes.

use proptest::prelude::*;
use quietgap_telemetry::command::Inbox;
use quietgap_telemetry::frame::{LONGEST, LONGEST_WIRE, VERSION};
use quietgap_telemetry::message::*;
use quietgap_telemetry::stream::Met;
use quietgap_telemetry::{Decoder, Frame, Message};

#[path = "telemetry/encoding.rs"]
mod encoding;

fn list<T: Clone, const N: usize>(items: &[T]) -> heapless::Vec<T, N> {
    heapless::Vec::from_slice(items).expect("fits")
}

/// What the literal frames say, by name.
fn said(name: &str) -> Message {
    match name {
        "settings" => Message::Settings(Settings {
            name: heapless::String::try_from("vault-two-bridge").unwrap(),
            rate_millihertz: 800_000_000,
            interval: 80_000,
            axes: list(&[0, 5]),
            bridges: 2,
            checksum: 0x9D3A_11C5,
            starts: 3,
        }),
        "reading" => Message::Reading(Reading {
            half_samples: 1_234_567,
            axes: list(&[-1_500_000_000, 25_000_000_000_000]),
            quadratures: list(&[-(1 << 40), 0]),
            residual_am: 12_345,
            monitor_ratio: 1 << 58,
            over_range_channels: 0,
            health: 0,
        }),
        "reading_with_faults" => Message::Reading(Reading {
            half_samples: -80_001,
            axes: list(&[i64::MIN, i64::MAX]),
            quadratures: list(&[0, -1]),
            residual_am: 0,
            monitor_ratio: 0,
            over_range_channels: 0x8000_0001,
            health: 0b1000_0100_0011,
        }),
        "counts" => Message::Counts(Counts {
            readings: 864_000,
            faults: list(&[0, 1, 2, 3, 4, 5, 10, 0, 0, 0, 0, 1 << 40]),
            lost_blocks: 1,
            refused_commands: 2,
        }),
        "gap" => Message::Gap(Gap { from_sample: 4_000_000, to_sample: 4_004_096 }),
        "time_mark" => {
            Message::TimeMark(TimeMark { edge: 61, sample: 48_800_123, fraction: 0x8001 })
        }
        "start" => Message::Command(Command::Start),
        "stop" => Message::Command(Command::Stop),
        "mark" => Message::Command(Command::Mark(77)),
        "injection" => Message::Command(Command::Injection(500_000)),
        "calibration" => Message::Command(Command::Calibration(Piece {
            index: 0,
            count: 2,
            bytes: list(b"\0\0a0\0"),
        })),
        "answer" => {
            Message::Answer(Answer { command: 9, sample: 48_800_200, outcome: Outcome::Done })
        }
        "acquisition" => Message::Acquisition(Acquisition {
            sample: 48_880_000,
            faults: 0b1_0000_0101,
            channels: 0b11,
        }),
        "counts_of_thirteen" => Message::Counts(Counts {
            readings: 864_000,
            faults: list(&[0, 1, 2, 3, 4, 5, 10, 0, 0, 0, 0, 1 << 40, 7]),
            lost_blocks: 1,
            refused_commands: 2,
        }),
        other => panic!("{other}"),
    }
}

/// Frames of every version, which stay readable, and of the one that is written: by zlib's CRC-32, the package cobs and an encoder
/// of its own (`tests/vectors/gen/telemetry.py`).
#[test]
fn literal_frames() {
    let versions =
        [include_str!("../vectors/telemetry_1.json"), include_str!("../vectors/telemetry_2.json")];
    assert_eq!(versions.len(), usize::from(VERSION));
    for (version, text, count) in [(1, versions[0], 12), (2, versions[1], 14)] {
        let vectors: serde_json::Value = serde_json::from_str(text).unwrap();
        let vectors = vectors.as_array().unwrap();
        assert_eq!(vectors.len(), count);
        for vector in vectors {
            let name = vector["name"].as_str().unwrap();
            let number = u32::try_from(vector["number"].as_u64().unwrap()).unwrap();
            let frame = Frame { number, message: said(name) };
            let bytes = |hex: &str| -> Vec<u8> {
                (0..hex.len())
                    .step_by(2)
                    .map(|n| u8::from_str_radix(&hex[n..n + 2], 16).unwrap())
                    .collect()
            };
            let wire = bytes(vector["wire"].as_str().unwrap());
            if version == VERSION {
                assert_eq!(*frame.wire().unwrap(), wire, "{name}");
            }
            assert_eq!(whole(&wire).0, [frame], "{name} of version {version}");
        }
    }
}

/// All frames of some bytes.
fn whole(bytes: &[u8]) -> (Vec<Frame>, Met) {
    let mut decoder = Decoder::new();
    let frames = bytes.iter().filter_map(|b| decoder.push(*b)).collect();
    (frames, *decoder.met())
}

/// Twelve frames of all kinds and lengths, the longest reading among them, and where each begins on the line.
fn frames() -> (Vec<Frame>, Vec<u8>, Vec<usize>) {
    let longest = Message::Reading(Reading {
        half_samples: i64::MIN,
        axes: list(&[i64::MAX; 6]),
        quadratures: list(&[i64::MIN; 12]),
        residual_am: i64::MAX,
        monitor_ratio: i64::MIN,
        over_range_channels: u32::MAX,
        health: u16::MAX,
    });
    let mut messages: Vec<Message> = ["settings", "reading", "reading_with_faults", "counts"]
        .iter()
        .chain(&["reading", "gap", "reading", "time_mark", "start", "calibration", "answer"])
        .map(|name| said(name))
        .collect();
    messages.insert(5, longest);
    let frames: Vec<Frame> =
        (0x00FF_FFFA..).zip(messages).map(|(number, message)| Frame { number, message }).collect();
    let (mut bytes, mut starts) = (Vec::new(), Vec::new());
    for frame in &frames {
        starts.push(bytes.len());
        bytes.extend_from_slice(&frame.wire().unwrap());
    }
    (frames, bytes, starts)
}

/// The longest that can be said fits.
#[test]
fn the_longest_fits() {
    let (frames, bytes, starts) = frames();
    let longest = starts.windows(2).map(|w| w[1] - w[0]).max().unwrap();
    assert!(longest > 200 && longest <= LONGEST_WIRE && LONGEST_WIRE == LONGEST + 7);
    assert_eq!(whole(&bytes).0, frames);
    let full = Message::Command(Command::Calibration(Piece {
        index: 255,
        count: 255,
        bytes: list(&[0; PIECE]),
    }));
    assert_eq!(whole(&Frame { number: 0, message: full }.wire().unwrap()).1.frames, 1);
}

/// Bytes with errors at a bit: what comes out is of the frames that were sent, in order, and only frames that the errors reach are
/// lost.
fn survives(frames: &[Frame], bytes: &[u8], starts: &[usize], at: usize, pattern: u64) {
    let mut hit = bytes.to_vec();
    for k in (0..64).filter(|k| pattern >> k & 1 == 1) {
        if let Some(byte) = hit.get_mut((at + k) / 8) {
            *byte ^= 1 << ((at + k) % 8);
        }
    }
    let length = 64 - pattern.leading_zeros() as usize;
    // The line ends with a zero, as it goes on.
    hit.push(0);
    let (found, met) = whole(&hit);
    let first = at / 8;
    let last = ((at + length - 1) / 8).min(bytes.len() - 1);
    let of = |byte: usize| starts.partition_point(|s| *s <= byte) - 1;
    // A zero that is gone joins two frames.
    let touched = of(first)..=of(last) + usize::from(bytes[first..=last].contains(&0));
    let kept: Vec<&Frame> =
        frames.iter().enumerate().filter(|(n, _)| !touched.contains(n)).map(|(_, f)| f).collect();
    let of_sent: Vec<&Frame> = found.iter().filter(|f| frames.contains(f)).collect();
    assert_eq!(of_sent.len(), found.len(), "bit {at}, {pattern:#x}: a frame that was not sent");
    let mut sent = frames.iter();
    assert!(found.iter().all(|f| sent.any(|s| s == f)), "bit {at}, {pattern:#x}: another order");
    assert!(
        kept.iter().all(|f| found.contains(f)),
        "bit {at}, {pattern:#x}: a sound frame is lost"
    );
    let lost = frames.len() - found.len();
    assert!(lost == 0 || met.refused() > 0 || met.missing > 0, "bit {at}: nothing was counted");
}

#[test]
fn every_flip_is_met() {
    let (frames, bytes, starts) = frames();
    for at in 0..bytes.len() * 8 {
        survives(&frames, &bytes, &starts, at, 1);
        let mut hit = bytes.clone();
        hit[at / 8] ^= 1 << (at % 8);
        // One frame, or the two that a zero has parted.
        hit.push(0);
        let lost = frames.len() - whole(&hit).0.len();
        assert!(lost == 1 || lost == 2 && bytes[at / 8] == 0, "bit {at}: {lost} lost");
    }
}

/// Bursts of every length to 32 bits at every bit: all bits of it, its two ends, and some of what lies between.
#[test]
fn every_burst_is_met() {
    let (frames, bytes, starts) = frames();
    let mut state = 1u64;
    for at in 0..bytes.len() * 8 {
        for length in 2..=32u32 {
            let all = (1u64 << length) - 1;
            let ends = 1 | 1 << (length - 1);
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            // All lengths at the longest; of the others a third each.
            let patterns = [all, ends, state >> 32 & all | ends];
            if length == 32 {
                patterns.iter().for_each(|p| survives(&frames, &bytes, &starts, at, *p));
            } else {
                survives(&frames, &bytes, &starts, at, patterns[(at + length as usize) % 3]);
            }
        }
    }
}

/// Bytes that are lost or added, cuts and foreign bytes.
#[test]
fn the_line_may_lose_and_add() {
    let (frames, bytes, _) = frames();
    for at in 0..bytes.len() {
        for added in [None, Some(0u8), Some(1), Some(0x80), Some(0xFF)] {
            let mut other = bytes.clone();
            match added {
                None => drop(other.remove(at)),
                Some(byte) => other.insert(at, byte),
            }
            other.push(0);
            let found = whole(&other).0;
            assert!(found.iter().all(|f| frames.contains(f)), "byte {at}");
            assert!(found.len() + 2 >= frames.len(), "byte {at}: {} found", found.len());
        }
        // Cut, and the line goes on from the start.
        let mut again = bytes[..at].to_vec();
        again.extend_from_slice(&bytes);
        let (found, met) = whole(&again);
        assert!(found.iter().all(|f| frames.contains(f)), "cut at {at}");
        assert!(found.len() + 1 >= frames.len(), "cut at {at}");
        assert!(at < 200 || met.restarts == 1, "cut at {at}: {met:?}");
    }
    // A stretch longer than any frame, and what is no frame at all.
    let mut noise: Vec<u8> = (0..3000u32).map(|n| (n * 7 % 255 + 1) as u8).collect();
    noise.push(0);
    noise.extend_from_slice(b"hello\0\0\0");
    noise.extend_from_slice(&bytes);
    let (found, met) = whole(&noise);
    assert_eq!((found, met.length), (frames, 2));
}

/// Each sort of refusal, with the last that passes beside it.
#[test]
fn refusals_are_told_apart() {
    let wire = Frame { number: 5, message: said("gap") }.wire().unwrap();
    let of = |raw: &[u8]| {
        let mut coded = vec![0; raw.len() + 2];
        let length = cobs_of(raw, &mut coded);
        let mut line = coded[..length].to_vec();
        let sum = crc(&line);
        line.extend((0..5).map(|n| 0x80 | (sum >> (7 * n)) as u8 & 0x7F));
        line.push(0);
        whole(&line).1
    };
    let gap = [3, 0x80, 0x92, 0xF4, 0x01, 0x80, 0xB2, 0xF4, 0x01];
    let raw = |version: u8, length: u8, message: &[u8]| {
        let mut raw = vec![version, length, 5, 0, 0, 0];
        raw.extend_from_slice(message);
        raw
    };
    let sound = of(&raw(1, 15, &gap));
    assert_eq!((sound.frames, sound.refused()), (1, 0));
    let line = &wire[..wire.len() - 6];
    assert_eq!(line.len(), 16);
    assert_eq!(of(&raw(2, 15, &gap)).frames, 1);
    for version in [0, 3, 255] {
        assert_eq!(of(&raw(version, 15, &gap)).version, 1);
    }
    // Samples, faults, channels: what version 1 does not have.
    let acquisition = [7, 0x80, 0xB3, 0xA7, 0x17, 0x85, 0x02, 0x03];
    assert_eq!(of(&raw(2, 14, &acquisition)).frames, 1);
    assert_eq!(of(&raw(1, 14, &acquisition)).message, 1);
    assert_eq!(of(&raw(1, 14, &gap)).length, 1);
    let mut unknown = gap;
    unknown[0] = 8;
    assert_eq!(of(&raw(2, 15, &unknown)).message, 1);
    let mut longer = gap.to_vec();
    longer.push(0);
    assert_eq!(of(&raw(1, 16, &longer)).message, 1);
    // Lengths of stretches that can be a frame: 13 to 260 bytes, of which the check is judged.
    let stretch = |length: usize| {
        let mut bytes = vec![0x55; length];
        bytes.push(0);
        let met = whole(&bytes).1;
        assert_eq!((met.frames, met.refused()), (0, 1), "{length}");
        (met.length, met.check)
    };
    assert_eq!(
        [12, 13, 260, 261, 262, 900].map(stretch),
        [(1, 0), (0, 1), (0, 1), (1, 0), (1, 0), (1, 0)]
    );
    let all = Met { length: 1, check: 20, version: 300, message: 4000, ..Met::default() };
    assert_eq!(all.refused(), 4321);
    let mut flipped = wire.to_vec();
    flipped[3] ^= 4;
    assert_eq!(whole(&flipped).1.check, 1);
}

/// COBS as S. Cheshire and M. Baker (IEEE/ACM Trans. Networking 7 (1999) 159) describe it, of less than 254 bytes.
fn cobs_of(raw: &[u8], out: &mut [u8]) -> usize {
    let (mut code_at, mut code, mut to) = (0, 1u8, 1);
    for byte in raw {
        if *byte == 0 {
            out[code_at] = code;
            (code_at, code, to) = (to, 1, to + 1);
        } else {
            out[to] = *byte;
            (code, to) = (code + 1, to + 1);
        }
    }
    out[code_at] = code;
    to
}

/// CRC-32 bit by bit.
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |sum, byte| {
        (0..8).fold(
            sum ^ u32::from(*byte),
            |s, _| if s & 1 == 1 { s >> 1 ^ 0xEDB8_8320 } else { s >> 1 },
        )
    })
}

/// A reading says what the core's has.
#[test]
fn readings_are_the_cores() {
    use quietgap_core::bridge::BridgeReading;
    let bridge = |bits: i64| BridgeReading {
        quadrature: quietgap_core::word::Fraction::from_bits(bits),
        ..BridgeReading::default()
    };
    let core = quietgap_core::Reading {
        half_samples: -3,
        axes: list(&[4, -5]),
        bridges: list(&[bridge(6), bridge(-7)]),
        monitor_ratio: 8,
        residual_am: 9,
        rounds: 10,
        over_range_channels: 11,
        health: quietgap_core::Health::SILENT | quietgap_core::Health::OVER_RANGE,
    };
    let said = Reading {
        half_samples: -3,
        axes: list(&[4, -5]),
        quadratures: list(&[6, -7]),
        residual_am: 9,
        monitor_ratio: 8,
        over_range_channels: 11,
        health: 1 | 1 << 11,
    };
    assert_eq!(Reading::from(&core), said);
    assert_eq!(quietgap_core::Health::from_bits(said.health), core.health);
}

/// The catalogue's check value (Ross Williams, A painless guide to CRC error detection algorithms, 1993; from memory).
#[test]
fn the_sum_is_the_known_one() {
    assert_eq!(crc(b"123456789"), 0xCBF4_3926);
}

#[test]
fn numbers_tell_what_is_missing() {
    let line = |numbers: &[u32]| {
        let wires = numbers
            .iter()
            .flat_map(|n| Frame { number: *n, message: said("gap") }.wire().unwrap().to_vec());
        whole(&wires.collect::<Vec<_>>()).1
    };
    assert_eq!(line(&[7, 8, 9]).missing, 0);
    assert_eq!(line(&[7, 9, 12]).missing, 3);
    assert_eq!(line(&[u32::MAX, 0, 1]).missing, 0);
    assert_eq!(line(&[u32::MAX - 1, 1]).missing, 2);
    let repeated = line(&[7, 7, 8]);
    assert_eq!((repeated.missing, repeated.repeats, repeated.restarts), (0, 1, 0));
    // Half of all numbers lie ahead, and no more.
    assert_eq!(line(&[7, 7 + (1 << 31)]).missing, (1 << 31) - 1);
    assert_eq!(line(&[7, 8 + (1 << 31)]).restarts, 1);
    let began = line(&[70, 0, 1]);
    assert_eq!((began.missing, began.repeats, began.restarts), (0, 0, 1));
}

/// Once each, however often they come.
#[test]
fn commands_are_carried_out_once() {
    let (mut inbox, mut done) = (Inbox::new(), Vec::new());
    let mut meet = |number: u32, outcome: Outcome| {
        let told = inbox.meet(number, || {
            done.push(number);
            outcome
        });
        (told, done.len())
    };
    assert_eq!(meet(4, Outcome::Done), (Outcome::Done, 1));
    assert_eq!(meet(4, Outcome::Done), (Outcome::Before, 1));
    assert_eq!(meet(3, Outcome::Done), (Outcome::Old, 1));
    assert_eq!(meet(5, Outcome::Refused), (Outcome::Refused, 2));
    assert_eq!(meet(5, Outcome::Done), (Outcome::Refused, 2));
    assert_eq!(meet(9, Outcome::Done), (Outcome::Done, 3));
    assert_eq!(meet(5, Outcome::Done), (Outcome::Old, 3));
    assert_eq!(meet(9 + (1 << 31), Outcome::Done), (Outcome::Old, 3));
    assert_eq!(meet(8 + (1 << 31), Outcome::Done), (Outcome::Done, 4));
}

proptest! {
    /// What is said is heard, in pieces of any size; bytes of any kind yield what was sent or nothing.
    #[test]
    fn said_is_heard(
        number: u32,
        half_samples: i64,
        axes in prop::collection::vec(any::<i64>(), 0..=6),
        quadratures in prop::collection::vec(any::<i64>(), 0..=12),
        parts in any::<(i64, i64, u32, u16)>(),
        foreign in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let (residual_am, monitor_ratio, over_range_channels, health) = parts;
        let reading = Reading {
            half_samples, axes: list(&axes), quadratures: list(&quadratures), residual_am, monitor_ratio,
            over_range_channels, health,
        };
        let frame = Frame { number, message: Message::Reading(reading) };
        let wire = frame.wire().unwrap();
        prop_assert!(wire[..wire.len() - 1].iter().all(|b| *b != 0));
        let mut bytes = foreign;
        bytes.push(0);
        bytes.extend_from_slice(&wire);
        prop_assert_eq!(whole(&bytes).0, [frame]);
    }
}
