//! The chain of one sensor.

use crate::reading::{quietgap_counts, quietgap_reading};
use crate::status::{QUIETGAP_NULL, QUIETGAP_OK, QUIETGAP_ROOM, place};
use core::ffi::c_void;
use quietgap_core::Health;
use quietgap_telemetry::message;
use sensor::Board;

/// A readout: the caller's memory, in which nothing is the caller's.
#[allow(non_camel_case_types)]
pub struct quietgap_board(Board);

/// Bytes that a readout takes.
#[unsafe(no_mangle)]
pub extern "C" fn quietgap_board_bytes() -> usize {
    size_of::<quietgap_board>()
}

/// The alignment that its memory needs.
#[unsafe(no_mangle)]
pub extern "C" fn quietgap_board_alignment() -> usize {
    align_of::<quietgap_board>()
}

/// Converter channels of a frame.
#[unsafe(no_mangle)]
pub extern "C" fn quietgap_channels() -> usize {
    sensor::settings::CHANNELS
}

/// Puts a readout into `memory` and loads the plan that it was compiled with; it is `*board` then, until the memory is used for
/// something else. QUIETGAP_NULL, QUIETGAP_MEMORY.
///
/// # Safety
/// `memory` is null or points to `bytes` bytes that nothing else uses, `board` is null or points to a pointer.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_begin(
    memory: *mut c_void,
    bytes: usize,
    board: *mut *mut quietgap_board,
) -> i32 {
    // Safety: the caller's promise.
    let Some(to) = (unsafe { board.as_mut() }) else { return QUIETGAP_NULL };
    // Safety: the caller's promise.
    match unsafe { place(memory, bytes, quietgap_board(Board::IDLE)) } {
        Ok(place) => {
            *to = place;
            // Safety: it has just been put there.
            unsafe { quietgap_board_load(place) }
        }
        Err(status) => status,
    }
}

/// Loads the plan again: after a `memory` fault. All that was is forgotten, the next code is of channel 0 in frame 0. QUIETGAP_NULL.
///
/// # Safety
/// `board` is null, or one that was begun and that no other thread or interrupt uses meanwhile: so for all functions here.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_load(board: *mut quietgap_board) -> i32 {
    // Safety: the caller's promise.
    let Some(board) = (unsafe { board.as_mut() }) else { return QUIETGAP_NULL };
    board.0.load();
    QUIETGAP_OK
}

/// Forgets all codes; the next frame is number `frame` of the run. QUIETGAP_NULL.
///
/// # Safety
/// See `quietgap_board_load`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_seek(board: *mut quietgap_board, frame: u64) -> i32 {
    // Safety: the caller's promise.
    let Some(board) = (unsafe { board.as_mut() }) else { return QUIETGAP_NULL };
    board.0.seek(frame);
    QUIETGAP_OK
}

/// Samples since the last reading had faults that were found before the chain: readings carry `acquisition` for as long as these
/// are in the filters. QUIETGAP_NULL.
///
/// # Safety
/// See `quietgap_board_load`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_flag(board: *mut quietgap_board) -> i32 {
    // Safety: the caller's promise.
    let Some(board) = (unsafe { board.as_mut() }) else { return QUIETGAP_NULL };
    board.0.flag(Health::ACQUISITION);
    QUIETGAP_OK
}

/// Takes `count` interleaved codes, a cut frame included, and writes the readings that they complete to `readings`, which has room
/// for `room`; `*made` is how many these were. QUIETGAP_NULL; QUIETGAP_ROOM where more were made than there is room for.
///
/// # Safety
/// See `quietgap_board_load`; `codes` points to `count` codes, or is null and `count` 0; `readings` to `room` readings, or is null
/// and `room` 0; `made` is null or points to a number.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_push(
    board: *mut quietgap_board,
    codes: *const i32,
    count: usize,
    readings: *mut quietgap_reading,
    room: usize,
    made: *mut usize,
) -> i32 {
    // Safety: the caller's promise.
    let (Some(board), Some(made)) = (unsafe { (board.as_mut(), made.as_mut()) }) else {
        return QUIETGAP_NULL;
    };
    *made = 0;
    if codes.is_null() && count > 0 || readings.is_null() && room > 0 {
        return QUIETGAP_NULL;
    }
    let codes = if count == 0 {
        &[]
    } else {
        // Safety: not null, and the caller's promise.
        unsafe { core::slice::from_raw_parts(codes, count) }
    };
    let mut at = 0;
    board.0.push(codes, &mut |reading| {
        if at < room {
            let reading = quietgap_reading::from(&message::Reading::from(reading));
            // Safety: within the room that the caller promised.
            unsafe { readings.add(at).write(reading) };
        }
        at += 1;
    });
    *made = at;
    if at > room { QUIETGAP_ROOM } else { QUIETGAP_OK }
}

/// Readings and faults so far. QUIETGAP_NULL.
///
/// # Safety
/// See `quietgap_board_load`; `counts` is null or points to counts.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_counts(
    board: *const quietgap_board,
    counts: *mut quietgap_counts,
) -> i32 {
    // Safety: the caller's promise.
    let (Some(board), Some(counts)) = (unsafe { (board.as_ref(), counts.as_mut()) }) else {
        return QUIETGAP_NULL;
    };
    *counts = board.0.counts().into();
    QUIETGAP_OK
}

/// Sum of all that the plan set, as it stands in memory now; 0 for a null pointer.
///
/// # Safety
/// See `quietgap_board_load`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_checksum(board: *const quietgap_board) -> u32 {
    // Safety: the caller's promise.
    unsafe { board.as_ref() }.map_or(0, |board| board.0.checksum().to_bits())
}

/// Frames from one reading to the next; 0 for a null pointer.
///
/// # Safety
/// See `quietgap_board_load`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn quietgap_board_interval(board: *const quietgap_board) -> u64 {
    // Safety: the caller's promise.
    unsafe { board.as_ref() }.map_or(0, |board| board.0.interval())
}
