//! The C interface called from Rust: what it gives is what the chain and telemetry give, and every pointer, length and alignment that
//! cannot be is refused. Run under the address sanitizer by `tests/c_programs.rs`.

use quietgap::board::*;
use quietgap::reading::*;
use quietgap::status::*;
use quietgap::telemetry::*;
use sensor::settings::CHANNELS;
use std::ffi::c_void;
use std::ptr::{null, null_mut};

/// Memory of a length, at an alignment of eight and so many bytes more.
struct Memory(Vec<u64>);

impl Memory {
    fn of(bytes: usize) -> Self {
        Self(vec![0; bytes.div_ceil(8) + 1])
    }
    fn at(&mut self, off: usize) -> *mut c_void {
        self.0.as_mut_ptr().cast::<u8>().wrapping_add(off).cast()
    }
}

fn begun(memory: &mut Memory) -> *mut quietgap_board {
    let mut board = null_mut();
    // Safety: memory of the length told.
    let status =
        unsafe { quietgap_board_begin(memory.at(0), quietgap_board_bytes(), &raw mut board) };
    assert_eq!(status, QUIETGAP_OK);
    board
}

/// A carrier of two sizes, with some noise.
fn codes(frames: usize) -> Vec<i32> {
    let mut state = 1u32;
    (0..frames * CHANNELS)
        .map(|n| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let phase = std::f64::consts::TAU * 0.1 * (n / CHANNELS) as f64;
            ([4e5, -2e5][n % 2] * phase.cos()) as i32 + (state >> 26) as i32
        })
        .collect()
}

#[test]
fn readings_are_the_chains() {
    let mut memory = Memory::of(quietgap_board_bytes());
    let board = begun(&mut memory);
    assert_eq!((quietgap_channels(), quietgap_board_alignment()), (CHANNELS, 8));
    let mut chain = Box::new(sensor::Board::IDLE);
    chain.load();
    let codes = codes(200_000);
    // Safety: a board that was begun.
    unsafe {
        assert_eq!(quietgap_board_checksum(board), chain.checksum().to_bits());
        assert_eq!(quietgap_board_interval(board), chain.interval());
    }
    let mut own = Vec::new();
    chain.push(&codes, &mut |reading| own.push(reading.clone()));
    let (mut told, mut made) = (Vec::new(), 9);
    for block in codes.chunks(7_777) {
        let mut room = [quietgap_reading::default(); 2];
        // Safety: slices and their lengths.
        let status = unsafe {
            quietgap_board_push(
                board,
                block.as_ptr(),
                block.len(),
                room.as_mut_ptr(),
                2,
                &raw mut made,
            )
        };
        assert_eq!(status, QUIETGAP_OK);
        told.extend_from_slice(&room[..made]);
    }
    assert_eq!((told.len(), own.len()), (2, 2));
    for (told, own) in told.iter().zip(&own) {
        assert_eq!((told.half_samples, told.health), (own.half_samples, own.health.bits()));
        assert_eq!(told.axes[..usize::from(told.axis_count)], own.axes[..]);
        let quadratures: Vec<i64> = own.bridges.iter().map(|b| b.quadrature.to_bits()).collect();
        assert_eq!(told.quadratures[..usize::from(told.bridge_count)], quadratures);
        assert_eq!(told.residual_am, own.residual_am);
        assert_eq!(told.monitor_ratio, own.monitor_ratio);
    }
    let mut counts = quietgap_counts::default();
    // Safety: a board that was begun, and counts.
    assert_eq!(unsafe { quietgap_board_counts(board, &raw mut counts) }, QUIETGAP_OK);
    assert_eq!((counts.readings, counts.faults[6]), (2, 2), "both are settling");

    // A gap, a flag, and a fresh start.
    // Safety: a board that was begun.
    unsafe {
        assert_eq!(quietgap_board_seek(board, 800_000), QUIETGAP_OK);
        assert_eq!(quietgap_board_flag(board), QUIETGAP_OK);
    }
    let mut one = [quietgap_reading::default()];
    // Safety: slices and their lengths; more is made than there is room for.
    let status = unsafe {
        quietgap_board_push(board, codes.as_ptr(), codes.len(), one.as_mut_ptr(), 1, &raw mut made)
    };
    assert_eq!((status, made), (QUIETGAP_ROOM, 2));
    assert_eq!(one[0].half_samples, told[0].half_samples + 2 * 800_000);
    assert!(one[0].health & 1 << 12 != 0);
    // Safety: a board that was begun.
    assert_eq!(unsafe { quietgap_board_load(board) }, QUIETGAP_OK);
    // Safety: as above, with no room at all.
    let status = unsafe {
        quietgap_board_push(board, codes.as_ptr(), codes.len(), null_mut(), 0, &raw mut made)
    };
    assert_eq!((status, made), (QUIETGAP_ROOM, 2));
}

#[test]
fn what_cannot_be_is_refused() {
    let bytes = quietgap_board_bytes();
    let mut memory = Memory::of(bytes);
    let mut board = null_mut();
    let mut made = 5;
    let mut reading = quietgap_reading::default();
    // Safety: null, or memory of at least the length told.
    unsafe {
        let to = &raw mut board;
        assert_eq!(quietgap_board_begin(memory.at(0), bytes, null_mut()), QUIETGAP_NULL);
        assert_eq!(quietgap_board_begin(null_mut(), bytes, to), QUIETGAP_NULL);
        assert_eq!(quietgap_board_begin(memory.at(0), bytes - 1, to), QUIETGAP_MEMORY);
        assert_eq!(quietgap_board_begin(memory.at(4), bytes, to), QUIETGAP_MEMORY);
        assert!(board.is_null());
        assert_eq!(quietgap_board_load(null_mut()), QUIETGAP_NULL);
        assert_eq!(quietgap_board_seek(null_mut(), 1), QUIETGAP_NULL);
        assert_eq!(quietgap_board_flag(null_mut()), QUIETGAP_NULL);
        assert_eq!(quietgap_board_counts(null(), null_mut()), QUIETGAP_NULL);
        assert_eq!((quietgap_board_checksum(null()), quietgap_board_interval(null())), (0, 0));
        let board = begun(&mut memory);
        assert_eq!(quietgap_board_counts(board, null_mut()), QUIETGAP_NULL);
        let to = &raw mut reading;
        let null_made = null_mut();
        assert_eq!(
            quietgap_board_push(null_mut(), [1].as_ptr(), 1, to, 1, &raw mut made),
            QUIETGAP_NULL
        );
        assert_eq!(quietgap_board_push(board, [1].as_ptr(), 1, to, 1, null_made), QUIETGAP_NULL);
        assert_eq!(quietgap_board_push(board, null(), 1, to, 1, &raw mut made), QUIETGAP_NULL);
        assert_eq!(
            quietgap_board_push(board, [1].as_ptr(), 1, null_mut(), 1, &raw mut made),
            QUIETGAP_NULL
        );
        assert_eq!(made, 0);
        assert_eq!(
            quietgap_board_push(board, null(), 0, null_mut(), 0, &raw mut made),
            QUIETGAP_OK
        );
    }
}

#[test]
fn frames_there_and_back() {
    let mut memory = Memory::of(quietgap_decoder_bytes());
    let mut decoder = null_mut();
    let reading = quietgap_reading {
        half_samples: -7,
        axes: [1, -2, i64::MIN, 4, 5, i64::MAX],
        quadratures: [i64::MIN; 12],
        residual_am: 3,
        monitor_ratio: 1 << 58,
        over_range_channels: u32::MAX,
        health: 0x1fff,
        axis_count: 6,
        bridge_count: 12,
    };
    let mut wire = [0u8; QUIETGAP_LONGEST];
    let (mut length, mut frames, mut refused) = (0, 0, 0);
    let mut said = quietgap_said::default();
    // Safety: null, or memory, slices and numbers of the lengths told.
    unsafe {
        let bytes = quietgap_decoder_bytes();
        let to = &raw mut decoder;
        assert_eq!(quietgap_decoder_begin(memory.at(0), bytes, null_mut()), QUIETGAP_NULL);
        assert_eq!(quietgap_decoder_begin(null_mut(), bytes, to), QUIETGAP_NULL);
        assert_eq!(quietgap_decoder_begin(memory.at(0), bytes - 1, to), QUIETGAP_MEMORY);
        assert_eq!(quietgap_decoder_begin(memory.at(0), bytes, to), QUIETGAP_OK);
        let long = &raw mut length;
        let at = wire.as_mut_ptr();
        assert_eq!(quietgap_write_reading(3, null(), at, wire.len(), long), QUIETGAP_NULL);
        assert_eq!(
            quietgap_write_reading(3, &raw const reading, null_mut(), 261, long),
            QUIETGAP_NULL
        );
        assert_eq!(
            quietgap_write_reading(3, &raw const reading, at, wire.len(), null_mut()),
            QUIETGAP_NULL
        );
        assert_eq!(quietgap_write_reading(3, &raw const reading, at, 100, long), QUIETGAP_ROOM);
        assert_eq!(length, 0);
        assert_eq!(
            quietgap_write_reading(3, &raw const reading, at, wire.len(), long),
            QUIETGAP_OK
        );
        assert_eq!(quietgap_decoder_push(null_mut(), 1, &raw mut said), QUIETGAP_NULL);
        assert_eq!(quietgap_decoder_push(decoder, 1, null_mut()), QUIETGAP_NULL);
        for (n, byte) in wire[..length].iter().enumerate() {
            assert_eq!(quietgap_decoder_push(decoder, *byte, &raw mut said), QUIETGAP_OK);
            assert_eq!(said.kind == QUIETGAP_NOTHING, n + 1 < length);
        }
        assert_eq!((said.kind, said.number, said.reading), (QUIETGAP_READING, 3, reading));
        assert_eq!(quietgap_decoder_met(decoder, &raw mut frames, null_mut()), QUIETGAP_NULL);
        // An answer, and a frame that is none.
        assert_eq!(quietgap_write_answer(4, 9, 77, false, at, wire.len(), long), QUIETGAP_OK);
        wire[..length].iter().for_each(|byte| {
            quietgap_decoder_push(decoder, *byte, &raw mut said);
        });
        assert_eq!(said.kind, QUIETGAP_OTHER);
        [7, 7, 0].iter().for_each(|byte| {
            quietgap_decoder_push(decoder, *byte, &raw mut said);
        });
        assert_eq!(quietgap_decoder_met(decoder, &raw mut frames, &raw mut refused), QUIETGAP_OK);
    }
    assert_eq!((frames, refused), (2, 1));
}

#[test]
fn commands_by_kind() {
    use quietgap_telemetry::frame::wire;
    use quietgap_telemetry::message::{Command, Message};
    let mut memory = Memory::of(quietgap_decoder_bytes());
    let (mut decoder, mut said) = (null_mut(), quietgap_said::default());
    // Safety: memory of the length told.
    unsafe { quietgap_decoder_begin(memory.at(0), quietgap_decoder_bytes(), &raw mut decoder) };
    for (number, (command, kind, value)) in (0u32..).zip([
        (Command::Start, QUIETGAP_START, 0),
        (Command::Stop, QUIETGAP_STOP, 0),
        (Command::Mark(77), QUIETGAP_MARK, 77),
        (Command::Injection(500_000), QUIETGAP_INJECTION, 500_000),
    ]) {
        for byte in wire(number, &Message::Command(command)).expect("fits") {
            // Safety: a decoder that was begun.
            unsafe { quietgap_decoder_push(decoder, byte, &raw mut said) };
        }
        assert_eq!((said.kind, said.number, said.value), (kind, number, value));
    }
}
