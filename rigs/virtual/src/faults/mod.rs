//! Scripted faults: what goes wrong, when, and by how much.
//!
//! [`KINDS`] lists every kind with its word, the unit and range of its size, and what it does; rig files, the command
//! line, the documents and the tests all read that one table. A fault comes from `[[virtual.faults]]` of a rig file or
//! from a text ([`Fault::from_text`]).

mod kinds;
mod text;

pub use kinds::{FaultKind, KINDS, KindInfo, SizeInfo, SizeQuantity};
pub use text::FaultTextError;

/// Latest start of a fault, s.
pub const LATEST_START_S: f64 = 86_400.0;

/// One scripted fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: FaultKind,
    /// When, in ticks since the rig was switched on.
    pub start_tick: u64,
    /// How much, SI, in the quantity that [`KINDS`] names; 0 where it needs none.
    pub size: f64,
}

/// A time in ticks.
pub(crate) fn ticks(time_s: f64) -> u64 {
    (time_s * 1e6).round() as u64
}
