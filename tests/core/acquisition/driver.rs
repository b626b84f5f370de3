//! The driver on a bus and a line that expect every step.

use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::digital::{Mock as Line, State, Transaction as Turn};
use embedded_hal_mock::eh1::spi::{Mock as Bus, Transaction as Step};
use quietgap_acquisition::converter::{Converter, Error};
use quietgap_acquisition::layout::{Check, Layout, MAX_BYTES, Order, Status};
use std::io::ErrorKind;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

const LAYOUT: Layout = Layout { order: Order::Big, slot_bytes: 3, ..Layout::native(2, 24) };
const FRAME: [u8; 6] = [0, 1, 0, 0xff, 0xff, 0xff];

fn frame(bytes: &[u8]) -> [Step<u8>; 3] {
    [Step::transaction_start(), Step::read_vec(bytes.to_vec()), Step::transaction_end()]
}

#[test]
fn a_frame_at_the_lines_turn() {
    let mut bus = Bus::new(&frame(&FRAME));
    let mut line =
        Line::new(&[Turn::get(State::High), Turn::get(State::High), Turn::get(State::Low)]);
    let mut converter = Converter::new(bus.clone(), line.clone(), LAYOUT, false);
    let mut codes = [0; 2];
    assert!(converter.read(&mut codes, 3).expect("a frame").faults.is_none());
    assert_eq!(codes, [256, -1]);
    let _ = converter.release();
    bus.done();
    line.done();
}

/// The longest that can be: room for all of it, and no less.
#[test]
fn the_longest_frame() {
    let status = Status { bytes: 4, mask: 0, good: 0, counter: 0 };
    let longest = Layout {
        slot_bytes: 4,
        status: Some(status),
        check: Some(Check::Crc16(&crc::CRC_16_IBM_3740)),
        ..Layout { channels: 32, ..LAYOUT }
    };
    let layout = longest.checked().expect("it can be");
    assert_eq!((layout.bytes(), MAX_BYTES), (134, 134));
    let mut bytes: Vec<u8> = (0..132).map(|n| if n % 4 == 3 { n } else { 0 }).collect();
    let sum = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740).checksum(&bytes);
    bytes.extend(sum.to_be_bytes());
    let mut bus = Bus::new(&frame(&bytes));
    let mut line = Line::new(&[Turn::get(State::High)]);
    let mut converter = Converter::new(bus.clone(), line.clone(), layout, true);
    let mut codes = [0; 32];
    assert!(converter.read(&mut codes, 1).expect("a frame").faults.is_none());
    assert!((1i32..).zip(codes).all(|(n, code)| code == 4 * n + 3), "{codes:?}");
    let _ = converter.release();
    bus.done();
    line.done();
}

#[test]
fn what_keeps_a_frame_from_coming() {
    let run = |steps: &[Step<u8>], turns: &[Turn], layout: Layout| {
        let (mut bus, mut line) = (Bus::new(steps), Line::new(turns));
        let mut converter = Converter::new(bus.clone(), line.clone(), layout, true);
        let mut codes = [9; 2];
        let error = converter.read(&mut codes, 2).expect_err("none comes");
        assert_eq!(codes, [9; 2]);
        bus.done();
        line.done();
        error
    };
    let low = Turn::get(State::Low);
    assert!(matches!(run(&[], &[low.clone(), low.clone()], LAYOUT), Error::NotReady));
    let fault = MockError::Io(ErrorKind::Other);
    let broken = low.with_error(fault.clone());
    assert!(matches!(run(&[], &[broken], LAYOUT), Error::Pin(_)));
    let high = Turn::get(State::High);
    let checked = Layout { check: Some(Check::Crc8(&crc::CRC_8_SMBUS)), ..LAYOUT };
    let wrong = frame(&[0, 1, 0, 0xff, 0xff, 0xff, 0]);
    assert_eq!(
        run(&wrong, &[high], checked).to_string(),
        "converter: a frame whose check is another one"
    );
}

/// The same frame by a task that waits.
#[test]
fn a_frame_by_a_task() {
    for (high, turn) in
        [(true, Turn::wait_for_state(State::High)), (false, Turn::wait_for_state(State::Low))]
    {
        let (mut bus, mut line) = (Bus::new(&frame(&FRAME)), Line::new(&[turn]));
        let mut converter = Converter::new(bus.clone(), line.clone(), LAYOUT, high);
        let mut codes = [0; 2];
        {
            let mut task = pin!(converter.next(&mut codes));
            let told = task.as_mut().poll(&mut Context::from_waker(Waker::noop()));
            assert!(matches!(told, Poll::Ready(Ok(told)) if told.faults.is_none()));
        }
        assert_eq!(codes, [256, -1]);
        bus.done();
        line.done();
    }
}
