//! Damage on the line: counted, never taken for a message. Seeded, so every run sees the same damage.

use crate::literals::{self, bytes};
use rig_link::frame::MAX_RAW;
use rig_link::{HostMessage, MAX_FRAME, RigMessage, Splitter, decode_frame, encode_host, encode_rig};

/// Xorshift (Marsaglia 2003): enough to place damage.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % below as u64) as usize
    }
}

/// The literal frames of both directions, closing delimiters included.
fn frames() -> Vec<Vec<u8>> {
    let batch = literals::batch();
    let host = literals::host()
        .into_iter()
        .map(|l| (l.name, l.sequence, l.message.kind(), l.wire));
    let rig = literals::rig(&batch)
        .into_iter()
        .map(|l| (l.name, l.sequence, l.message.kind(), l.wire));
    host.chain(rig).map(|(.., wire)| bytes(wire)).collect()
}

/// Feeds `wire` and counts good frames; each must be one of `allowed`.
fn good_frames(splitter: &mut Splitter, wire: &[u8], allowed: &[Vec<u8>]) -> usize {
    let mut good = 0;
    splitter.feed(wire, |result| {
        let Ok(frame) = result else { return };
        let known = allowed.iter().any(|whole| {
            let mut raw = [0; MAX_RAW];
            decode_frame(&whole[..whole.len() - 1], &mut raw) == Ok(frame)
        });
        assert!(known, "wrong frame {frame:02X?}");
        good += 1;
    });
    good
}

#[test]
fn every_single_flipped_bit_and_every_lost_byte_is_noticed() {
    let (mut flipped, mut lost) = (0, 0);
    for whole in frames() {
        let last = whole.len() - 1;
        for place in 0..last {
            for bit in 0..8 {
                let mut wire = whole.clone();
                wire[place] ^= 1 << bit;
                assert_eq!(good_frames(&mut Splitter::new(), &wire, &[]), 0);
                flipped += 1;
            }
            let mut wire = whole.clone();
            wire.remove(place);
            assert_eq!(good_frames(&mut Splitter::new(), &wire, &[]), 0);
            lost += 1;
        }
        // A lost or flipped delimiter joins two frames: neither is taken, the third is found.
        for joint in [None, Some(0x01), Some(0x80)] {
            let wire: Vec<u8> = whole[..last]
                .iter()
                .copied()
                .chain(joint)
                .chain(whole.iter().copied())
                .collect();
            let mut splitter = Splitter::new();
            assert_eq!(good_frames(&mut splitter, &wire, &[]), 0);
            assert_eq!(
                good_frames(&mut splitter, &whole, std::slice::from_ref(&whole)),
                1
            );
        }
    }
    let places: usize = frames().iter().map(|whole| whole.len() - 1).sum();
    assert_eq!((flipped, lost), (8 * places, places), "places tried");
    assert!(places > 600, "{places} places");
}

/// Bits flipped, bytes lost, doubled, added and exchanged in one frame.
fn mutate(wire: &mut Vec<u8>, dice: &mut Dice) {
    let place = dice.roll(wire.len());
    match dice.roll(5) {
        0 => wire[place] ^= 1 << dice.roll(8),
        1 => drop(wire.remove(place)),
        2 => wire.insert(place, wire[place]),
        3 => wire.insert(place, dice.roll(256) as u8),
        _ => {
            let other = dice.roll(wire.len());
            wire.swap(place, other);
        }
    }
}

#[test]
fn a_million_mutated_frames_yield_no_wrong_frame_and_no_panic() {
    const FRAMES: usize = 1_000_000;
    let whole = frames();
    let mut dice = Dice(0x9E37_79B9_7F4A_7C15);
    let mut splitter = Splitter::new();
    let (mut good, mut undamaged) = (0_usize, 0_usize);
    let mut wire = Vec::new();
    for _ in 0..FRAMES {
        let original = &whole[dice.roll(whole.len())];
        wire.clear();
        wire.extend_from_slice(original);
        for _ in 0..=dice.roll(3) {
            mutate(&mut wire, &mut dice);
        }
        wire.push(0); // what is damaged now ends here
        undamaged += usize::from(
            wire[..wire.len() - 1]
                .split(|&byte| byte == 0)
                .any(|part| part == &original[..original.len() - 1]),
        );
        splitter.feed(&wire, |result| {
            let Ok(frame) = result else { return };
            let mut raw = [0; MAX_RAW];
            assert_eq!(
                decode_frame(&original[..original.len() - 1], &mut raw),
                Ok(frame),
                "wrong frame"
            );
            let parsed = if frame.kind < 0x80 {
                HostMessage::parse(frame).is_ok()
            } else {
                RigMessage::parse(frame).is_ok()
            };
            assert!(parsed);
            good += 1;
        });
    }
    assert!(good >= undamaged, "{good} found of {undamaged} undamaged");
    assert!(
        splitter.bad_frames() as usize > FRAMES / 2,
        "{} bad",
        splitter.bad_frames()
    );
    println!(
        "{good} good ({undamaged} undamaged), {} bad",
        splitter.bad_frames()
    );
}

#[test]
fn mutated_payloads_are_refused_or_encode_to_the_same_bytes() {
    const PAYLOADS: usize = 300_000;
    let whole = frames();
    let mut dice = Dice(0xD1B5_4A32_D192_ED03);
    let (mut taken, mut refused) = (0_usize, 0_usize);
    for _ in 0..PAYLOADS {
        let original = &whole[dice.roll(whole.len())];
        let mut raw = [0; MAX_RAW];
        let frame = decode_frame(&original[..original.len() - 1], &mut raw).unwrap();
        let mut payload = frame.payload.to_vec();
        payload.push(0);
        mutate(&mut payload, &mut dice);
        payload.pop();
        let frame = rig_link::Frame {
            payload: &payload,
            ..frame
        };
        let mut out = [0; MAX_FRAME];
        let length = if frame.kind < 0x80 {
            HostMessage::parse(frame).map(|message| encode_host(&message, frame.sequence, &mut out))
        } else {
            RigMessage::parse(frame).map(|message| encode_rig(&message, frame.sequence, &mut out))
        };
        let Ok(length) = length else {
            refused += 1;
            continue;
        };
        let mut again = [0; MAX_RAW];
        assert_eq!(
            decode_frame(&out[..length.unwrap() - 1], &mut again),
            Ok(frame),
            "encodes otherwise"
        );
        taken += 1;
    }
    assert!(
        taken > PAYLOADS / 10 && refused > PAYLOADS / 10,
        "{taken} taken, {refused} refused"
    );
}
