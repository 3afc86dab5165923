//! Any payload of any kind: parsed or refused; what is parsed encodes to the same bytes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use rig_link::frame::MAX_RAW;
use rig_link::{
    Frame, HostMessage, MAX_FRAME, MAX_PAYLOAD, RigMessage, decode_frame, encode_host, encode_rig,
};

fuzz_target!(|input: (u8, u16, &[u8])| {
    let (kind, sequence, bytes) = input;
    let payload = &bytes[..bytes.len().min(MAX_PAYLOAD)];
    let frame = Frame {
        kind,
        sequence,
        payload,
    };
    let mut out = [0; MAX_FRAME];
    let length = match (HostMessage::parse(frame), RigMessage::parse(frame)) {
        (Ok(message), _) => encode_host(&message, sequence, &mut out),
        (_, Ok(message)) => encode_rig(&message, sequence, &mut out),
        _ => return,
    };
    let length = length.expect("what was parsed fits a frame");
    let mut raw = [0; MAX_RAW];
    assert_eq!(decode_frame(&out[..length - 1], &mut raw), Ok(frame));
});
