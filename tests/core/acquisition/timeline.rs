//! Numbers of samples by time and by counter: what is missing is counted, what drifts is told, and what an interrupt's delays do is
//! neither.

use proptest::prelude::*;
use quietgap_acquisition::Faults;
use quietgap_acquisition::timeline::{Clock, Counter, Timeline};

const CLOCK: Clock =
    Clock { ticks_hz: 200_000_000, rate_millihertz: 800_000_000, most_ppm: 60, window: 8 };
const FRAMES: u32 = 1024;

/// Blocks of a converter whose clock is `ppm` off, each frame's loss or repetition told by (frame, how many), with stamps that
/// come ten ticks late, one in ten of them up to `late`. What was judged: samples missing, and each block's faults.
fn run(blocks: u64, ppm: f64, lost: &[(u64, i64)], late: u32) -> (i64, Vec<Faults>) {
    let mut timeline = Timeline::new(CLOCK);
    let (mut missing, mut faults, mut state) = (0, Vec::new(), 1u64);
    // A stamp that wraps on the way.
    let start = f64::from(u32::MAX) - 1e6;
    for block in 1..=blocks {
        let counted = block * u64::from(FRAMES);
        let gone: i64 = lost.iter().filter(|(at, _)| *at < counted).map(|(_, n)| n).sum();
        let true_frames = counted as f64 + gone as f64;
        // Numerical Recipes' generator, from memory.
        state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        let chance = (state >> 33) as u32;
        let delay = if chance.is_multiple_of(10) { chance / 10 % late } else { chance % 10 };
        let ticks = start + true_frames * 250.0 * (1.0 - ppm * 1e-6) + f64::from(delay);
        let judged = timeline.block((ticks as u64) as u32, FRAMES);
        missing += judged.missing;
        faults.push(judged.faults);
    }
    (missing, faults)
}

fn first(faults: &[Faults], fault: Faults) -> Option<usize> {
    faults.iter().position(|f| f.has(fault))
}

#[test]
fn steady_clocks_tell_nothing() {
    for ppm in [0.0, 20.0, -50.0] {
        let (missing, faults) = run(80_000, ppm, &[], 2000);
        assert_eq!(missing, 0, "{ppm}");
        assert!(
            faults.iter().all(|f| f.is_none()),
            "{ppm}: {:?}",
            faults.iter().find(|f| !f.is_none())
        );
    }
}

/// From the first that is flagged to the last that is not; at the worst within 60 blocks, an output interval of the vault sensors being 78.
#[test]
fn drifts_are_told() {
    for ppm in [100.0, -100.0, 70.0, -70.0, 500.0, -3000.0] {
        let (missing, faults) = run(400, ppm, &[], 500);
        assert_eq!(missing, 0, "{ppm}");
        let soon = first(&faults, Faults::CLOCK).expect("told");
        assert!(soon < 60, "{ppm}: {soon}");
        assert!(faults[soon..].iter().step_by(8).all(|f| f.has(Faults::CLOCK)), "{ppm}");
        assert_eq!(first(&faults, Faults::MISSED), None, "{ppm}");
    }
}

#[test]
fn samples_missing_or_twice_are_counted() {
    for at in [9_999, 20_480, 20_481, 25_000, 300_000] {
        for n in [1, -1, 2, -3, 40] {
            for ppm in [0.0, 30.0, -30.0] {
                let (missing, faults) = run(600, ppm, &[(at, n)], 500);
                assert_eq!(missing, n, "at {at}, {ppm} ppm");
                let fault = if n > 0 { Faults::MISSED } else { Faults::REPEATED };
                let soon = first(&faults, fault).expect("told") as u64 - at / u64::from(FRAMES);
                assert!(soon <= 32, "{n} at {at}: {soon} blocks");
                assert_eq!(faults.iter().filter(|f| f.has(fault)).count(), 1);
            }
        }
    }
    // Twice in turn, and one after the other.
    let (missing, _) =
        run(600, 0.0, &[(100_000, 1), (108_192, 1), (200_000, 2), (400_000, -1)], 500);
    assert_eq!(missing, 3);
}

#[test]
fn no_clock_no_judgement() {
    let mut timeline = Timeline::new(Clock::NONE);
    for stamp in [0, 5, 1 << 30, 3] {
        assert_eq!(timeline.block(stamp, 1), Default::default());
    }
}

#[test]
fn restart_forgets() {
    let mut timeline = Timeline::new(CLOCK);
    (0..20).for_each(|n| assert_eq!(timeline.block(n * 256_000, FRAMES).missing, 0));
    timeline.restart();
    // Another time altogether.
    (0..40).for_each(|n| assert_eq!(timeline.block(77 + n * 256_000, FRAMES), Default::default()));
}

proptest! {
    /// A counter of any width: losses below half its span, repetitions of one.
    #[test]
    fn counters(bits in 2u32..=16, start: u32, steps in prop::collection::vec(-1i64..1000, 1..50)) {
        let span = 1u64 << bits;
        let mut counter = Counter::new(span);
        let mut true_number = u64::from(start);
        let told = |n: u64| (n % span) as u32;
        prop_assert_eq!(counter.missing(told(true_number)), 0);
        for step in steps {
            let step = step.min(span as i64 / 2 - 1);
            true_number = true_number.wrapping_add_signed(1 + step);
            prop_assert_eq!(counter.missing(told(true_number)), step);
        }
    }
}

#[test]
fn no_counter_misses_nothing() {
    let mut counter = Counter::new(1);
    assert!((0..5).all(|_| counter.missing(0) == 0));
}
