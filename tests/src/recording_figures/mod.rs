//! What recording costs: bytes a sample, speed, processor share, memory, forcing to the disk, reading a slice.

// A program for the developer's desk that measures time; it may end with the first surprise.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods
)]

pub mod jobs;
pub mod page;
pub mod process;
pub mod signal;
