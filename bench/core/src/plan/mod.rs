//! A procedure on the time line of one rig: every setpoint of a run as a pure function of the time since its start.
//!
//! The time line is a chain of [`Piece`]s, in microseconds from 0. Entries for the rig are taken at the start of each
//! piece and every [`SETPOINT_STRIDE_US`] from there, so a piece may start on any microsecond, and a step's start can
//! be shifted by less than a stride.

mod approach;
mod check;
mod delivered;
mod layout;
mod piece;
mod random;
mod summary;
mod warming;
mod window;

pub use approach::Approach;
pub(crate) use check::{Against, RINGS_TO};
pub use delivered::{Arrangement, Band, Delivered, Signal};
pub(crate) use layout::Layout;
pub use piece::{Piece, Role, Shape};
pub(crate) use random::Random;
pub use summary::{SegmentSummary, Summary};
pub(crate) use window::Facts;
pub use window::Window;

use alloc::{format, string::String, vec::Vec};
use settings_file::{Finding, Findings};

use crate::{
    excitation::{ExcitationKind, Realisation},
    plan::layout::{LONGEST_US, MOST_PIECES},
    procedure::Procedure,
    rig::{Limits, Mounting, Rig},
    units::{show_nm, show_us},
};

/// Time between setpoints within a piece, µs.
pub const SETPOINT_STRIDE_US: u32 = 250;

/// A run laid out. Contiguous from 0, zero at both ends, never beyond the limits of the rig it was made for.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    procedure: String,
    purpose: String,
    mounting: Mounting,
    limits: Limits,
    seed: u64,
    sample_period_us: u32,
    approach: Approach,
    pieces: Vec<Piece>,
    windows: Vec<Window>,
    names: Vec<String>,
    kinds: Vec<ExcitationKind>,
    notes: Vec<String>,
    sources: Vec<(String, String)>,
}

impl Plan {
    /// See [`Procedure::plan`].
    pub(crate) fn new(procedure: &Procedure, rig: &Rig, seed: u64) -> Result<Self, Findings> {
        let peak_nm = rig.wheelbase.peak_torque_nm;
        let sample_period_us = procedure.sample_period_us.value;
        let realisations: Vec<Vec<Realisation>> = (1..)
            .zip(&procedure.segments)
            .map(|(number, segment)| {
                let excitation = &segment.excitation;
                excitation.realisations(peak_nm, sample_period_us, seed, number)
            })
            .collect();
        let (limits, notes) = Against::check(procedure, rig, &realisations)?;
        let mut layout = Layout::new(peak_nm, procedure.ramp_nm_per_s.value, seed);
        let approach = approach::lay(&mut layout, &procedure.approach, procedure.zero_us);
        for (segment, realisations) in procedure.segments.iter().zip(&realisations) {
            layout.begin_segment(&segment.name);
            segment.excitation.lay(&mut layout, realisations);
            layout.stay(procedure.zero_us, Role::Zero);
            if layout.is_full() {
                let problem = format!(
                    "with this segment the plan outgrows {MOST_PIECES} pieces or {}",
                    show_us(LONGEST_US)
                );
                let fix = "shorten it, or divide the procedure into several";
                return Err(Finding::new(&procedure.file, &segment.place, problem, fix).into());
            }
        }
        if let Some(passes) = warming::passes(&layout.pieces, &rig.wheelbase) {
            let place = passes
                .segment
                .checked_sub(1)
                .and_then(|index| procedure.segments.get(index))
                .map_or(&procedure.approach.level.place, |segment| &segment.place);
            let problem = format!(
                "after {} the plan has asked for more than the wheelbase holds for good: up to {} by the mean square over its \
                 warming",
                show_us(passes.at_us),
                show_nm(passes.greatest_nm)
            );
            let allowed = rig.wheelbase.sustained_torque_nm.map(|nm| {
                format!(
                    "at most the limit of {} in {}, rig.wheelbase.sustained_torque",
                    show_nm(nm),
                    rig.file
                )
            });
            let fix = "lower the levels, or rest longer between them";
            let finding = Finding::new(&procedure.file, place, problem, fix);
            return Err(allowed
                .map_or(finding.clone(), |allowed| finding.allowing(allowed))
                .into());
        }
        Ok(Self {
            procedure: procedure.name.clone(),
            purpose: procedure.purpose.clone(),
            mounting: procedure.mounting.value,
            limits,
            seed,
            sample_period_us,
            approach,
            pieces: layout.pieces,
            windows: layout.windows,
            names: procedure.segments.iter().map(|s| s.name.clone()).collect(),
            kinds: procedure.segments.iter().map(|s| s.excitation.kind()).collect(),
            notes,
            sources: sources(procedure),
        })
    }

    /// Name of the procedure.
    pub fn procedure(&self) -> &str {
        &self.procedure
    }

    /// What the procedure is for.
    pub fn purpose(&self) -> &str {
        &self.purpose
    }

    /// How the rim is held.
    pub fn mounting(&self) -> Mounting {
        self.mounting
    }

    /// The limits of the rig it was made for, in its mounting, tightened by the procedure's own.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The seed of dithers and orders.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// Time between samples, µs.
    pub fn sample_period_us(&self) -> u32 {
        self.sample_period_us
    }

    /// The first torque and when to judge it.
    pub fn approach(&self) -> &Approach {
        &self.approach
    }

    /// All pieces in the order of time; each begins where the one before ends.
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// The excitations in the order of time, with all that fits need to know.
    pub fn windows(&self) -> &[Window] {
        &self.windows
    }

    /// What should be known beside the result.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Files besides the procedure that it was made from, each once: name in the procedure, and text.
    pub fn sources(&self) -> &[(String, String)] {
        &self.sources
    }

    /// Name of a segment by its number in [`Piece::segment`].
    pub fn segment_name(&self, segment: usize) -> &str {
        match segment.checked_sub(1) {
            None => "approach",
            Some(index) => self.names.get(index).map_or("", String::as_str),
        }
    }

    /// Length of the run, µs; the first tick after the last piece.
    pub fn duration_us(&self) -> u64 {
        self.pieces.last().map_or(0, |p| p.end_us)
    }

    /// Greatest setpoint either way, N·m.
    pub fn peak_nm(&self) -> f64 {
        self.pieces.iter().map(Piece::peak_nm).fold(0.0, f64::max)
    }

    fn index_at(&self, t_us: u64) -> usize {
        self.pieces.partition_point(|p| p.end_us <= t_us)
    }

    /// The piece at a tick, none after the end.
    pub fn piece_at(&self, t_us: u64) -> Option<&Piece> {
        self.pieces.get(self.index_at(t_us))
    }

    /// The setpoint at a tick, N·m; zero after the end.
    pub fn setpoint_nm(&self, t_us: u64) -> f64 {
        self.piece_at(t_us).map_or(0.0, |p| p.setpoint_nm(t_us))
    }

    /// The tick of the first entry at or after `from_us`; none behind the last one. Ask again with the tick plus one
    /// for the next.
    pub fn next_entry_us(&self, from_us: u64) -> Option<u64> {
        let index = self.index_at(from_us);
        let piece = self.pieces.get(index)?;
        let stride_us = u64::from(SETPOINT_STRIDE_US);
        let strides = from_us.saturating_sub(piece.start_us).div_ceil(stride_us);
        let tick_us = piece.start_us + strides * stride_us;
        if tick_us < piece.end_us {
            Some(tick_us)
        } else {
            self.pieces.get(index + 1).map(|next| next.start_us)
        }
    }

    /// All entries: tick and setpoint in N·m, ticks strictly rising.
    pub fn entries(&self) -> impl Iterator<Item = (u64, f64)> + '_ {
        self.pieces.iter().flat_map(|piece| {
            let ticks = (piece.start_us..piece.end_us).step_by(SETPOINT_STRIDE_US as usize);
            ticks.map(|tick_us| (tick_us, piece.setpoint_nm(tick_us)))
        })
    }

    /// The plan in a few lines.
    pub fn summary(&self) -> Summary {
        let segment = |(i, (name, kind)): (usize, (&String, &ExcitationKind))| {
            let own = || self.pieces.iter().filter(move |p| p.segment == i + 1);
            SegmentSummary {
                name: name.clone(),
                kind: *kind,
                excitations: self
                    .windows
                    .iter()
                    .filter(|w| w.segment == i + 1 && w.part == 0)
                    .count(),
                duration_us: own().map(|p| p.end_us - p.start_us).sum(),
                peak_nm: own().map(Piece::peak_nm).fold(0.0, f64::max),
            }
        };
        Summary {
            procedure: self.procedure.clone(),
            duration_us: self.duration_us(),
            peak_nm: self.peak_nm(),
            segments: self
                .names
                .iter()
                .zip(&self.kinds)
                .enumerate()
                .map(segment)
                .collect(),
            notes: self.notes.clone(),
        }
    }
}

fn sources(procedure: &Procedure) -> Vec<(String, String)> {
    let traces = procedure.traces().filter_map(|trace| {
        let samples = trace.samples.as_ref()?;
        Some((&trace.file.value, samples.text()))
    });
    let corrections = procedure.corrections().filter_map(|correction| {
        let curve = correction.curve.as_ref()?;
        Some((&correction.file.value, curve.text()))
    });
    let mut all: Vec<(String, String)> = Vec::new();
    for (name, text) in traces.chain(corrections) {
        if !all.iter().any(|(known, _)| known == name) {
            all.push((name.clone(), text.into()));
        }
    }
    all
}
