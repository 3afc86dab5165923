//! Being written.

pub mod recording;
