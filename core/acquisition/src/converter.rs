//! **Converter over SPI**: one frame at each turn of its data-ready line, for rates at which a task can wait for a line: a bench, a
//! first test. What a DMA reads goes through [`crate::blocks`] instead.

use crate::layout::{Layout, MAX_BYTES, Told};
use embedded_hal::digital::InputPin;
use embedded_hal::spi::SpiDevice;
use embedded_hal_async::digital::Wait;
use embedded_hal_async::spi::SpiDevice as AsyncSpiDevice;

/// What kept a frame from coming.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error<S, P> {
    /// Of the bus.
    Spi(S),
    /// Of the data-ready line.
    Pin(P),
    /// The line did not turn within the polls allowed.
    NotReady,
    /// The frame's check was another one, or its codes did not fit.
    Frame,
}

impl<S: core::fmt::Debug, P: core::fmt::Debug> core::fmt::Display for Error<S, P> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Spi(error) => write!(f, "converter's bus: {error:?}"),
            Self::Pin(error) => write!(f, "converter's data-ready line: {error:?}"),
            Self::NotReady => write!(f, "converter: no sample within the polls allowed"),
            Self::Frame => write!(f, "converter: a frame whose check is another one"),
        }
    }
}

impl<S: core::fmt::Debug, P: core::fmt::Debug> core::error::Error for Error<S, P> {}

/// A converter on a bus of its own chip select, with its data-ready line.
#[derive(Debug)]
pub struct Converter<S, P> {
    spi: S,
    ready: P,
    layout: Layout,
    /// The line's level while a sample waits.
    ready_is_high: bool,
}

impl<S, P> Converter<S, P> {
    /// A converter whose line is at `ready_is_high` while a sample waits.
    pub const fn new(spi: S, ready: P, layout: Layout, ready_is_high: bool) -> Self {
        Self { spi, ready, layout, ready_is_high }
    }

    /// Gives bus and line back.
    pub fn release(self) -> (S, P) {
        (self.spi, self.ready)
    }
}

impl<S: SpiDevice, P: InputPin> Converter<S, P> {
    /// Waits for a sample, looking at the line at most `polls` times, and reads its frame's codes.
    ///
    /// # Errors
    /// [`Error`]; no code is written then.
    pub fn read(
        &mut self,
        codes: &mut [i32],
        polls: u32,
    ) -> Result<Told, Error<S::Error, P::Error>> {
        let mut left = polls;
        while self.ready.is_high().map_err(Error::Pin)? != self.ready_is_high {
            left = left.saturating_sub(1);
            if left == 0 {
                return Err(Error::NotReady);
            }
        }
        let mut bytes = [0; MAX_BYTES];
        let frame = bytes.get_mut(..self.layout.bytes()).ok_or(Error::Frame)?;
        self.spi.read(frame).map_err(Error::Spi)?;
        self.layout.codes(frame, codes).ok_or(Error::Frame)
    }
}

impl<S: AsyncSpiDevice, P: Wait> Converter<S, P> {
    /// Waits for the line to turn, and reads the frame's codes. How long it may take is the executor's to say: a dead converter
    /// never turns its line.
    ///
    /// # Errors
    /// [`Error`], never [`Error::NotReady`]; no code is written then.
    pub async fn next(&mut self, codes: &mut [i32]) -> Result<Told, Error<S::Error, P::Error>> {
        if self.ready_is_high {
            self.ready.wait_for_high().await.map_err(Error::Pin)?;
        } else {
            self.ready.wait_for_low().await.map_err(Error::Pin)?;
        }
        let mut bytes = [0; MAX_BYTES];
        let frame = bytes.get_mut(..self.layout.bytes()).ok_or(Error::Frame)?;
        self.spi.read(frame).await.map_err(Error::Spi)?;
        self.layout.codes(frame, codes).ok_or(Error::Frame)
    }
}
