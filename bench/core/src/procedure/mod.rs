//! A procedure as checked values: what is to be done, before it is known on which rig.
//!
//! Reading a procedure checks each value by itself. Whether it fits a rig is checked by [`Procedure::plan`], whose
//! findings still name the procedure's lines: values that a rig may object to keep their [`Place`].

mod limits;
mod placed;
mod read;

pub use limits::ProcedureLimits;
pub use placed::{Level, Placed};
pub(crate) use placed::{Sign, read_level, read_level_or_zero, read_levels};

use alloc::{string::String, sync::Arc, vec::Vec};
use settings_file::{Finding, Findings, Place};

use crate::{
    excitation::{Correction, CorrectionCurve, Excitation, Trace, TraceSamples},
    plan::Plan,
    rig::Mounting,
    rig::Rig,
};

/// A procedure. Only [`Procedure::from_toml`] makes one.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Procedure {
    /// The file it was read from, as messages name it.
    pub file: String,
    /// Name, as recordings and reports show it.
    pub name: String,
    /// What it is for.
    pub purpose: String,
    /// How the rim must be held for it.
    pub mounting: Placed<Mounting>,
    /// Time between samples, µs; a whole number.
    pub sample_period_us: Placed<u32>,
    /// Rate of the ramps that reach and leave preloads and held levels, N·m/s.
    pub ramp_nm_per_s: Placed<f64>,
    /// Length of the zero checks at both ends and between segments, µs.
    pub zero_us: u64,
    /// Limits of its own, tighter than the rig's.
    pub limits: ProcedureLimits,
    /// The first torque of the run.
    pub approach: ApproachStep,
    /// What follows, in this order; at least one.
    pub segments: Vec<Segment>,
}

/// The first torque of any run: small, and judged for sign and gain before anything larger is sent.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct ApproachStep {
    /// Its torque.
    pub level: Placed<Level>,
    /// How long it is held, µs.
    pub hold_us: u64,
    /// Rest at zero after it, µs; at least 300,000, so that it can be judged before more is sent.
    pub rest_us: u64,
    /// Allowed range of measured by commanded torque, both counted from the zero before the step.
    pub gain_range: [f64; 2],
}

/// One excitation with its amplitudes, repeats and rests.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Segment {
    /// Name, unique in the procedure.
    pub name: String,
    /// Where it stands in the file.
    pub place: Place,
    /// What is done.
    pub excitation: Excitation,
}

impl Procedure {
    /// Reads a procedure file.
    ///
    /// # Errors
    /// Everything that is wrong with the file by itself, each with its line.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, Findings> {
        read::read(file, text)
    }

    /// The traces that segments play, in the order of the segments.
    pub fn traces(&self) -> impl Iterator<Item = &Trace> {
        self.segments
            .iter()
            .filter_map(|segment| match &segment.excitation {
                Excitation::Trace(trace) => Some(trace),
                _ => None,
            })
    }

    /// Gives every trace its samples, as `supply` reads them.
    ///
    /// # Errors
    /// All that `supply` finds.
    pub fn with_traces(
        mut self,
        mut supply: impl FnMut(&Trace) -> Result<Arc<TraceSamples>, Finding>,
    ) -> Result<Self, Findings> {
        let mut findings = Findings::new();
        for segment in &mut self.segments {
            if let Excitation::Trace(trace) = &mut segment.excitation {
                match supply(trace) {
                    Ok(samples) => trace.samples = Some(samples),
                    Err(finding) => findings.push(finding),
                }
            }
        }
        findings.or_value(self)
    }

    /// The correction curves that segments go by, in the order of the segments.
    pub fn corrections(&self) -> impl Iterator<Item = &Correction> {
        self.segments
            .iter()
            .filter_map(|segment| match &segment.excitation {
                Excitation::Staircase(staircase) => staircase.correction.as_ref(),
                _ => None,
            })
    }

    /// Gives every correction its curve, as `supply` reads it.
    ///
    /// # Errors
    /// All that `supply` finds.
    pub fn with_corrections(
        mut self,
        mut supply: impl FnMut(&Correction) -> Result<Arc<CorrectionCurve>, Finding>,
    ) -> Result<Self, Findings> {
        let mut findings = Findings::new();
        for segment in &mut self.segments {
            let Excitation::Staircase(staircase) = &mut segment.excitation else {
                continue;
            };
            if let Some(correction) = &mut staircase.correction {
                match supply(correction) {
                    Ok(curve) => correction.curve = Some(curve),
                    Err(finding) => findings.push(finding),
                }
            }
        }
        findings.or_value(self)
    }

    /// Lays the procedure out on the time line of a run on `rig`. The seed decides dithers and the order of levels;
    /// the same three inputs give the same plan.
    ///
    /// # Errors
    /// Everything in which the procedure does not fit the rig, with the procedure's lines.
    pub fn plan(&self, rig: &Rig, seed: u64) -> Result<Plan, Findings> {
        Plan::new(self, rig, seed)
    }
}
