//! An async task: it waits for the data-ready line, reads a frame, gathers frames in blocks, and hands these to the intake; meanwhile
//! other tasks run. The bus and the line are made up here, as is the executor, which only ever asks again.
//!
//! cargo run --package quietgap-acquisition --example async_task

use embedded_hal_async::{digital::Wait, spi};
use quietgap_acquisition::blocks::Block;
use quietgap_acquisition::converter::Converter;
use quietgap_acquisition::intake::Event;
use quietgap_acquisition::layout::{Layout, Order};
use quietgap_acquisition::timeline::Clock;
use quietgap_acquisition::watch::Limits;
use quietgap_acquisition::{Intake, Settings};
use quietgap_core::{CarrierRatio, Chain, Health, Reading};
use std::convert::Infallible;
use std::pin::{Pin, pin};
use std::task::{Context, Poll, Waker};

const CHANNELS: usize = 2;
/// Frames of a block.
const FRAMES: usize = 16;

async fn acquire(
    mut converter: Converter<MadeUp, Line>,
    mut intake: Intake<CHANNELS>,
    mut chain: Sums,
) {
    let mut first = 0;
    for _ in 0..4 {
        let mut codes = [0; FRAMES * CHANNELS];
        for frame in codes.as_chunks_mut::<CHANNELS>().0 {
            // An executor's own time-out goes around this: a dead converter never turns its line.
            match converter.next(frame).await {
                Ok(told) => intake.note(told.faults),
                Err(error) => return println!("{error}"),
            }
        }
        let block = Block { codes: &mut codes, first, stamp: 0, lost: 0 };
        intake.take(&block, &mut chain, &mut |event| {
            if let Event::Reading(reading, faults, _) = event {
                println!("{} {:?} {faults:?}", reading.residual_am, reading.health);
            }
        });
        first += FRAMES as u64;
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let layout = Layout { order: Order::Big, slot_bytes: 3, ..Layout::native(2, 24) }.checked()?;
    let limits = Limits { looks: 2, least_spread: 0, least_difference: 0, most_step: 0 };
    let carrier = CarrierRatio::coherent(1, 4)?;
    let intake = Intake::new(Settings { clock: Clock::NONE, limits, carrier });
    let mut task = pin!(acquire(Converter::new(MadeUp(0), Line, layout, false), intake, Sums(0)));
    let mut context = Context::from_waker(Waker::noop());
    while task.as_mut().poll(&mut context).is_pending() {}
    Ok(())
}

/// Stands for a board's readout: a reading a block, of the sum of its codes.
struct Sums(i64);

impl Chain for Sums {
    fn seek(&mut self, _: u64) {
        self.0 = 0;
    }
    fn flag(&mut self, _: Health) {}
    fn push(&mut self, codes: &[i32], sink: &mut dyn FnMut(&Reading)) {
        self.0 += codes.iter().map(|code| i64::from(*code)).sum::<i64>();
        sink(&Reading { residual_am: self.0, ..Reading::default() });
    }
}

/// Codes that count.
struct MadeUp(u8);

impl spi::ErrorType for MadeUp {
    type Error = Infallible;
}

impl spi::SpiDevice for MadeUp {
    async fn transaction(
        &mut self,
        operations: &mut [spi::Operation<'_, u8>],
    ) -> Result<(), Infallible> {
        for operation in operations {
            if let spi::Operation::Read(bytes) = operation {
                bytes.fill(0);
                [bytes[2], bytes[5]] = [self.0, 1];
                self.0 += 1;
            }
        }
        Ok(())
    }
}

/// A line that turns when it is asked the second time.
struct Line;

impl embedded_hal::digital::ErrorType for Line {
    type Error = Infallible;
}

/// Pending once.
struct Once(bool);

impl Future for Once {
    type Output = Result<(), Infallible>;
    fn poll(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Self::Output> {
        if std::mem::replace(&mut self.0, true) { Poll::Ready(Ok(())) } else { Poll::Pending }
    }
}

impl Wait for Line {
    async fn wait_for_high(&mut self) -> Result<(), Infallible> {
        Once(false).await
    }
    async fn wait_for_low(&mut self) -> Result<(), Infallible> {
        Once(false).await
    }
    async fn wait_for_rising_edge(&mut self) -> Result<(), Infallible> {
        Once(false).await
    }
    async fn wait_for_falling_edge(&mut self) -> Result<(), Infallible> {
        Once(false).await
    }
    async fn wait_for_any_edge(&mut self) -> Result<(), Infallible> {
        Once(false).await
    }
}
