//! A bare loop: a task polls the data-ready line, reads frames over SPI, gathers them in blocks, and hands these to the intake. The bus
//! and the line are a made-up converter's here; on a board they are the HAL's.
//!
//! cargo run --package quietgap-acquisition --example bare_loop

use embedded_hal::{digital, spi};
use quietgap_acquisition::blocks::Block;
use quietgap_acquisition::converter::Converter;
use quietgap_acquisition::intake::Event;
use quietgap_acquisition::layout::{Check, Layout, Order, Status};
use quietgap_acquisition::timeline::{Clock, Counter};
use quietgap_acquisition::watch::Limits;
use quietgap_acquisition::{Faults, Intake, Settings};
use quietgap_core::config::*;
use quietgap_core::word::{Coefficient, Word};
use quietgap_core::{CarrierRatio, Health, Readout};
use std::convert::Infallible;
use std::error::Error;

/// One channel of 24 bits, a byte of status ahead of it whose lower four bits count frames, and a check behind.
const LAYOUT: Layout = Layout {
    slot_bytes: 3,
    order: Order::Big,
    status: Some(Status { bytes: 1, mask: 0xF0, good: 0xA0, counter: 0x0F }),
    check: Some(Check::Crc8(&crc::CRC_8_SMBUS)),
    ..Layout::native(1, 24)
};
/// Frames of a block.
const FRAMES: usize = 8;

fn main() -> Result<(), Box<dyn Error>> {
    let carrier = CarrierRatio::coherent(1, 4)?;
    let mut readout: Readout<2, 1, 2, 0, 0> = readout(carrier)?;
    // No stamps: a loop that polls has no better clock than the converter. It counts the frames that it sends.
    let limits = Limits { looks: 8, least_spread: 4, least_difference: 0, most_step: 0 };
    let mut intake = Intake::<1>::new(Settings { clock: Clock::NONE, limits, carrier });
    let layout = LAYOUT.checked()?;
    let mut counter = Counter::new(layout.counter_span());
    let bus = MadeUp { sent: 0, swallows: 5000 };
    let mut converter = Converter::new(bus, Ready, layout, true);

    let (mut codes, mut held, mut first) = ([0; FRAMES], 0, 0);
    let mut take = |codes: &mut [i32], first: u64, before: i64, faults: Faults| {
        intake.note(faults);
        intake.missing(before);
        intake.take(&Block { codes, first, stamp: 0, lost: 0 }, &mut readout, &mut |event| {
            match event {
                Event::Gap(from, to) => println!("samples {from} to {to} are missing"),
                Event::Reading(reading, found, _) if !reading.health.is_ok() => {
                    let faults: Vec<&str> = found.names().collect();
                    let settling = reading.health.has(Health::SETTLING);
                    println!(
                        "sample {}: {faults:?}, settling {settling}",
                        reading.half_samples / 2
                    );
                }
                Event::Reading(..) => {}
            }
        });
    };
    let mut faults = Faults::NONE;
    for _ in 0..10_000 {
        let mut frame = [0];
        let told = converter.read(&mut frame, 1000)?;
        let missing = counter.missing(told.counter);
        faults |= told.faults;
        if missing != 0 || held == FRAMES {
            // What came before goes to the chain before what is missing is told.
            take(&mut codes[..held], first, 0, std::mem::take(&mut faults));
            first += held as u64;
            held = 0;
            if missing != 0 {
                take(&mut [], first, missing, Faults::NONE);
            }
        }
        codes[held] = frame[0];
        held += 1;
    }
    println!("{} readings", readout.counts().readings());
    Ok(())
}

/// A converter that swallows three frames once.
struct MadeUp {
    sent: u32,
    swallows: u32,
}

impl spi::ErrorType for MadeUp {
    type Error = Infallible;
}

impl spi::SpiDevice for MadeUp {
    fn transaction(&mut self, operations: &mut [spi::Operation<'_, u8>]) -> Result<(), Infallible> {
        for operation in operations {
            if let spi::Operation::Read(bytes) = operation {
                if self.sent == self.swallows {
                    self.sent += 3;
                }
                let code =
                    [500_000, 0, -500_000, 0][self.sent as usize % 4] + (self.sent % 7) as i32;
                let [_, code @ ..] = code.to_be_bytes();
                bytes[0] = 0xA0 | (self.sent & 0x0F) as u8;
                bytes[1..4].copy_from_slice(&code);
                bytes[4] = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS).checksum(&bytes[..4]);
                self.sent += 1;
            }
        }
        Ok(())
    }
}

/// A line that is always ready.
struct Ready;

impl digital::ErrorType for Ready {
    type Error = Infallible;
}

impl digital::InputPin for Ready {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}

/// One difference bridge.
fn readout(carrier: CarrierRatio) -> Result<Readout<2, 1, 2, 0, 0>, quietgap_core::ConfigError> {
    let wiring = BridgeKind::Difference { channel: 0, full: Word::lit("0.5") };
    let bridge = BridgeConfig::plain(wiring, 2_000_000_000_000_000);
    Readout::new(&ReadoutConfig {
        code_bits: 24,
        carrier,
        front_end: FrontEndConfig {
            order: 2,
            ratio: 64,
            differential_delay: 1,
            path: Path::Auto,
            pruned_bits: 0,
        },
        firs: &[],
        alignments: &[Alignment::NONE],
        monitor: None,
        bridges: &[bridge],
        cross_coupling: &[],
        electrodes: &[],
        axes: AxesConfig {
            axes: 1,
            solve: &[Coefficient::ONE],
            geometry: &[Coefficient::ONE],
            residual_am: 1,
        },
    })
}
