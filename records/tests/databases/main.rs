//! The records on both kinds of database. One program, so that one server serves all of it.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

mod adding;
mod damage;
mod documents;
mod judging;
mod many;
mod support;
