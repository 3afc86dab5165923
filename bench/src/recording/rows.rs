//! What is written while a run lasts: blocks of samples and the rows beside them.

use serde::{Deserialize, Serialize};

/// Consecutive samples: row `i` was taken at `first_tick + i · sample_period_ticks`.
///
/// Lost samples are never filled in: a gap is the next block starting later.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Block {
    /// Rig tick of the first row.
    pub first_tick: u64,
    /// Number of rows; every column has as many counts.
    pub rows: usize,
    /// Raw counts, one vector a channel, in the order of the header's channels.
    pub columns: Vec<Vec<i32>>,
}

/// The segment table's word for a multisine.
pub(crate) const MULTISINE: &str = "multisine";
/// Its word for a pseudo-random signal.
pub(crate) const PSEUDO_RANDOM: &str = "pseudo-random";

/// Under what name a recording lists the lines of a multisine, by the position of its segment.
pub(crate) fn lines_name(segment: impl std::fmt::Display) -> String {
    format!("segment_{segment}_lines")
}

/// One repeat of one segment as it was played. A number that does not apply to the excitation is NaN.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SegmentRow {
    /// The segment's name in the procedure.
    pub name: String,
    /// Excitation: `step`, `chirp`, `hold`, …
    pub excitation: String,
    /// What the stretch is for: `excite`, `preload`, `rest`, `return`, …
    pub role: String,
    /// Position of the segment in the procedure, from 0.
    pub segment: u32,
    /// Repeat, from 0.
    pub repeat: u32,
    /// Rig tick at which its first setpoint came into force.
    pub start_tick: u64,
    /// Rig tick at which its last setpoint ceased to be in force.
    pub end_tick: u64,
    /// Torque commanded before, N·m.
    pub from_nm: f64,
    /// Torque commanded at the end, N·m.
    pub to_nm: f64,
    /// Amplitude of the excitation, N·m.
    pub amplitude_nm: f64,
    /// Constant torque under the excitation, N·m.
    pub preload_nm: f64,
    /// Lowest or first frequency, Hz.
    pub f_start_hz: f64,
    /// Highest or last frequency, Hz.
    pub f_end_hz: f64,
    /// Planned duration, s.
    pub duration_s: f64,
    /// How long each setpoint is held, µs.
    pub hold_us: u32,
}

impl SegmentRow {
    /// Whether fits look at it: not a ramp, a rest or a period in which the rig still settles. The shorter word is that of
    /// the first recordings.
    #[must_use]
    pub fn is_excitation(&self) -> bool {
        matches!(self.role.as_str(), "excitation" | "excite")
    }
}

/// Who noticed an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// The rig controller.
    Rig,
    /// The bench.
    Bench,
}

impl Source {
    /// The word that stands for it in the file.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Rig => "rig",
            Self::Bench => "bench",
        }
    }
}

/// Something that happened: armed, tripped, stopped, samples lost, a note.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EventRow {
    /// Rig tick, as well as it is known.
    pub tick: u64,
    /// Host monotonic time, ns.
    pub host_ns: i64,
    /// Who noticed.
    pub source: Source,
    /// Short stable code, `trip-torque`.
    pub code: String,
    /// The sentence a person reads.
    pub text: String,
}

/// When a batch of samples reached the host.
///
/// The field's name is the column's, which is as it was in the first version of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct HostRow {
    /// Rig tick of the batch's last sample.
    pub first_tick: u64,
    /// Host monotonic time of its arrival, ns.
    pub host_ns: i64,
}

/// One question and answer over the link, for aligning host time with ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoundTrip {
    /// Host monotonic time at which the question was written, ns.
    pub host_send_ns: i64,
    /// Host monotonic time at which the answer was read, ns.
    pub host_receive_ns: i64,
    /// Rig tick in the answer.
    pub rig_tick: u64,
}

/// How a run ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "lowercase")]
pub enum Completion {
    /// The whole procedure was played.
    Complete,
    /// The interlock or the rig controller stopped the motor.
    Tripped {
        /// Why, with the value and the limit.
        cause: String,
    },
    /// A person or a signal stopped it.
    Stopped {
        /// Who or what.
        cause: String,
    },
    /// The bench could not go on.
    Failed {
        /// What failed.
        cause: String,
    },
}

impl Completion {
    /// The word that stands for it in the file, and the cause (empty when complete).
    pub fn parts(&self) -> (&'static str, &str) {
        match self {
            Self::Complete => ("complete", ""),
            Self::Tripped { cause } => ("tripped", cause),
            Self::Stopped { cause } => ("stopped", cause),
            Self::Failed { cause } => ("failed", cause),
        }
    }

    /// The inverse of [`Completion::parts`]; `None` for a word this version does not know.
    pub fn from_parts(word: &str, cause: &str) -> Option<Self> {
        let cause = cause.to_owned();
        match word {
            "complete" => Some(Self::Complete),
            "tripped" => Some(Self::Tripped { cause }),
            "stopped" => Some(Self::Stopped { cause }),
            "failed" => Some(Self::Failed { cause }),
            _ => None,
        }
    }
}

/// The digest that a finished recording carries; see `SCHEMA.md` for what it covers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seal {
    /// SHA-256 over the list of object digests, 64 lower-case hexadecimal digits.
    pub sha256: String,
    /// Version of the way of hashing, `sha256-objects-1`.
    pub method: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_words_for_an_excitation_are_known() {
        let row = |role: &str| SegmentRow {
            role: role.into(),
            ..SegmentRow::default()
        };
        assert!(row("excitation").is_excitation() && row("excite").is_excitation());
        assert!(!row("transient").is_excitation() && !row("").is_excitation());
    }
}
