//! What is written out for a board against postcard, which the host's end decodes by.

use super::{list, whole};
use proptest::prelude::*;
use quietgap_telemetry::encoding;
use quietgap_telemetry::frame::LONGEST;
use quietgap_telemetry::message::*;
use quietgap_telemetry::{Decoder, Frame, Message};

/// Any message of the capacities there are.
fn any_message() -> impl Strategy<Value = Message> {
    let longs = |most| prop::collection::vec(any::<i64>(), 0..=most);
    let command = prop_oneof![
        Just(Command::Start),
        Just(Command::Stop),
        any::<u32>().prop_map(Command::Mark),
        any::<u32>().prop_map(Command::Injection),
        (any::<u8>(), any::<u8>(), prop::collection::vec(any::<u8>(), 0..=PIECE)).prop_map(
            |(index, count, bytes)| Command::Calibration(Piece {
                index,
                count,
                bytes: list(&bytes)
            })
        ),
    ];
    prop_oneof![
        ("[ -~]{0,32}", any::<[u64; 2]>(), prop::collection::vec(0u8..6, 0..=6), any::<[u32; 2]>())
            .prop_map(|(name, [rate_millihertz, interval], axes, [checksum, starts])| {
                Message::Settings(Settings {
                    name: heapless::String::try_from(name.as_str()).unwrap(),
                    rate_millihertz,
                    interval,
                    axes: list(&axes),
                    bridges: checksum as u8,
                    checksum,
                    starts,
                })
            }),
        (any::<[i64; 3]>(), longs(6), longs(12), any::<u32>(), any::<u16>()).prop_map(
            |(
                [half_samples, residual_am, monitor_ratio],
                axes,
                quadratures,
                over_range_channels,
                health,
            )| {
                Message::Reading(Reading {
                    half_samples,
                    axes: list(&axes),
                    quadratures: list(&quadratures),
                    residual_am,
                    monitor_ratio,
                    over_range_channels,
                    health,
                })
            }
        ),
        (any::<[u64; 2]>(), prop::collection::vec(any::<u64>(), 0..=13), any::<u32>()).prop_map(
            |([readings, lost_blocks], faults, refused_commands)| {
                Message::Counts(Counts {
                    readings,
                    faults: list(&faults),
                    lost_blocks,
                    refused_commands,
                })
            }
        ),
        any::<[u64; 2]>()
            .prop_map(|[from_sample, to_sample]| Message::Gap(Gap { from_sample, to_sample })),
        (any::<u32>(), any::<u64>(), any::<u16>()).prop_map(|(edge, sample, fraction)| {
            Message::TimeMark(TimeMark { edge, sample, fraction })
        }),
        command.prop_map(Message::Command),
        (any::<u32>(), any::<u64>(), 0usize..4).prop_map(|(command, sample, outcome)| {
            let outcome = [Outcome::Done, Outcome::Before, Outcome::Old, Outcome::Refused][outcome];
            Message::Answer(Answer { command, sample, outcome })
        }),
        (any::<u64>(), any::<u16>(), any::<u32>()).prop_map(|(sample, faults, channels)| {
            Message::Acquisition(Acquisition { sample, faults, channels })
        }),
    ]
}

proptest! {
    /// What is written for a board is what postcard writes, and a board reads of it what it is to read.
    #[test]
    fn written_out_as_postcard_has_it(message in any_message(), cut in 0usize..300, more: u8) {
        let mut own = encoding::Bytes::new();
        prop_assume!(encoding::encode(&message, &mut own).is_some());
        let mut by_postcard = [0; 512];
        prop_assert_eq!(&own[..], &*postcard::to_slice(&message, &mut by_postcard).unwrap());
        let command = match &message {
            Message::Command(command) => Some(command.clone()),
            _ => None,
        };
        prop_assert_eq!(encoding::decode_command(&own), command);
        if cut < own.len() {
            prop_assert_eq!(encoding::decode_command(&own[..cut]), None);
        }
        let mut longer = own.to_vec();
        longer.push(more);
        prop_assert_eq!(encoding::decode_command(&longer), None);
        if own.len() + 6 <= LONGEST {
            let wire = Frame { number: 9, message: message.clone() }.wire().unwrap();
            let mut board = Decoder::new();
            let met: Vec<_> = wire.iter().filter_map(|byte| board.push_command(*byte)).collect();
            let is_command = matches!(message, Message::Command(_));
            prop_assert_eq!(met.len(), usize::from(is_command));
            prop_assert_eq!((board.met().frames, board.met().message), (u64::from(is_command), u64::from(!is_command)));
            prop_assert_eq!(whole(&wire).0, [Frame { number: 9, message }]);
        }
    }

    /// Bytes of any kind: a board takes of them what postcard takes, but for varints longer than need be.
    #[test]
    fn any_bytes_as_a_command(mut bytes in prop::collection::vec(any::<u8>(), 0..20), kind in 0u8..6) {
        bytes.splice(0..bytes.len().min(2), [encoding::COMMAND, kind]);
        let by_postcard = match postcard::take_from_bytes(&bytes) {
            Ok((Message::Command(command), [])) => Some(command),
            _ => None,
        };
        if let Some(own) = encoding::decode_command(&bytes) {
            prop_assert_eq!(Some(own), by_postcard);
        } else if let Some(by_postcard) = by_postcard {
            let mut again = encoding::Bytes::new();
            encoding::encode(&Message::Command(by_postcard), &mut again).unwrap();
            prop_assert!(again.len() < bytes.len());
        }
    }
}
