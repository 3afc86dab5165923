//! What a segment can do. One file an excitation, each with its settings, its checks against a rig, its layout on the
//! time line, and where it has one, its closed form as a pure function of time.

mod chirp;
mod hold;
mod step;
mod timing;

pub use chirp::{Chirp, ChirpTorque, Law, Sweep};
pub use hold::Hold;
pub use step::Step;
pub use timing::Timing;

use core::fmt;
use settings_file::Section;

use crate::{
    plan::{Against, Layout},
    rig::words,
};

words! {
    /// The kinds of excitation.
    ExcitationKind {
        /// Jumps to levels, from zero or from a preload.
        Step = "step",
        /// A sine whose frequency sweeps, on a preload.
        Chirp = "chirp",
        /// Levels reached by ramps and held.
        Hold = "hold",
    }
}

/// What a segment does.
#[derive(Clone, Debug, PartialEq)]
pub enum Excitation {
    /// Jumps to levels.
    Step(Step),
    /// A swept sine.
    Chirp(Chirp),
    /// Held levels.
    Hold(Hold),
}

impl Excitation {
    /// Its kind.
    pub fn kind(&self) -> ExcitationKind {
        match self {
            Self::Step(_) => ExcitationKind::Step,
            Self::Chirp(_) => ExcitationKind::Chirp,
            Self::Hold(_) => ExcitationKind::Hold,
        }
    }

    /// Reads the excitation of a `[[segment]]` table.
    pub(crate) fn read(s: &Section<'_>) -> Self {
        match s.choice("excitation", ExcitationKind::WORDS) {
            Some(ExcitationKind::Step) => Self::Step(Step::read(s)),
            Some(ExcitationKind::Chirp) => Self::Chirp(Chirp::read(s)),
            Some(ExcitationKind::Hold) => Self::Hold(Hold::read(s)),
            None => {
                // Which other keys belong here depends on the excitation; calling them unknown would mislead.
                for key in s.keys() {
                    s.leave_to_others(key);
                }
                Self::Hold(Hold::default())
            }
        }
    }

    /// Notes everything in which it does not fit the rig.
    pub(crate) fn check(&self, against: &mut Against<'_>) {
        match self {
            Self::Step(step) => step.check(against),
            Self::Chirp(chirp) => chirp.check(against),
            Self::Hold(hold) => hold.check(against),
        }
    }

    /// Puts it on the time line; begins and ends at zero torque.
    pub(crate) fn lay(&self, layout: &mut Layout<'_>) {
        match self {
            Self::Step(step) => step.lay(layout),
            Self::Chirp(chirp) => chirp.lay(layout),
            Self::Hold(hold) => hold.lay(layout),
        }
    }
}
