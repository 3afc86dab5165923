//! Runs that go wrong, in lock-step: a virtual rig under a looking glass, a line that can be meddled with, and what
//! must hold of every run however it ends.

#![allow(clippy::unwrap_used, clippy::panic)] // the helpers of a test may fail it

pub mod line;
pub mod meddling;
pub mod played;
#[cfg(unix)]
pub mod program;
pub mod scene;

pub use line::{Look, Moment, Watched};
pub use meddling::Meddler;
pub use played::Played;
pub use scene::Scene;
