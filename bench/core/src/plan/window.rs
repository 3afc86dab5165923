//! Stretches of a run that fits look at.

use alloc::string::String;

use crate::excitation::{ExcitationKind, Sweep};

/// One excitation on the time line, with all that a fit needs to know of what was commanded.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Window {
    /// Segment of the procedure, counted from 1.
    pub segment: usize,
    /// Running number within the segment, counted from 0 in the order of time.
    pub repeat: usize,
    /// Index of the level in the segment's list as the file gives it; 0 for excitations without one.
    pub level: usize,
    /// Name of the segment.
    pub name: String,
    /// Kind of the excitation.
    pub kind: ExcitationKind,
    /// Start of the excitation; the tick of its first setpoint.
    pub start_us: u64,
    /// End of the excitation: the first tick of what follows.
    pub end_us: u64,
    /// Where to cut the recording, a little before the start; nothing but rest at `from_nm` lies between.
    pub cut_from_us: u64,
    /// Where to cut the recording behind it; nothing but rest at `to_nm` lies between.
    pub cut_to_us: u64,
    /// Setpoint before, N·m.
    pub from_nm: f64,
    /// Setpoint at the end, N·m.
    pub to_nm: f64,
    /// Height of a step or amplitude of a chirp, N·m; not negative; 0 for a hold.
    pub amplitude_nm: f64,
    /// Torque on which the excitation rides, N·m.
    pub preload_nm: f64,
    /// Random delay of the start, µs; already contained in `start_us`.
    pub dither_us: u64,
    /// Frequencies of a chirp.
    pub sweep: Option<Sweep>,
}

/// What an excitation tells of its window; the layout knows the times.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Facts {
    pub(crate) kind: ExcitationKind,
    pub(crate) level: usize,
    pub(crate) from_nm: f64,
    pub(crate) to_nm: f64,
    pub(crate) amplitude_nm: f64,
    pub(crate) preload_nm: f64,
    pub(crate) after_us: u64,
    pub(crate) sweep: Option<Sweep>,
}
