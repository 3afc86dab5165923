//! Frames and messages: literal bytes, damage, properties, the document, and the C codec and controller beside them. One program,
//! so that it is linked once.
#![allow(missing_docs, clippy::unwrap_used, clippy::panic)]

mod bare_target;
mod c_codec;
mod c_controller;
mod corruption;
mod document;
mod golden;
mod literals;
mod payloads;
mod properties;
mod scripted_rig;
mod second_codec;
mod stuffing;
