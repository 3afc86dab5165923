//! Files: recordings, those of other programs, records, and the project's own.

mod documents;
mod exchange_damage;
mod exchange_files;
mod exchange_roundtrip;
mod recording_crash;
mod recording_examples;
mod recording_following;
mod recording_kept;
mod recording_python;
mod recording_roundtrip;
#[path = "../recording_support/mod.rs"]
mod recording_support;
mod records_program;
mod tidy;
