//! Literal frames: every message encodes to exactly its bytes and decodes back to its fields.

use crate::literals::{self, Literal, bytes};
use rig_link::frame::MAX_RAW;
use rig_link::message::STOP_KIND;
use rig_link::{HostMessage, MAX_FRAME, RigMessage, decode_frame, encode_host, encode_rig};

fn check<M: PartialEq + std::fmt::Debug>(
    literal: &Literal<M>,
    encode: impl Fn(&M, u16, &mut [u8]) -> usize,
    agrees: impl Fn(rig_link::Frame<'_>, &M) -> bool,
) {
    let wire = bytes(literal.wire);
    let mut out = [0xAA; MAX_FRAME];
    let length = encode(&literal.message, literal.sequence, &mut out);
    assert_eq!(&out[..length], wire, "{}: encoded", literal.name);
    let mut raw = [0; MAX_RAW];
    let frame = decode_frame(&wire[..wire.len() - 1], &mut raw).unwrap();
    assert_eq!(frame.sequence, literal.sequence, "{}", literal.name);
    assert!(agrees(frame, &literal.message), "{}: decoded", literal.name);
}

#[test]
fn every_host_message_is_its_bytes() {
    let all = literals::host();
    for literal in &all {
        check(
            literal,
            |message, sequence, out| encode_host(message, sequence, out).unwrap(),
            |frame, message| HostMessage::parse(frame) == Ok(*message),
        );
    }
    let mut kinds: Vec<u8> = all.iter().map(|literal| literal.message.kind()).collect();
    kinds.sort_unstable();
    assert_eq!(kinds, HostMessage::KINDS, "one literal a kind");
}

#[test]
fn every_rig_message_is_its_bytes() {
    let batch = literals::batch();
    let all = literals::rig(&batch);
    for literal in &all {
        check(
            literal,
            |message, sequence, out| encode_rig(message, sequence, out).unwrap(),
            |frame, message| RigMessage::parse(frame) == Ok(*message),
        );
    }
    let mut kinds: Vec<u8> = all.iter().map(|literal| literal.message.kind()).collect();
    kinds.sort_unstable();
    assert_eq!(kinds, RigMessage::KINDS, "one literal a kind");
}

#[test]
fn a_configuration_names_itself_by_the_published_crc() {
    assert_eq!(literals::configuration().crc(), 0xDEAA_5C27);
}

#[test]
fn the_stop_kind_is_that_of_the_stop_message() {
    let stop = literals::host()
        .into_iter()
        .find(|literal| literal.name == "Stop")
        .unwrap();
    assert_eq!(stop.message.kind(), STOP_KIND);
}
