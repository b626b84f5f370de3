//! **A board at work**, without what is one board's alone: blocks into the chain, what comes of them as frames of telemetry.

use quietgap_acquisition::blocks::Block;
use quietgap_acquisition::intake::Event;
use quietgap_acquisition::timeline::Clock;
use quietgap_acquisition::watch::Limits;
use quietgap_acquisition::{Faults, Intake, Settings};
use quietgap_core::{CarrierRatio, Chain, Health, HealthCounts};
use quietgap_telemetry::Wire;
use quietgap_telemetry::frame::Sender;
use quietgap_telemetry::message::{Acquisition, Counts, Gap, Message, Reading};

/// Of the vault's sensors, 24-bit codes at 800 kS/s in blocks of so many frames; stamps of a 200 MHz counter. A window takes some
/// ten milliseconds.
#[must_use]
pub const fn settings(frames: usize) -> Settings {
    let clock = Clock {
        ticks_hz: 200_000_000,
        rate_millihertz: 800_000_000,
        most_ppm: 60,
        window: match 8192usize.checked_div(frames) {
            Some(blocks) => blocks as u16,
            None => 1,
        },
    };
    let limits = Limits { looks: 40, least_spread: 50, least_difference: 100, most_step: 4000 };
    // The vault's carrier: 80 kHz at 800 kS/s.
    let carrier = match CarrierRatio::coherent(1, 10) {
        Ok(carrier) => carrier,
        Err(_) => panic!("a carrier"),
    };
    Settings { clock, limits, carrier }
}

/// Readings between two counts of faults.
const COUNTS: u32 = 100;

/// How things stand, for a log.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct State {
    /// Of the last reading.
    pub health: Health,
    /// What came with it, and the channels it came in.
    pub faults: Faults,
    pub channels: u32,
    /// Since the start.
    pub lost_blocks: u64,
}

/// From blocks to frames.
pub struct Station<const CHANNELS: usize> {
    intake: Intake<CHANNELS>,
    sender: Sender,
    readings: u32,
    state: State,
}

impl<const CHANNELS: usize> Station<CHANNELS> {
    /// Before the first block.
    #[must_use]
    pub const fn new(settings: Settings) -> Self {
        let state = State { health: Health::OK, faults: Faults::NONE, channels: 0, lost_blocks: 0 };
        Self { intake: Intake::new(settings), sender: Sender { next: 0 }, readings: 0, state }
    }

    /// How things stand.
    #[must_use]
    pub const fn state(&self) -> State {
        State { lost_blocks: self.intake.lost_blocks(), ..self.state }
    }

    /// Frames so far.
    #[must_use]
    pub const fn sender(&self) -> Sender {
        self.sender
    }

    /// Says something.
    pub fn say(&mut self, message: &Message, line: &mut dyn FnMut(&Wire)) {
        say(&mut self.sender, message, line);
    }

    /// Takes a block: `board` makes readings of it, `line` gets their frames.
    pub fn take<C: Chain>(
        &mut self,
        block: &Block<'_>,
        board: &mut C,
        counts: impl Fn(&C) -> &HealthCounts,
        line: &mut dyn FnMut(&Wire),
    ) {
        let Self { intake, sender, readings, state } = self;
        let interval = block.codes.len().checked_div(CHANNELS).unwrap_or(0) as u64;
        let behind = intake.next_sample() + interval;
        intake.take(block, board, &mut |event| {
            if let Event::Reading(reading, faults, channels) = event {
                *readings += 1;
                *state = State { health: reading.health, faults, channels, lost_blocks: 0 };
            }
            report(sender, &event, behind, line);
        });
        if *readings >= COUNTS {
            *readings = 0;
            let mut counts = Counts::from(counts(board));
            counts.lost_blocks = intake.lost_blocks();
            say(sender, &Message::Counts(counts), line);
        }
    }
}

/// What comes of a block that ends before sample `behind`.
#[inline(never)]
fn report(sender: &mut Sender, event: &Event<'_>, behind: u64, line: &mut dyn FnMut(&Wire)) {
    match *event {
        Event::Gap(from_sample, to_sample) => {
            say(sender, &Message::Gap(Gap { from_sample, to_sample }), line);
        }
        Event::Reading(reading, faults, channels) => {
            if !faults.is_none() {
                let told = Acquisition { sample: behind, faults: faults.bits(), channels };
                say(sender, &Message::Acquisition(told), line);
            }
            say(sender, &Message::Reading(Reading::from(reading)), line);
        }
    }
}

/// The next frame.
#[inline(never)]
fn say(sender: &mut Sender, message: &Message, line: &mut dyn FnMut(&Wire)) {
    if let Some(wire) = sender.wire(message) {
        line(&wire);
    }
}
