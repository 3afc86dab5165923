//! A plan in a few lines, for whoever is about to let it run.

use alloc::{string::String, vec::Vec};
use core::fmt;

use crate::{
    excitation::ExcitationKind,
    units::{show_nm, show_us},
};

/// What a plan will do.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Summary {
    /// Name of the procedure.
    pub procedure: String,
    /// Length of the run, µs.
    pub duration_us: u64,
    /// Greatest setpoint either way, N·m.
    pub peak_nm: f64,
    /// One line a segment.
    pub segments: Vec<SegmentSummary>,
    /// What should be known beside the result.
    pub notes: Vec<String>,
}

/// What a segment will do.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct SegmentSummary {
    /// Name of the segment.
    pub name: String,
    /// Kind of its excitation.
    pub kind: ExcitationKind,
    /// Number of excitations: repeats times levels; the periods of one and the pulses of a train count as one.
    pub excitations: usize,
    /// Its length with rests, µs.
    pub duration_us: u64,
    /// Its greatest setpoint either way, N·m.
    pub peak_nm: f64,
}

impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: {}, setpoints up to {}",
            self.procedure,
            show_us(self.duration_us),
            show_nm(self.peak_nm)
        )?;
        for (i, s) in self.segments.iter().enumerate() {
            write!(
                f,
                "\n  {}. {}: {} × {}, {}, up to {}",
                i + 1,
                s.name,
                s.excitations,
                s.kind,
                show_us(s.duration_us),
                show_nm(s.peak_nm)
            )?;
        }
        for note in &self.notes {
            write!(f, "\n  note: {note}")?;
        }
        Ok(())
    }
}
