//! Stuffing and checksum against published values, and candidates that must be refused.

use rig_link::frame::{MAX_RAW, MAX_STUFFED, crc32c};
use rig_link::stuffing::{StuffingError, stuff, unstuff};
use rig_link::{FrameError, MAX_FRAME, MAX_PAYLOAD, Splitter, decode_frame, encode_frame};

/// COBS pairs: the paper's rules, bytes from the Python package `cobs` 1.2.2.
fn vectors() -> Vec<(Vec<u8>, Vec<u8>)> {
    let run: Vec<u8> = (1..=254).collect();
    let join = |head: &[u8], tail: &[u8]| [head, tail].concat();
    vec![
        (vec![], vec![0x01]),
        (vec![0x00], vec![0x01, 0x01]),
        (vec![0x00, 0x00], vec![0x01, 0x01, 0x01]),
        (vec![0x11, 0x22, 0x00, 0x33], vec![0x03, 0x11, 0x22, 0x02, 0x33]),
        (vec![0x11, 0x22, 0x33, 0x44], vec![0x05, 0x11, 0x22, 0x33, 0x44]),
        (vec![0x11, 0x00, 0x00, 0x00], vec![0x02, 0x11, 0x01, 0x01, 0x01]),
        (run.clone(), join(&[0xFF], &run)),
        (join(&[0x00], &run), join(&[0x01, 0xFF], &run)),
    ]
}

#[test]
fn stuffing_gives_the_published_bytes_both_ways() {
    for (body, stuffed) in vectors() {
        let mut out = [0xAA; 300];
        let length = stuff(&body, &mut out).unwrap();
        assert_eq!(&out[..length], stuffed);
        let length = unstuff(&stuffed, &mut out).unwrap();
        assert_eq!(&out[..length], body);
    }
}

#[test]
fn a_lone_code_behind_a_full_group_means_the_same() {
    let run: Vec<u8> = (1..=254).collect();
    let mut out = [0; 300];
    let length = unstuff(&[&[0xFF], run.as_slice(), &[0x01]].concat(), &mut out).unwrap();
    assert_eq!(&out[..length], run);
}

#[test]
fn what_is_not_stuffed_is_refused() {
    let bad: &[&[u8]] = &[
        &[],
        &[0x00],
        &[0x05, 0x31, 0x32, 0x33],
        &[0x05, 0x31, 0x32, 0x33, 0x34, 0x00],
        &[0x05, 0x31, 0x32, 0x00, 0x34],
        &[0x00, 0x05, 0x31, 0x32, 0x33, 0x34],
        &[0xFF, 0x01],
    ];
    for candidate in bad {
        let mut out = [0; 16];
        assert_eq!(
            unstuff(candidate, &mut out),
            Err(StuffingError::Invalid),
            "{candidate:02X?}"
        );
        let mut raw = [0; MAX_RAW];
        assert_eq!(
            decode_frame(candidate, &mut raw),
            Err(FrameError::Stuffing),
            "{candidate:02X?}"
        );
    }
}

#[test]
fn a_whole_frame_between_zeros_is_refused_with_them() {
    let mut out = [0; MAX_FRAME];
    let length = encode_frame(0x0C, 1, &[], &mut out).unwrap();
    let mut raw = [0; MAX_RAW];
    assert!(decode_frame(&out[..length - 1], &mut raw).is_ok());
    assert_eq!(decode_frame(&out[..length], &mut raw), Err(FrameError::Stuffing));
    let led = [&[0], &out[..length - 1]].concat();
    assert_eq!(decode_frame(&led, &mut raw), Err(FrameError::Stuffing));
}

#[test]
fn short_outputs_are_refused_at_every_length() {
    for (body, stuffed) in vectors() {
        for room in 0..stuffed.len() {
            assert_eq!(stuff(&body, &mut vec![0; room]), None, "{body:02X?} in {room}");
        }
        for room in 0..body.len() {
            assert_eq!(unstuff(&stuffed, &mut vec![0; room]), Err(StuffingError::NoRoom));
        }
    }
}

/// Check value of the catalogues; the others from RFC 3720, B.4 (bytes there in the order of the wire).
#[test]
fn checksums_are_the_published_ones() {
    let ascending: Vec<u8> = (0..32).collect();
    let descending: Vec<u8> = (0..32).rev().collect();
    assert_eq!(crc32c(b""), 0);
    assert_eq!(crc32c(b"123456789"), 0xE306_9283);
    assert_eq!(crc32c(&[0x00; 32]).to_le_bytes(), [0xAA, 0x36, 0x91, 0x8A]);
    assert_eq!(crc32c(&[0xFF; 32]).to_le_bytes(), [0x43, 0xAB, 0xA8, 0x62]);
    assert_eq!(crc32c(&ascending).to_le_bytes(), [0x4E, 0x79, 0xDD, 0x46]);
    assert_eq!(crc32c(&descending).to_le_bytes(), [0x5C, 0xDB, 0x3F, 0x11]);
}

#[test]
fn the_longest_frame_fits_the_stated_room_and_one_byte_more_does_not() {
    for filler in [0x00, 0x55] {
        let payload = [filler; MAX_PAYLOAD + 1];
        let mut out = [0; MAX_FRAME + 10];
        assert_eq!(encode_frame(1, 1, &payload, &mut out), Err(FrameError::NoRoom));
        let length = encode_frame(1, 1, &payload[..MAX_PAYLOAD], &mut out).unwrap();
        assert!(length <= MAX_FRAME);
        for room in 0..length {
            assert_eq!(
                encode_frame(1, 1, &payload[..MAX_PAYLOAD], &mut out[..room]),
                Err(FrameError::NoRoom)
            );
        }
        let mut splitter = Splitter::new();
        let mut found = 0;
        splitter.feed(&out[..length], |result| {
            assert_eq!(result.unwrap().payload, &payload[..MAX_PAYLOAD]);
            found += 1;
        });
        assert_eq!(found, 1);
    }
}

#[test]
fn bodies_too_short_or_too_long_are_refused() {
    let mut raw = [0; MAX_RAW];
    // Seven bytes: no room for header and checksum.
    assert_eq!(
        decode_frame(&[0x08, 1, 2, 3, 4, 5, 6, 7], &mut raw),
        Err(FrameError::Length(7))
    );
    // 505 bytes of body, one more than any frame has, in 506 stuffed bytes.
    let group = [&[0xFA], [0x55; 249].as_slice()].concat();
    let long = [&group, &group, [0x06, 1, 2, 3, 4, 5].as_slice()].concat();
    assert_eq!(long.len(), MAX_STUFFED);
    assert_eq!(
        decode_frame(&long, &mut raw),
        Err(FrameError::Length(MAX_RAW + 1))
    );
    assert_eq!(
        decode_frame(&[0x55; MAX_STUFFED + 1], &mut raw),
        Err(FrameError::Length(MAX_STUFFED + 1))
    );
}

#[test]
fn another_version_is_told_apart_from_damage() {
    // Version 2, kind 1, sequence 1, no payload.
    let mut body = vec![2, 1, 1, 0];
    body.extend(crc32c(&body).to_le_bytes());
    let mut stuffed = [0; 16];
    let length = stuff(&body, &mut stuffed).unwrap();
    let mut raw = [0; MAX_RAW];
    assert_eq!(
        decode_frame(&stuffed[..length], &mut raw),
        Err(FrameError::Version(2))
    );
}
