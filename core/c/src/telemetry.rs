//! What is said over the line (`docs/telemetry.md`).

use crate::reading::quietgap_reading;
use crate::status::{QUIETGAP_NULL, QUIETGAP_OK, QUIETGAP_ROOM, place};
use core::ffi::c_void;
use quietgap_telemetry::frame::{LONGEST_WIRE, wire};
use quietgap_telemetry::message::{Answer, Command, Message, Outcome};
use quietgap_telemetry::{Decoder, Wire};

/// Most bytes of a frame.
pub const QUIETGAP_LONGEST: usize = 261;

const _: () = assert!(QUIETGAP_LONGEST == LONGEST_WIRE);

/// Nothing has ended with this byte.
pub const QUIETGAP_NOTHING: u8 = 0;
/// A reading.
pub const QUIETGAP_READING: u8 = 1;
/// A command to begin to send readings.
pub const QUIETGAP_START: u8 = 2;
/// A command to send none.
pub const QUIETGAP_STOP: u8 = 3;
/// A command with a label that comes back.
pub const QUIETGAP_MARK: u8 = 4;
/// A command that sets the injection's amplitude.
pub const QUIETGAP_INJECTION: u8 = 5;
/// A sound frame that says something else.
pub const QUIETGAP_OTHER: u8 = 255;

/// What a frame says.
#[derive(Clone, Copy, Debug, Default)]
#[repr(C)]
#[allow(non_camel_case_types)]
pub struct quietgap_said {
    /// QUIETGAP_READING and the like.
    pub kind: u8,
    /// Number of its frame.
    pub number: u32,
    /// A mark's label; the injection's amplitude in millionths of full scale.
    pub value: u32,
    /// A reading.
    pub reading: quietgap_reading,
}

/// Makes frames of bytes: the caller's memory, in which nothing is the caller's.
#[allow(non_camel_case_types)]
pub struct quietgap_decoder(Decoder);

/// Bytes that a decoder takes.
#[unsafe(no_mangle)]
pub extern "C" fn quietgap_decoder_bytes() -> usize {
    size_of::<quietgap_decoder>()
}

/// Puts a decoder into `memory`, whose alignment is that of `uint64_t`; it is `*decoder` then. QUIETGAP_NULL, QUIETGAP_MEMORY.
///
/// # Safety
/// `memory` is null or points to `bytes` bytes that nothing else uses, `decoder` is null or points to a pointer.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_decoder_begin(
    memory: *mut c_void,
    bytes: usize,
    decoder: *mut *mut quietgap_decoder,
) -> i32 {
    // Safety: the caller's promise.
    let Some(to) = (unsafe { decoder.as_mut() }) else { return QUIETGAP_NULL };
    // Safety: the caller's promise.
    match unsafe { place(memory, bytes, quietgap_decoder(Decoder::new())) } {
        Ok(place) => {
            *to = place;
            QUIETGAP_OK
        }
        Err(status) => status,
    }
}

/// Takes a byte of the line; `said->kind` is QUIETGAP_NOTHING where no frame ends with it. QUIETGAP_NULL.
///
/// # Safety
/// `decoder` is null, or one that was begun and that no other thread or interrupt uses meanwhile; `said` is null or points to one.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_decoder_push(
    decoder: *mut quietgap_decoder,
    byte: u8,
    said: *mut quietgap_said,
) -> i32 {
    // Safety: the caller's promise.
    let (Some(decoder), Some(said)) = (unsafe { (decoder.as_mut(), said.as_mut()) }) else {
        return QUIETGAP_NULL;
    };
    *said = quietgap_said::default();
    if let Some(frame) = decoder.0.push(byte) {
        said.number = frame.number;
        said.kind = match frame.message {
            Message::Reading(reading) => {
                said.reading = (&reading).into();
                QUIETGAP_READING
            }
            Message::Command(Command::Start) => QUIETGAP_START,
            Message::Command(Command::Stop) => QUIETGAP_STOP,
            Message::Command(Command::Mark(label)) => {
                said.value = label;
                QUIETGAP_MARK
            }
            Message::Command(Command::Injection(millionths)) => {
                said.value = millionths;
                QUIETGAP_INJECTION
            }
            _ => QUIETGAP_OTHER,
        };
    }
    QUIETGAP_OK
}

/// Frames that were sound, and stretches of the line that were none, so far. QUIETGAP_NULL.
///
/// # Safety
/// See `quietgap_decoder_push`; `frames` and `refused` are null or point to numbers.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_decoder_met(
    decoder: *const quietgap_decoder,
    frames: *mut u64,
    refused: *mut u64,
) -> i32 {
    // Safety: the caller's promise.
    let met = unsafe { (decoder.as_ref(), frames.as_mut(), refused.as_mut()) };
    let (Some(decoder), Some(frames), Some(refused)) = met else { return QUIETGAP_NULL };
    (*frames, *refused) = (decoder.0.met().frames, decoder.0.met().refused());
    QUIETGAP_OK
}

/// Writes a reading as frame `number`, QUIETGAP_LONGEST bytes at most, to `bytes`; `*length` is how many. QUIETGAP_NULL,
/// QUIETGAP_ROOM.
///
/// # Safety
/// `reading` is null or points to one, `bytes` is null or points to `room` bytes, `length` is null or points to a number.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_write_reading(
    number: u32,
    reading: *const quietgap_reading,
    bytes: *mut u8,
    room: usize,
    length: *mut usize,
) -> i32 {
    // Safety: the caller's promise.
    let Some(reading) = (unsafe { reading.as_ref() }) else { return QUIETGAP_NULL };
    let wire = wire(number, &Message::Reading(reading.message()));
    // Safety: the caller's promise.
    unsafe { write(wire, bytes, room, length) }
}

/// Writes the answer to command `command`, met at `sample` and carried out or refused, as frame `number`. QUIETGAP_NULL,
/// QUIETGAP_ROOM.
///
/// # Safety
/// `bytes` is null or points to `room` bytes, `length` is null or points to a number.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_write_answer(
    number: u32,
    command: u32,
    sample: u64,
    refused: bool,
    bytes: *mut u8,
    room: usize,
    length: *mut usize,
) -> i32 {
    let outcome = if refused { Outcome::Refused } else { Outcome::Done };
    let wire = wire(number, &Message::Answer(Answer { command, sample, outcome }));
    // Safety: the caller's promise.
    unsafe { write(wire, bytes, room, length) }
}

/// # Safety
/// `bytes` is null or points to `room` bytes, `length` is null or points to a number.
unsafe fn write(wire: Option<Wire>, bytes: *mut u8, room: usize, length: *mut usize) -> i32 {
    // Safety: the caller's promise.
    let Some(length) = (unsafe { length.as_mut() }) else { return QUIETGAP_NULL };
    *length = 0;
    if bytes.is_null() {
        return QUIETGAP_NULL;
    }
    let Some(wire) = wire.filter(|wire| wire.len() <= room) else { return QUIETGAP_ROOM };
    // Safety: as many bytes as the caller promised, and more; what was made is nobody's but ours.
    unsafe { core::ptr::copy_nonoverlapping(wire.as_ptr(), bytes, wire.len()) };
    *length = wire.len();
    QUIETGAP_OK
}
