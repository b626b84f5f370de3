//! **Check.** CRC-32 of IEEE 802.3, as five bytes that are never zero: seven bits in each of four, least significant first, the last
//! four in the fifth, the top bit set in all.
//!
//! Bits go through the line least significant first, and the reflected CRC's bits follow those of the data in the same order. So
//! any burst of errors within 32 bits of the line is one within 32 bits of data and CRC, or touches a top bit: a CRC of degree
//! 32 misses none of the former (W. W. Peterson and D. T. Brown, Proc. IRE 49 (1961) 228, theorem 5, from memory), and the latter is seen
//! as such.

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

/// No table: frames are few, flash is dear.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// Bytes of a check.
pub const BYTES: usize = 5;
const TOP: u8 = 0x80;

/// The check of some bytes.
pub fn digits(bytes: &[u8]) -> [u8; BYTES] {
    let sum = CRC.checksum(bytes);
    core::array::from_fn(|n| TOP | (sum >> (7 * n)) as u8 & !TOP)
}
