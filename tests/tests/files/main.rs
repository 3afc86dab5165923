//! Files: recordings, those of other programs, records, pages, and the project's own; and what lasts longest, an emulated machine and
//! processes that are killed, so that it does not stand alone.

mod documents;
mod exchange_damage;
mod exchange_files;
mod exchange_roundtrip;
mod pages_in_a_browser;
mod plain_kernel;
mod real_devices;
mod recording_crash;
mod recording_examples;
mod recording_following;
mod recording_kept;
mod recording_kills;
mod recording_python;
mod recording_roundtrip;
#[path = "../recording_support/mod.rs"]
mod recording_support;
mod records_program;
mod tidy;
