//! Checking a procedure against a rig, with findings in the procedure's lines.

use alloc::{format, string::String, vec::Vec};
use settings_file::{Finding, Findings, Place};

use crate::{
    procedure::{Level, Placed, Procedure, Segment},
    rig::{Mounting, Rig},
    units::{show_nm, show_slew},
};

/// A procedure held against a rig: collects what does not fit, and what should be known.
pub(crate) struct Against<'a> {
    pub(crate) procedure: &'a Procedure,
    pub(crate) rig: &'a Rig,
    segment: Option<&'a Segment>,
    findings: Findings,
    notes: Vec<String>,
}

impl<'a> Against<'a> {
    pub(super) fn check(procedure: &'a Procedure, rig: &'a Rig) -> Result<Vec<String>, Findings> {
        let mut against = Self {
            procedure,
            rig,
            segment: None,
            findings: Findings::new(),
            notes: Vec::new(),
        };
        against.head();
        for segment in &procedure.segments {
            against.segment = Some(segment);
            segment.excitation.check(&mut against);
        }
        let notes = against.notes;
        against.findings.or_value(notes)
    }

    fn head(&mut self) {
        let (procedure, rig) = (self.procedure, self.rig);
        if procedure.mounting.value != rig.mounting {
            let problem = format!("{} has its rim {}", rig.file, rig.mounting);
            let fix = format!(
                "mount the rim {} and say so in rig.mounting, or choose a procedure for this mounting",
                procedure.mounting.value
            );
            self.finding(&procedure.mounting.place, problem, None, fix);
        }
        let ramp = &procedure.ramp_nm_per_s;
        if ramp.value > rig.limits.slew_nm_per_s {
            let allowed = Some(format!("at most {}", show_slew(rig.limits.slew_nm_per_s)));
            self.finding(
                &ramp.place,
                format!("beyond the slew limit of {}", rig.file),
                allowed,
                "lower it",
            );
        }
        let level = &procedure.approach.level;
        let level_nm = level.value.nm(rig.wheelbase.peak_torque_nm);
        let most_nm = 0.1 * rig.wheelbase.peak_torque_nm;
        if self.setpoint(&level.place, "the first torque", level_nm) && level_nm > most_nm {
            let allowed = Some(format!(
                "at most {}, a tenth of the peak torque",
                show_nm(most_nm)
            ));
            let problem = "too great for a first torque that nothing has been checked for";
            self.finding(&level.place, problem, allowed, "lower it");
        }
    }

    /// A level on this rig, N·m.
    pub(crate) fn nm(&self, level: &Placed<Level>) -> f64 {
        level.value.nm(self.rig.wheelbase.peak_torque_nm)
    }

    /// Whether a setpoint (its size, N·m) is within the rig's limit; notes a finding if not.
    pub(crate) fn setpoint(&mut self, place: &Place, what: &str, size_nm: f64) -> bool {
        let most_nm = self.rig.limits.torque_nm;
        // A level of 100 % may come out a rounding above a limit of the same torque.
        if size_nm <= most_nm * (1.0 + 1e-12) {
            return true;
        }
        let problem = format!(
            "{what}: a setpoint of {}, beyond the limit of {}",
            show_nm(size_nm),
            self.rig.file
        );
        self.finding(
            place,
            problem,
            Some(format!("at most {}", show_nm(most_nm))),
            "lower it",
        );
        false
    }

    /// Notes a finding if nothing holds the rim: a steady torque would turn it faster and faster.
    pub(crate) fn held_rim(&mut self, what: &str) {
        if self.rig.mounting == Mounting::Free {
            let problem = format!("{what} would spin up a free rim");
            let fix = "clamp the rim, or choose a procedure for a free one";
            self.segment_finding("excitation", problem, None, fix);
        }
    }

    /// Notes a finding at a value.
    pub(crate) fn finding(
        &mut self,
        place: &Place,
        problem: impl Into<String>,
        allowed: Option<String>,
        fix: impl Into<String>,
    ) {
        let mut finding = Finding::new(&self.procedure.file, place, problem, fix);
        finding.allowed = allowed;
        self.findings.push(finding);
    }

    /// Notes a finding about the segment as a whole.
    pub(crate) fn segment_finding(
        &mut self,
        key: &str,
        problem: impl Into<String>,
        allowed: Option<String>,
        fix: impl Into<String>,
    ) {
        let Some(segment) = self.segment else { return };
        let place = Place {
            line: segment.place.line,
            key: format!("{}.{key}", segment.place.key),
            written: format!("\"{}\"", segment.excitation.kind()),
        };
        self.finding(&place, problem, allowed, fix);
    }

    /// Notes what does not forbid the run but should be known beside its result.
    pub(crate) fn note(&mut self, note: String) {
        let name = self.segment.map_or("approach", |s| s.name.as_str());
        self.notes.push(format!("{name}: {note}"));
    }
}
