//! What a payload may not be, and what its builders refuse.

use crate::literals::{self, bytes};
use rig_link::frame::{HEADER, MAX_RAW};
use rig_link::message::{Name, RowError, SamplesBuilder, Setpoints, SetpointsError};
use rig_link::{
    Frame, HostMessage, MAX_CHANNELS, MAX_FRAME, MAX_SETPOINTS, MessageError, RigMessage, RigState, Width,
    decode_frame, encode_rig,
};

/// Kind and payload of each literal frame.
fn payloads() -> Vec<(&'static str, u8, Vec<u8>)> {
    let batch = literals::batch();
    let host = literals::host()
        .into_iter()
        .map(|l| (l.name, l.message.kind(), l.sequence, l.wire));
    let rig = literals::rig(&batch)
        .into_iter()
        .map(|l| (l.name, l.message.kind(), l.sequence, l.wire));
    host.chain(rig)
        .map(|(name, kind, sequence, wire)| {
            let wire = bytes(wire);
            let mut raw = [0; MAX_RAW];
            let frame = decode_frame(&wire[..wire.len() - 1], &mut raw).unwrap();
            assert_eq!((frame.kind, frame.sequence), (kind, sequence));
            (name, kind, frame.payload.to_vec())
        })
        .collect()
}

fn parses(kind: u8, payload: &[u8]) -> Result<(), MessageError> {
    let frame = Frame {
        kind,
        sequence: 0,
        payload,
    };
    if kind < 0x80 {
        HostMessage::parse(frame).map(|_| ())
    } else {
        RigMessage::parse(frame).map(|_| ())
    }
}

#[test]
fn every_payload_of_another_length_is_malformed() {
    for (name, kind, payload) in payloads() {
        assert_eq!(parses(kind, &payload), Ok(()), "{name}");
        let longer = [payload.as_slice(), &[0]].concat();
        for wrong in (0..payload.len())
            .map(|end| &payload[..end])
            .chain([longer.as_slice()])
        {
            let expected = MessageError::Malformed {
                kind,
                length: wrong.len(),
            };
            assert_eq!(parses(kind, wrong), Err(expected), "{name}");
        }
    }
}

#[test]
fn values_without_meaning_are_malformed() {
    // Message, offset (PROTOCOL.md, chapter 5), bytes put there.
    let cases: &[(&str, usize, &[u8])] = &[
        ("Configure", 20, &[2]),
        ("Configure", 35, &[2]),
        ("Setpoints", 8, &[0, 0, 0, 0]),
        ("Setpoints", 12, &[2]),
        ("Setpoints", 13, &[0]),
        ("Setpoints", 13, &[65]),
        ("Stop", 0, &[2]),
        ("Stop", 1, &[5]),
        ("Identity", 20, &[0]),
        ("Identity", 20, &[17]),
        ("Identity", 27, &0.0_f64.to_le_bytes()),
        ("Identity", 27, &f64::NAN.to_le_bytes()),
        ("Identity", 27, &f64::INFINITY.to_le_bytes()),
        ("Identity", 35, &[0xFF]),
        ("Identity", 35, &[0]),
        ("Channel", 0, &[16]),
        ("Channel", 1, &[8]),
        ("Channel", 2, &[3]),
        ("Channel", 3, &[7]),
        ("Channel", 4, &0.0_f64.to_le_bytes()),
        ("Channel", 4, &f64::NAN.to_le_bytes()),
        ("Channel", 12, &f64::INFINITY.to_le_bytes()),
        ("Channel", 20, &(-32_769_i32).to_le_bytes()),
        ("Channel", 20, &32_000_i32.to_le_bytes()),
        ("Channel", 24, &32_768_i32.to_le_bytes()),
        ("Status", 8, &[5]),
        ("Status", 9, &[11]),
        ("Status", 10, &[2]),
        ("Status", 11, &[0xFF]),
        ("Samples", 8, &[0, 0, 0, 0]),
        ("Samples", 12, &[5]),
        ("Samples", 15, &[0]),
        ("Samples", 15, &[9]),
        ("Samples", 16, &[0]),
        ("Samples", 16, &[3]),
        ("Event", 12, &[12]),
        ("Refused", 3, &[0]),
        ("Refused", 3, &[13]),
        ("Stopped", 8, &[2]),
        ("Stopped", 9, &[5]),
    ];
    let all = payloads();
    for &(name, offset, put) in cases {
        let (_, kind, payload) = all.iter().find(|(of, ..)| *of == name).unwrap();
        let mut payload = payload.clone();
        payload[offset..offset + put.len()].copy_from_slice(put);
        assert!(
            matches!(parses(*kind, &payload), Err(MessageError::Malformed { .. })),
            "{name} with {put:02X?} at {offset}"
        );
    }
}

#[test]
fn a_kind_of_the_other_direction_or_of_none_is_unknown() {
    for kind in 0..=u8::MAX {
        let frame = Frame {
            kind,
            sequence: 0,
            payload: &[],
        };
        let unknown = Err(MessageError::UnknownKind(kind));
        assert_eq!(
            HostMessage::parse(frame) == unknown.map(|()| unreachable!()),
            !(0x01..=0x0C).contains(&kind)
        );
        assert_eq!(
            RigMessage::parse(frame) == unknown.map(|()| unreachable!()),
            !(0x81..=0x8A).contains(&kind)
        );
    }
}

#[test]
fn setpoints_know_their_ticks_and_their_limits() {
    let setpoints = Setpoints::new(u64::MAX - 10, 8, false, &[1, -2, 3]).unwrap();
    let entries: Vec<_> = setpoints.entries().collect();
    assert_eq!(entries, [(u64::MAX - 10, 1), (u64::MAX - 2, -2), (u64::MAX, 3)]);
    assert_eq!(Setpoints::new(0, 1, false, &[]), Err(SetpointsError::Count(0)));
    let many = [0; MAX_SETPOINTS + 1];
    assert_eq!(
        Setpoints::new(0, 1, false, &many),
        Err(SetpointsError::Count(MAX_SETPOINTS + 1))
    );
    assert_eq!(
        Setpoints::new(0, 1, false, &[0; 300]),
        Err(SetpointsError::Count(300))
    );
    assert!(Setpoints::new(0, 1, false, &many[1..]).is_ok());
    assert_eq!(Setpoints::new(0, 0, false, &[0, 0]), Err(SetpointsError::Period));
    assert!(Setpoints::new(0, 0, true, &[0]).is_ok());
}

#[test]
fn names_are_cut_at_a_character_and_before_a_zero() {
    assert_eq!(Name::<4>::new("abcdef").as_str(), "abcd");
    assert_eq!(Name::<4>::new("abcü").as_str(), "abc");
    assert_eq!(Name::<4>::new("a\0b").as_str(), "a");
    assert_eq!(Name::<4>::new("").as_str(), "");
}

#[test]
fn a_batch_takes_only_rows_that_follow() {
    let widths = [Width::I16, Width::I32];
    let mut batch = SamplesBuilder::new(250);
    assert_eq!(batch.message(RigState::Ready, 0), None);
    assert_eq!(batch.push(0, &widths, &[1]), Err(RowError::Shape));
    assert_eq!(batch.push(0, &[], &[]), Err(RowError::Shape));
    assert_eq!(
        batch.push(0, &[Width::I16; MAX_CHANNELS + 1], &[0; MAX_CHANNELS + 1]),
        Err(RowError::Shape)
    );
    assert_eq!(batch.push(1_000, &widths, &[40_000, -40_000]), Ok(()));
    assert_eq!(batch.push(1_249, &widths, &[0, 0]), Err(RowError::StartsNewBatch));
    assert_eq!(batch.push(1_500, &widths, &[0, 0]), Err(RowError::StartsNewBatch));
    assert_eq!(
        batch.push(1_250, &widths[..1], &[0]),
        Err(RowError::StartsNewBatch)
    );
    assert_eq!(batch.push(1_250, &widths, &[-40_000, 7]), Ok(()));
    let samples = batch.message(RigState::Armed, 9).unwrap();
    let (mut row, mut seen) = ([0; 2], Vec::new());
    samples
        .for_each_row(&widths, &mut row, |tick, counts| {
            seen.push((tick, counts.to_vec()))
        })
        .unwrap();
    assert_eq!(seen, [(1_000, vec![32_767, -40_000]), (1_250, vec![-32_768, 7])]);
    assert_eq!(
        samples.for_each_row(&widths[..1], &mut row, |_, _| panic!("called")),
        None
    );
    assert_eq!(
        samples.for_each_row(&widths, &mut [0], |_, _| panic!("called")),
        None
    );
    batch.clear();
    assert_eq!(batch.push(9_999, &widths[..1], &[5]), Ok(()));
    assert_eq!(batch.rows(), 1);
}

#[test]
fn a_batch_without_a_period_takes_one_row() {
    let mut batch = SamplesBuilder::new(0);
    assert_eq!(batch.push(5, &[Width::I16], &[0]), Ok(()));
    assert_eq!(batch.push(5, &[Width::I16], &[0]), Err(RowError::StartsNewBatch));
}

#[test]
fn a_full_batch_fits_a_frame() {
    for channels in 1..=MAX_CHANNELS {
        let widths = vec![Width::I32; channels];
        let mut batch = SamplesBuilder::new(1);
        let mut tick = 0;
        while batch.push(tick, &widths, &vec![-1; channels]).is_ok() {
            tick += 1;
        }
        assert!(batch.rows() >= 7, "{channels} channels: {} rows", batch.rows());
        let mut out = [0; MAX_FRAME];
        let message = RigMessage::Samples(batch.message(RigState::Ready, 0).unwrap());
        let length = encode_rig(&message, 0, &mut out).unwrap();
        let mut raw = [0; MAX_RAW];
        let frame = decode_frame(&out[..length - 1], &mut raw).unwrap();
        assert_eq!(RigMessage::parse(frame), Ok(message));
        assert!(HEADER + frame.payload.len() < MAX_RAW);
    }
}

#[test]
fn a_wide_channel_may_use_its_whole_range() {
    let (name, kind, mut payload) = payloads()
        .into_iter()
        .find(|(name, ..)| *name == "Channel")
        .unwrap();
    payload[2] = 4;
    payload[20..24].copy_from_slice(&i32::MIN.to_le_bytes());
    payload[24..28].copy_from_slice(&i32::MAX.to_le_bytes());
    assert_eq!(parses(kind, &payload), Ok(()), "{name}");
}
