//! **Frames of a converter**: where the codes of one sampling instant stand in the bytes that it sends, described by a value.
//!
//! ```text
//! status (0 to 4 bytes)   slot of channel 0   slot of channel 1   ...   check (0 to 2 bytes)
//! ```
//!
//! A slot holds a code, and beside it perhaps the number of its channel. All words stand most significant byte first, as SPI
//! converters send them, or last.

use crate::faults::Faults;
use crc::{Algorithm, Crc, NoTable};

/// Most channels of a frame.
pub const MAX_CHANNELS: usize = 32;
/// Most bytes of a frame.
pub const MAX_BYTES: usize = 4 + 4 * MAX_CHANNELS + 2;

/// Where in its slot a code stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Justified {
    /// Its most significant bit is the slot's.
    Left,
    /// Its least significant bit is the slot's.
    Right,
}

/// What stands for zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// Two's complement.
    Signed,
    /// Zero is the middle of the range: offset binary.
    Offset,
}

/// Which byte of a word comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// The most significant.
    Big,
    /// The least significant.
    Little,
}

/// A word ahead of the slots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Status {
    /// Its bytes, 1 to 4.
    pub bytes: u8,
    /// Bits that must stand as in `good`.
    pub mask: u32,
    /// How they stand while all is well.
    pub good: u32,
    /// Bits of a number that rises by one from frame to frame, next to each other; 0 for none.
    pub counter: u32,
}

/// A check over all bytes before it, by the parameters that its data sheet gives (`crc`'s names).
#[derive(Clone, Copy, Debug)]
pub enum Check {
    /// One byte.
    Crc8(&'static Algorithm<u8>),
    /// Two bytes, in the frame's order.
    Crc16(&'static Algorithm<u16>),
}

/// A converter's frame.
#[derive(Clone, Copy, Debug)]
pub struct Layout {
    /// Channels, 1 to 32.
    pub channels: u8,
    /// Bytes of a slot, 1 to 4.
    pub slot_bytes: u8,
    /// Bits of a code, 8 to 32, at most those of the slot.
    pub code_bits: u8,
    /// Where in its slot the code stands.
    pub justified: Justified,
    /// What stands for zero.
    pub coding: Coding,
    /// Which byte of a word comes first.
    pub order: Order,
    /// Bits of the slot that hold the number of its channel, next to each other; 0 for none.
    pub channel_tag: u32,
    /// A word ahead of the slots.
    pub status: Option<Status>,
    /// A check behind them.
    pub check: Option<Check>,
}

/// What of a layout cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LayoutError {
    /// What.
    pub quantity: &'static str,
    /// As given.
    pub given: u32,
    /// Least allowed.
    pub min: u32,
    /// Most allowed.
    pub max: u32,
}

impl core::fmt::Display for LayoutError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let Self { quantity, given, min, max } = self;
        write!(f, "converter's frame: {quantity} is {given}, allowed {min} to {max}")
    }
}

impl core::error::Error for LayoutError {}

/// What a frame told beside its codes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Told {
    /// Its own number, modulo [`Layout::counter_span`]; 0 where it has none.
    pub counter: u32,
    /// [`Faults::FRAME`] for a status that is not good, [`Faults::SWAPPED`] for a channel in another's place.
    pub faults: Faults,
}

impl Layout {
    /// 32-bit words, sign extended, least significant byte first: what a DMA of a little-endian machine puts into memory as
    /// codes. Blocks of these go to the chain as they stand.
    #[must_use]
    pub const fn native(channels: u8, code_bits: u8) -> Self {
        Self {
            channels,
            slot_bytes: 4,
            code_bits,
            justified: Justified::Right,
            coding: Coding::Signed,
            order: Order::Little,
            channel_tag: 0,
            status: None,
            check: None,
        }
    }

    /// The same layout, if there can be such a one.
    ///
    /// # Errors
    /// [`LayoutError`]: what, as given, and what is allowed.
    pub const fn checked(self) -> Result<Self, LayoutError> {
        const fn within(
            quantity: &'static str,
            given: u32,
            min: u32,
            max: u32,
        ) -> Result<(), LayoutError> {
            if given < min || given > max {
                Err(LayoutError { quantity, given, min, max })
            } else {
                Ok(())
            }
        }
        macro_rules! demand {
            ($($given:tt)*) => {
                if let Err(error) = within($($given)*) {
                    return Err(error);
                }
            };
        }
        demand!("channels", self.channels as u32, 1, MAX_CHANNELS as u32);
        demand!("bytes of a slot", self.slot_bytes as u32, 1, 4);
        let slot_bits = 8 * self.slot_bytes as u32;
        demand!("bits of a code", self.code_bits as u32, 8, slot_bits);
        let beside = low_bits(slot_bits) & !self.code_mask();
        demand!("bits of the channel's number within the code", self.channel_tag & !beside, 0, 0);
        demand!("holes in the channel's number", holes(self.channel_tag), 0, 0);
        if let Some(status) = self.status {
            demand!("bytes of the status", status.bytes as u32, 1, 4);
            let all = low_bits(8 * status.bytes as u32);
            demand!("status bits beyond its word", (status.mask | status.counter) & !all, 0, 0);
            demand!("good bits that are not masked", status.good & !status.mask, 0, 0);
            demand!("counter bits that are masked", status.counter & status.mask, 0, 0);
            demand!("holes in the counter", holes(status.counter), 0, 0);
        }
        Ok(self)
    }

    /// Bytes of a frame.
    #[must_use]
    pub const fn bytes(&self) -> usize {
        let status = match self.status {
            Some(status) => status.bytes as usize,
            None => 0,
        };
        let check = match self.check {
            Some(Check::Crc8(_)) => 1,
            Some(Check::Crc16(_)) => 2,
            None => 0,
        };
        status + self.channels as usize * self.slot_bytes as usize + check
    }

    /// Frames after which a frame's own number begins anew, a power of two; 1 where it has none.
    #[must_use]
    pub const fn counter_span(&self) -> u64 {
        match self.status {
            Some(status) => 1 << status.counter.count_ones(),
            None => 1,
        }
    }

    /// Codes of one frame of [`Self::bytes`] bytes, sign extended.
    ///
    /// `None`, and no code written, where the check is another one, bytes are missing, or there is no room for the codes.
    pub fn codes(&self, frame: &[u8], codes: &mut [i32]) -> Option<Told> {
        let frame = self.sound(frame)?;
        let ahead = self.status.map_or(0, |status| status.bytes.into());
        let (status, slots) = frame.split_at_checked(ahead)?;
        let slots = slots.chunks_exact(self.slot_bytes.max(1).into());
        let codes = codes.get_mut(..self.channels.into())?;
        let mut swapped = false;
        for ((channel, slot), code) in (0u32..).zip(slots).zip(codes) {
            let word = self.word(slot);
            *code = self.code(word);
            swapped |= self.channel_tag != 0
                && field(word, self.channel_tag) != channel & field(u32::MAX, self.channel_tag);
        }
        let mut told = Told { counter: 0, faults: Faults::when(Faults::SWAPPED, swapped) };
        if let Some(status_is) = self.status {
            let word = self.word(status);
            told.counter = field(word, status_is.counter);
            told.faults |= Faults::when(Faults::FRAME, word & status_is.mask != status_is.good);
        }
        Some(told)
    }

    /// What of a whole frame the check is over, if it is right.
    fn sound<'a>(&self, frame: &'a [u8]) -> Option<&'a [u8]> {
        if frame.len() != self.bytes() {
            return None;
        }
        match self.check {
            None => Some(frame),
            Some(Check::Crc8(algorithm)) => {
                let (said, checked) = frame.split_last()?;
                let sum = Crc::<u8, NoTable>::new(algorithm).checksum(checked);
                (sum == *said).then_some(checked)
            }
            Some(Check::Crc16(algorithm)) => {
                let (checked, said) = frame.split_last_chunk::<2>()?;
                let sum = Crc::<u16, NoTable>::new(algorithm).checksum(checked);
                (u32::from(sum) == self.word(said)).then_some(checked)
            }
        }
    }

    /// A word of up to four bytes.
    fn word(&self, bytes: &[u8]) -> u32 {
        let join = |word: u32, byte: &u8| word << 8 | u32::from(*byte);
        match self.order {
            Order::Big => bytes.iter().fold(0, join),
            Order::Little => bytes.iter().rev().fold(0, join),
        }
    }

    /// Bits of a slot that hold the code.
    const fn code_mask(&self) -> u32 {
        low_bits(self.code_bits as u32) << self.below_code()
    }

    /// Bits of a slot below the code.
    const fn below_code(&self) -> u32 {
        match self.justified {
            Justified::Left => 8 * self.slot_bytes as u32 - self.code_bits as u32,
            Justified::Right => 0,
        }
    }

    /// The code in a slot, sign extended: to the top of the word, and down again.
    const fn code(&self, slot: u32) -> i32 {
        let unused = 32 - self.code_bits as u32;
        let top = slot >> self.below_code() << unused;
        let top = match self.coding {
            Coding::Signed => top,
            Coding::Offset => top ^ 1 << 31,
        };
        top as i32 >> unused
    }
}

const fn low_bits(bits: u32) -> u32 {
    if bits >= 32 { u32::MAX } else { (1 << bits) - 1 }
}

/// Bits of `word` under `mask`, moved down to its lowest.
const fn field(word: u32, mask: u32) -> u32 {
    if mask == 0 { 0 } else { (word & mask) >> mask.trailing_zeros() }
}

/// Bits that `mask` leaves out between its lowest and its highest.
const fn holes(mask: u32) -> u32 {
    let ones = field(u32::MAX, mask);
    32 - ones.leading_zeros() - mask.count_ones()
}
