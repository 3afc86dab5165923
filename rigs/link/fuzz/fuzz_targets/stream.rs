//! Any byte stream: no panic, bounded memory, and a frame behind it is found.
#![no_main]

use libfuzzer_sys::fuzz_target;
use rig_link::message::STOP_KIND;
use rig_link::{HostMessage, RigMessage, Splitter};

/// The Stop of PROTOCOL.md, 5.9, with the delimiter that a bench sends in front.
const STOP: &[u8] = &[
    0x00, 0x04, 0x01, 0x0A, 0x0B, 0x07, 0x01, 0x02, 0x05, 0xC1, 0xA0, 0x6B, 0x00,
];

fuzz_target!(|bytes: &[u8]| {
    let mut splitter = Splitter::new();
    splitter.feed(bytes, |result| {
        if let Ok(frame) = result {
            let _ = (HostMessage::parse(frame), RigMessage::parse(frame));
        }
    });
    let mut last = None;
    splitter.feed(STOP, |result| last = result.ok().map(|frame| frame.kind));
    assert_eq!(last, Some(STOP_KIND));
});
