//! Bytes of a frame as codes, against words made by hand and by plain arithmetic.

use proptest::prelude::*;
use quietgap_acquisition::Faults;
use quietgap_acquisition::layout::{Check, Coding, Justified, Layout, Order, Status};

const BIG: Layout = Layout { order: Order::Big, slot_bytes: 3, ..Layout::native(2, 24) };

fn codes(layout: Layout, frame: &[u8]) -> Option<(Vec<i32>, u32, Faults)> {
    let mut codes = vec![7; usize::from(layout.channels)];
    let told = layout.codes(frame, &mut codes)?;
    Some((codes, told.counter, told.faults))
}

#[test]
fn words_by_hand() {
    let told = |codes: &[i32]| Some((codes.to_vec(), 0, Faults::NONE));
    let frame = [0xff, 0xff, 0xfe, 0x12, 0x34, 0x56];
    assert_eq!(codes(BIG, &frame), told(&[-2, 0x12_3456]));
    assert_eq!(
        codes(Layout { order: Order::Little, ..BIG }, &frame),
        told(&[-0x01_0001, 0x56_3412])
    );
    // Offset binary: the middle is zero, all zeros the lower end.
    let offset = Layout { coding: Coding::Offset, ..BIG };
    assert_eq!(codes(offset, &[0x80, 0, 1, 0, 0, 0]), told(&[1, -(1 << 23)]));
    // 18 bits at the top of 24.
    let left = Layout { justified: Justified::Left, code_bits: 18, ..BIG };
    assert_eq!(codes(left, &[0xff, 0xff, 0xff, 0, 0, 0x7f]), told(&[-1, 1]));
    let right = Layout { justified: Justified::Right, ..left };
    assert_eq!(codes(right, &[0xfc, 0, 1, 0x02, 0, 0]), told(&[1, -(1 << 17)]));
    // As they stand in memory.
    let native = Layout::native(1, 24);
    assert_eq!(codes(native, &(-5i32).to_le_bytes()), told(&[-5]));
}

/// CRC-16 of IBM 3740 over "123456789" is 29B1, CRC-8 of SMBus F4: check values of the catalogue of parametrised CRC
/// algorithms (reveng), which the crate `crc` names; a word changed fails them.
#[test]
fn checks_of_the_catalogue() {
    let text = b"123456789";
    let nine = Layout { channels: 9, slot_bytes: 1, ..Layout::native(1, 8) };
    let word =
        Layout { order: Order::Big, check: Some(Check::Crc16(&crc::CRC_16_IBM_3740)), ..nine };
    let byte = Layout { check: Some(Check::Crc8(&crc::CRC_8_SMBUS)), ..nine };
    let want = Some((text.iter().map(|b| i32::from(*b)).collect(), 0, Faults::NONE));
    for (layout, check) in [(word, &[0x29, 0xb1][..]), (byte, &[0xf4])] {
        let mut frame = [text, check].concat();
        assert_eq!(layout.bytes(), frame.len());
        assert_eq!(codes(layout, &frame), want);
        for bit in 0..8 * frame.len() {
            frame[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(codes(layout, &frame), None, "bit {bit}");
            frame[bit / 8] ^= 1 << (bit % 8);
        }
        assert_eq!(codes(layout, &frame[1..]), None);
    }
    let mut room = [7; 8];
    assert_eq!(nine.codes(text, &mut room), None, "no room for a ninth code");
    assert_eq!(room, [7; 8]);
}

#[test]
fn status_counter_and_channel_numbers() {
    let status = Status { bytes: 2, mask: 0xc000, good: 0x8000, counter: 0x0ff0 };
    let layout = Layout {
        slot_bytes: 4,
        channel_tag: 0x0700_0000,
        status: Some(status),
        ..Layout { channels: 2, ..BIG }
    };
    assert_eq!((layout.bytes(), layout.counter_span()), (10, 256));
    let good = [0x8a, 0x50, 0xf0, 0, 0, 1, 0xf9, 0xff, 0xff, 0xff];
    assert_eq!(codes(layout, &good), Some((vec![1, -1], 0xa5, Faults::NONE)));
    let mut bad = good;
    bad[0] = 0xca;
    assert_eq!(codes(layout, &bad), Some((vec![1, -1], 0xa5, Faults::FRAME)));
    let mut swapped = good;
    swapped[2] = 0xf1;
    swapped[6] = 0xf8;
    assert_eq!(codes(layout, &swapped), Some((vec![1, -1], 0xa5, Faults::SWAPPED)));
}

/// Last that can be, first that cannot.
#[test]
fn refuses_layouts_that_cannot_be() {
    let status = Status { bytes: 1, mask: 0x80, good: 0x80, counter: 0x7f };
    let pairs = [
        (Layout::native(32, 24), Layout::native(33, 24), "channels"),
        (Layout::native(1, 24), Layout::native(0, 24), "channels"),
        (BIG, Layout { slot_bytes: 0, ..BIG }, "bytes of a slot"),
        (Layout::native(1, 32), Layout { slot_bytes: 5, ..BIG }, "bytes of a slot"),
        (Layout::native(1, 8), Layout::native(1, 7), "bits of a code"),
        (BIG, Layout { code_bits: 25, ..BIG }, "bits of a code"),
        (
            Layout { channel_tag: 0xff00_0000, ..Layout::native(1, 24) },
            Layout { channel_tag: 0x0080_0000, ..Layout::native(1, 24) },
            "number within the code",
        ),
        (
            Layout { channel_tag: 0x0300_0000, ..Layout::native(1, 24) },
            Layout { channel_tag: 0x0500_0000, ..Layout::native(1, 24) },
            "holes in the channel's number",
        ),
    ];
    for (good, bad, says) in pairs {
        assert!(good.checked().is_ok(), "{good:?}");
        let error = bad.checked().expect_err(says).to_string();
        assert!(error.contains(says) && error.contains("allowed"), "{error}");
    }
    // A number may stand below a code at the slot's top, not in it.
    let left = Layout { justified: Justified::Left, slot_bytes: 4, ..Layout::native(1, 24) };
    assert!(Layout { channel_tag: 0xff, ..left }.checked().is_ok());
    for tag in [0x100, 0x8000_0000] {
        assert!(Layout { channel_tag: tag, ..left }.checked().is_err(), "{tag:x}");
    }
    let of = |status| Layout { status: Some(status), ..BIG }.checked();
    assert!(of(status).is_ok());
    // As many bits as its bytes have.
    for bytes in 1..=4u8 {
        let last = 1 << (8 * u32::from(bytes) - 1);
        let status = |bit| Status { bytes, mask: bit, good: bit, counter: 0 };
        assert!(of(status(last)).is_ok(), "{bytes}");
        assert!(bytes == 4 || of(status(last << 1)).is_err(), "{bytes}");
    }
    for (bad, says) in [
        (Status { bytes: 5, ..status }, "bytes of the status"),
        (Status { mask: 0x180, ..status }, "beyond its word"),
        (Status { good: 0xc0, ..status }, "not masked"),
        (Status { counter: 0xff, ..status }, "masked"),
        (Status { counter: 0x5, ..status }, "holes in the counter"),
    ] {
        let error = of(bad).expect_err(says).to_string();
        assert!(error.contains(says), "{error}");
    }
}

proptest! {
    /// Any layout: what is put into a frame by division and remainder comes out of it.
    #[test]
    fn any_layout(
        channels in 1u8..=32, slot_bytes in 1u8..=4, bits in 8u8..=32, left: bool, offset: bool, big: bool,
        seed in prop::collection::vec(any::<i32>(), 32),
    ) {
        let code_bits = bits.min(8 * slot_bytes);
        let layout = Layout {
            channels, slot_bytes, code_bits,
            justified: if left { Justified::Left } else { Justified::Right },
            coding: if offset { Coding::Offset } else { Coding::Signed },
            order: if big { Order::Big } else { Order::Little },
            ..Layout::native(1, 24)
        }.checked().expect("within");
        let half = 1i64 << (code_bits - 1);
        let want: Vec<i32> = seed[..usize::from(channels)]
            .iter()
            .map(|s| ((i64::from(*s) + half).rem_euclid(2 * half) - half) as i32)
            .collect();
        let mut frame = Vec::new();
        for code in &want {
            let zero = if offset { half } else { 0 };
            let mut word = (i64::from(*code) + zero).rem_euclid(2 * half) as u64;
            if left {
                word <<= 8 * u32::from(slot_bytes) - u32::from(code_bits);
            }
            let bytes = word.to_le_bytes();
            let bytes = &bytes[..usize::from(slot_bytes)];
            if big { frame.extend(bytes.iter().rev()) } else { frame.extend(bytes) }
        }
        prop_assert_eq!(codes(layout, &frame), Some((want, 0, Faults::NONE)));
    }
}
