//! What a segment can do. One file an excitation, each with its settings, its checks against a rig, its layout on the
//! time line, and where it has one, its closed form as a pure function of time.

mod chirp;
mod correction;
pub(crate) mod crest;
mod end_stop;
pub(crate) mod fourier;
mod half_sine;
mod hold;
mod increment;
mod lines;
mod multisine;
mod pseudo_random;
mod reversal;
mod sine;
mod spline;
mod staircase;
mod step;
mod timing;
mod trace;
mod wave;

pub use chirp::{Chirp, ChirpTorque, Law, Sweep};
pub use correction::{Correction, CorrectionCurve, CorrectionProblem};
pub use crest::{clipped_phases, crest_factor, schroeder_phases};
pub use end_stop::EndStop;
pub use half_sine::{HalfSine, HalfSineTorque};
pub use hold::Hold;
pub use increment::Increment;
pub use lines::{LineChoice, Lines};
pub(crate) use multisine::Realisation;
pub use multisine::{Multisine, Phases, Tones};
pub use pseudo_random::{PseudoRandom, maximum_length_sequence};
pub use reversal::{Reversal, ReversalTorque};
pub use sine::Sine;
pub use staircase::Staircase;
pub use step::Step;
pub use timing::{Periods, Timing};
pub use trace::{Size, Trace, TraceProblem, TraceSamples, TraceTime, TraceTorque};
pub use wave::{Wave, WavePart, WaveTorque};

use alloc::vec::Vec;

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
        /// Whole periods of a sum of sines, on a preload, in several realisations.
        Multisine = "multisine",
        /// Pulses, alone or in trains.
        HalfSine = "half-sine",
        /// Whole periods of a maximum-length sequence, on a preload.
        PseudoRandom = "pseudo-random",
        /// Slow loops to and fro about a preload at one rate.
        Reversal = "reversal",
        /// Levels up and down on both sides of zero, each held.
        Staircase = "staircase",
        /// A trace of torque from a file.
        Trace = "trace",
        /// Small changes on preloads, and trials without one.
        Increment = "increment",
        /// Periods of one frequency on a preload.
        Sine = "sine",
        /// Short pushes to both end stops of a free rim, and slow presses onto each.
        EndStop = "end-stop",
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
    /// A sum of sines.
    Multisine(Multisine),
    /// Half-sine pulses.
    HalfSine(HalfSine),
    /// A pseudo-random binary signal.
    PseudoRandom(PseudoRandom),
    /// Slow loops of torque.
    Reversal(Reversal),
    /// Levels up and down.
    Staircase(Staircase),
    /// A trace of torque from a file.
    Trace(Trace),
    /// Small changes on preloads.
    Increment(Increment),
    /// Sines of one frequency.
    Sine(Sine),
    /// The way to both end stops, and presses onto them.
    EndStop(EndStop),
}

impl Excitation {
    /// Its kind.
    pub fn kind(&self) -> ExcitationKind {
        match self {
            Self::Step(_) => ExcitationKind::Step,
            Self::Chirp(_) => ExcitationKind::Chirp,
            Self::Hold(_) => ExcitationKind::Hold,
            Self::Multisine(_) => ExcitationKind::Multisine,
            Self::HalfSine(_) => ExcitationKind::HalfSine,
            Self::PseudoRandom(_) => ExcitationKind::PseudoRandom,
            Self::Reversal(_) => ExcitationKind::Reversal,
            Self::Staircase(_) => ExcitationKind::Staircase,
            Self::Trace(_) => ExcitationKind::Trace,
            Self::Increment(_) => ExcitationKind::Increment,
            Self::Sine(_) => ExcitationKind::Sine,
            Self::EndStop(_) => ExcitationKind::EndStop,
        }
    }

    /// Its repeats and rests.
    pub fn timing_mut(&mut self) -> &mut Timing {
        match self {
            Self::Step(step) => &mut step.timing,
            Self::Chirp(chirp) => &mut chirp.timing,
            Self::Hold(hold) => &mut hold.timing,
            Self::Multisine(multisine) => &mut multisine.timing,
            Self::HalfSine(pulse) => &mut pulse.timing,
            Self::PseudoRandom(signal) => &mut signal.timing,
            Self::Reversal(reversal) => &mut reversal.timing,
            Self::Staircase(staircase) => &mut staircase.timing,
            Self::Trace(trace) => &mut trace.timing,
            Self::Increment(increment) => &mut increment.timing,
            Self::Sine(sine) => &mut sine.timing,
            Self::EndStop(stop) => &mut stop.timing,
        }
    }

    /// Reads the excitation of a `[[segment]]` table.
    pub(crate) fn read(s: &Section<'_>) -> Self {
        match s.choice("excitation", ExcitationKind::WORDS) {
            Some(ExcitationKind::Step) => Self::Step(Step::read(s)),
            Some(ExcitationKind::Chirp) => Self::Chirp(Chirp::read(s)),
            Some(ExcitationKind::Hold) => Self::Hold(Hold::read(s)),
            Some(ExcitationKind::Multisine) => Self::Multisine(Multisine::read(s)),
            Some(ExcitationKind::HalfSine) => Self::HalfSine(HalfSine::read(s)),
            Some(ExcitationKind::PseudoRandom) => Self::PseudoRandom(PseudoRandom::read(s)),
            Some(ExcitationKind::Reversal) => Self::Reversal(Reversal::read(s)),
            Some(ExcitationKind::Staircase) => Self::Staircase(Staircase::read(s)),
            Some(ExcitationKind::Trace) => Self::Trace(Trace::read(s)),
            Some(ExcitationKind::Increment) => Self::Increment(Increment::read(s)),
            Some(ExcitationKind::Sine) => Self::Sine(Sine::read(s)),
            Some(ExcitationKind::EndStop) => Self::EndStop(EndStop::read(s)),
            None => {
                // Which other keys belong here depends on the excitation; calling them unknown would mislead.
                for key in s.keys() {
                    s.leave_to_others(key);
                }
                Self::Hold(Hold::default())
            }
        }
    }

    /// What it draws by the seed before it is checked and laid; nothing for most.
    pub(crate) fn realisations(
        &self,
        peak_torque_nm: f64,
        sample_period_us: u32,
        seed: u64,
        segment: usize,
    ) -> Vec<Realisation> {
        match self {
            Self::Multisine(multisine) => {
                multisine.realisations(peak_torque_nm, sample_period_us, seed, segment)
            }
            _ => Vec::new(),
        }
    }

    /// Notes everything in which it does not fit the rig.
    pub(crate) fn check(&self, against: &mut Against<'_>, realisations: &[Realisation]) {
        match self {
            Self::Step(step) => step.check(against),
            Self::Chirp(chirp) => chirp.check(against),
            Self::Hold(hold) => hold.check(against),
            Self::Multisine(multisine) => multisine.check(against, realisations),
            Self::HalfSine(pulse) => pulse.check(against),
            Self::PseudoRandom(signal) => signal.check(against),
            Self::Reversal(reversal) => reversal.check(against),
            Self::Staircase(staircase) => staircase.check(against),
            Self::Trace(trace) => trace.check(against),
            Self::Increment(increment) => increment.check(against),
            Self::Sine(sine) => sine.check(against),
            Self::EndStop(stop) => stop.check(against),
        }
    }

    /// Puts it on the time line; begins and ends at zero torque.
    pub(crate) fn lay(&self, layout: &mut Layout<'_>, realisations: &[Realisation]) {
        match self {
            Self::Step(step) => step.lay(layout),
            Self::Chirp(chirp) => chirp.lay(layout),
            Self::Hold(hold) => hold.lay(layout),
            Self::Multisine(multisine) => multisine.lay(layout, realisations),
            Self::HalfSine(pulse) => pulse.lay(layout),
            Self::PseudoRandom(signal) => signal.lay(layout),
            Self::Reversal(reversal) => reversal.lay(layout),
            Self::Staircase(staircase) => staircase.lay(layout),
            Self::Trace(trace) => trace.lay(layout),
            Self::Increment(increment) => increment.lay(layout),
            Self::Sine(sine) => sine.lay(layout),
            Self::EndStop(stop) => stop.lay(layout),
        }
    }
}
