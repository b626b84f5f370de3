//! Blocks into a chain that knows which frame each code is of: its numbers stay true, gaps and repetitions and all.

use proptest::prelude::*;
use quietgap_acquisition::blocks::Block;
use quietgap_acquisition::intake::Event;
use quietgap_acquisition::timeline::Clock;
use quietgap_acquisition::watch::Limits;
use quietgap_acquisition::{Faults, Intake, Settings};
use quietgap_core::{CarrierRatio, Chain, Health, Reading};

/// Codes are numbers of their own frames. A reading each hundred frames, of the flags since the last.
#[derive(Default)]
struct Numbers {
    next: u64,
    told: Health,
    /// Frames whose number was not the chain's, and all.
    wrong: u64,
    taken: u64,
    seeks: Vec<u64>,
}

impl Chain for Numbers {
    fn seek(&mut self, frame: u64) {
        self.next = frame;
        self.seeks.push(frame);
    }
    fn flag(&mut self, faults: Health) {
        self.told |= faults;
    }
    fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading)) {
        for code in codes.as_chunks::<2>().0 {
            self.wrong += u64::from(code[0] as u64 != self.next);
            self.taken += 1;
            self.next += 1;
            if self.next.is_multiple_of(100) {
                let health = std::mem::take(&mut self.told);
                sink(&Reading { half_samples: 2 * self.next as i64, health, ..Reading::default() });
            }
        }
    }
}

const FRAMES: u64 = 50;
const CLOCK: Clock =
    Clock { ticks_hz: 250_000_000, rate_millihertz: 1_000_000_000, most_ppm: 60, window: 4 };
const QUIET: Limits = Limits { looks: 2, least_spread: 0, least_difference: 0, most_step: 0 };
const SETTINGS: Settings = Settings { clock: CLOCK, limits: QUIET, carrier: TENTH };
const TENTH: CarrierRatio = match CarrierRatio::coherent(1, 10) {
    Ok(carrier) => carrier,
    Err(_) => panic!("a carrier"),
};

/// Blocks in a line, of frames by their true numbers.
struct Line {
    intake: Intake<2>,
    chain: Numbers,
    /// Gaps told; readings' instants, faults.
    gaps: Vec<(u64, u64)>,
    readings: Vec<(i64, Health, Faults)>,
    sent: u64,
    missing_before: u32,
}

impl Line {
    fn new() -> Self {
        Self {
            intake: Intake::new(SETTINGS),
            chain: Numbers::default(),
            gaps: Vec::new(),
            readings: Vec::new(),
            sent: 0,
            missing_before: 0,
        }
    }

    /// Hands over a block of the frames from number `from` on.
    fn block(&mut self, from: u64) {
        let mut codes: Vec<i32> =
            (from..from + FRAMES).flat_map(|n| [n as i32, -(n as i32)]).collect();
        let stamp = ((from + FRAMES) * 250) as u32;
        self.hand(&mut codes, stamp);
    }

    fn hand(&mut self, codes: &mut [i32], stamp: u32) {
        let lost = std::mem::take(&mut self.missing_before);
        self.sent += u64::from(lost);
        let block = Block { codes, first: self.sent * FRAMES, stamp, lost };
        self.sent += 1;
        let (gaps, readings) = (&mut self.gaps, &mut self.readings);
        self.intake.take(&block, &mut self.chain, &mut |event| match event {
            Event::Gap(from, to) => gaps.push((from, to)),
            Event::Reading(r, faults, _) => readings.push((r.half_samples, r.health, faults)),
        });
    }
}

#[test]
fn a_whole_run() {
    let mut line = Line::new();
    (0..100).for_each(|n| line.block(n * FRAMES));
    assert_eq!((line.chain.wrong, line.chain.taken), (0, 5000));
    assert_eq!(line.chain.seeks, [0]);
    assert!(line.gaps.is_empty() && line.readings.len() == 50);
    assert!(line.readings.iter().all(|(_, health, faults)| health.is_ok() && faults.is_none()));
    assert_eq!((line.intake.next_sample(), line.intake.lost_blocks()), (5000, 0));
}

/// A task that came late by three blocks: a gap of whole blocks, told and flagged at once.
#[test]
fn lost_blocks() {
    let mut line = Line::new();
    for n in 0..100 {
        if (40..43).contains(&n) {
            line.missing_before += 1;
        } else {
            line.block(n * FRAMES);
        }
    }
    assert_eq!(line.chain.wrong, 0);
    assert_eq!(line.gaps, [(2000, 2150)]);
    assert_eq!(line.intake.lost_blocks(), 3);
    let flagged: Vec<_> = line.readings.iter().filter(|r| !r.1.is_ok()).collect();
    assert_eq!(flagged, [&(4400, Health::ACQUISITION, Faults::LATE)]);
}

/// Frames that never came, and that came twice, by time alone: numbers are wrong until they are told, then right for good; no reading
/// comes twice.
#[test]
fn frames_missing_or_twice_by_time() {
    for (n, fault) in [
        (3i64, Faults::MISSED),
        (1, Faults::MISSED),
        (-1, Faults::REPEATED),
        (-2, Faults::REPEATED),
    ] {
        let mut line = Line::new();
        let mut from = 0u64;
        for block in 0..200 {
            if block == 60 {
                from = from.wrapping_add_signed(n);
            }
            line.block(from);
            from += FRAMES;
        }
        assert!(
            line.chain.wrong > 0 && line.chain.wrong < 20 * FRAMES,
            "{n}: {}",
            line.chain.wrong
        );
        let last = line.chain.next;
        assert_eq!(last, from, "{n}: numbers are true at the end");
        let told: Vec<_> = line.readings.iter().filter(|r| !r.2.is_none()).collect();
        assert_eq!(told.len(), 1, "{n}: {told:?}");
        assert_eq!((told[0].1, told[0].2), (Health::ACQUISITION, fault));
        assert!(line.readings.windows(2).all(|r| r[1].0 > r[0].0), "{n}: in order, none twice");
        assert_eq!(line.gaps.len(), usize::from(n > 0));
    }
}

/// By a frame's own counter, at once.
#[test]
fn frames_missing_by_counter() {
    for n in [7i64, -1, -30] {
        let mut line = Line::new();
        line.intake = Intake::new(Settings { clock: Clock::NONE, ..SETTINGS });
        let mut from = 0u64;
        for block in 0..20 {
            if block == 10 {
                from = from.wrapping_add_signed(n);
                line.intake.missing(n);
            }
            line.block(from);
            from += FRAMES;
        }
        assert_eq!(line.chain.wrong, 0, "{n}");
        assert_eq!(line.chain.next, from);
        assert_eq!(line.chain.seeks.len(), 2);
        assert_eq!(line.gaps, if n > 0 { vec![(500, 507)] } else { vec![] });
        let told = line.readings.iter().filter(|r| !r.2.is_none()).count();
        assert_eq!(told, 1);
    }
}

/// A fault noted on the way flags the next reading, and no other.
#[test]
fn notes_flag_the_next_reading() {
    let mut line = Line::new();
    for n in 0..20 {
        if n == 7 {
            line.intake.note(Faults::FRAME);
        }
        line.block(n * FRAMES);
    }
    let flagged: Vec<_> = line.readings.iter().filter(|r| !r.1.is_ok()).collect();
    assert_eq!(flagged, [&(800, Health::ACQUISITION, Faults::FRAME)]);
}

#[test]
fn a_stuck_channel_flags_all_readings_until_it_moves() {
    let mut line = Line::new();
    for n in 0..300u64 {
        let mut codes: Vec<i32> = (0..FRAMES)
            .flat_map(|k| {
                let number = (n * FRAMES + k) as i32;
                [number, if (100..200).contains(&n) { 5 } else { -number }]
            })
            .collect();
        line.hand(&mut codes, ((n + 1) * FRAMES * 250) as u32);
    }
    let stuck: Vec<_> =
        line.readings.iter().filter(|r| r.2 == Faults::STUCK).map(|r| r.0 / 2).collect();
    assert!(stuck[0] > 5000 && stuck[0] < 5000 + 3 * 1018, "{stuck:?}");
    let last = stuck[stuck.len() - 1];
    assert!(last > 10_000 && last < 10_000 + 3 * 1018, "{last}");
    assert!(stuck.windows(2).all(|s| s[1] == s[0] + 100));
    assert!(line.readings.iter().all(|r| r.1.has(Health::ACQUISITION) != r.2.is_none()));
}

proptest! {
    /// Any losses that are counted: the chain's numbers are always those of its frames.
    #[test]
    fn numbers_are_true(steps in prop::collection::vec((0i64..4, -60i64..400), 1..60)) {
        let mut line = Line::new();
        line.intake = Intake::new(Settings { clock: Clock::NONE, ..SETTINGS });
        let mut from = 0u64;
        for (kind, n) in steps {
            match kind {
                0 => {
                    line.missing_before += 1;
                    from += FRAMES;
                }
                1 => {
                    let n = n.max(-(from as i64));
                    from = from.wrapping_add_signed(n);
                    line.intake.missing(n);
                }
                _ => {
                    line.block(from);
                    from += FRAMES;
                }
            }
        }
        prop_assert_eq!(line.chain.wrong, 0);
        prop_assert!(line.gaps.iter().all(|(from, to)| from < to));
        prop_assert!(line.readings.windows(2).all(|r| r[1].0 > r[0].0));
    }
}
