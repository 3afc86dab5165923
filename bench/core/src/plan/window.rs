//! Stretches of a run that fits look at.

use alloc::{string::String, sync::Arc};

use crate::excitation::{ExcitationKind, Sweep, Tones};

/// One excitation on the time line, with all that a fit needs to know of what was commanded.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Window {
    /// Segment of the procedure, counted from 1.
    pub segment: usize,
    /// Running number within the segment, counted from 0 in the order of time; the realisation of a multisine.
    pub repeat: usize,
    /// Number within the repeat, counted from 0 in the order of time: the period of a periodic signal, the pulse of a
    /// train; 0 for all others.
    pub part: usize,
    /// Whether it is a period in which the rig is still settling.
    pub transient: bool,
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
    /// Height of a step, amplitude of a chirp or greatest torque of a periodic signal beside its preload, N·m, not
    /// negative; crest of a pulse counted from its preload, either way; 0 for a hold.
    pub amplitude_nm: f64,
    /// Torque on which the excitation rides, N·m.
    pub preload_nm: f64,
    /// Random delay of the start, µs; already contained in `start_us`.
    pub dither_us: u64,
    /// Frequencies of a chirp.
    pub sweep: Option<Sweep>,
    /// Lines and phases of a multisine.
    pub tones: Option<Arc<Tones>>,
}

/// What an excitation tells of its window; the layout knows the times.
#[derive(Clone, Debug)]
pub(crate) struct Facts {
    pub(crate) kind: ExcitationKind,
    pub(crate) level: usize,
    pub(crate) from_nm: f64,
    pub(crate) to_nm: f64,
    pub(crate) amplitude_nm: f64,
    pub(crate) preload_nm: f64,
    pub(crate) after_us: u64,
    pub(crate) part: u32,
    pub(crate) transient: bool,
    pub(crate) sweep: Option<Sweep>,
    pub(crate) tones: Option<Arc<Tones>>,
}

impl Facts {
    /// Of an excitation that starts at one torque and ends at another; nothing else.
    pub(crate) fn between(kind: ExcitationKind, from_nm: f64, to_nm: f64) -> Self {
        Self {
            kind,
            level: 0,
            from_nm,
            to_nm,
            amplitude_nm: 0.0,
            preload_nm: 0.0,
            after_us: 0,
            part: 0,
            transient: false,
            sweep: None,
            tones: None,
        }
    }
}
