//! What a run's outcome is worth, by rule.
//!
//! A run that stops is *noticed*. A run that goes through is laid beside the same run without the fault:
//!
//! - *no trace*: rim and motor torque did what they do without the fault, to within [`TRACE_RAD`] and [`TRACE_SHARE`] of
//!   the peak torque, if at another time: what delays the arming or makes the rig's clock jump before it delays all that
//!   follows. The fault changed nothing that hands could feel; what it does to results is the fits' business.
//! - *torque alone*: the motor's torque was another one, and the rim did not move by it.
//! - *within limits*: the rim went another way, but the rim itself, whatever its sensors said, was never faster than its
//!   limit for longer than the rig controller has to react, and its travel stayed within the budget.
//! - *beyond*: it was. That is a failure of the interlock.

use virtual_rig::faults::FaultKind;

use super::budget::{Budget, REACTION_S, budget};
use super::line::KEPT_US;
use super::play::{Played, play, scene};

/// Rim angles closer than this are the same, rad (0.1°).
pub const TRACE_RAD: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// Shift in time, before and behind, at which a run may do the same as without the fault, ms: what a line or a clock
/// holds up before something fires.
pub const SHIFT_MS: i64 = 30;
/// Motor torques closer than this share of the peak torque are the same.
pub const TRACE_SHARE: f64 = 0.05;

/// What became of the fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// The run stopped, or never began.
    Noticed,
    /// It went through, and nothing was different.
    NoTrace,
    /// It went through; the torque was another one, the rim the same.
    TorqueAlone,
    /// It went through; the rim went another way, but never beyond a limit.
    WithinLimits,
    /// It went through, and the rim went beyond a limit.
    Beyond,
}

impl Class {
    /// Its words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Noticed => "noticed",
            Self::NoTrace => "no trace",
            Self::TorqueAlone => "torque alone",
            Self::WithinLimits => "within limits",
            Self::Beyond => "beyond",
        }
    }
}

/// A run, judged.
#[derive(Debug, Clone)]
pub struct Verdict {
    /// The run.
    pub played: Played,
    /// Its class.
    pub class: Class,
    /// How far the rim may have travelled.
    pub budget: Budget,
    /// Greatest difference to the run without the fault, rad and N·m; zero where the fault was noticed.
    pub differs: [f64; 2],
    /// What must never be; each with its reason.
    pub failures: Vec<String>,
}

/// Plays a case and judges it.
#[must_use]
pub fn judge(case: &super::Case) -> Verdict {
    let played = play(case, true);
    let parameters = scene(case).parameters;
    let budget = budget(&parameters, &played);
    let mut failures = Vec::new();
    let mut differs = [0.0; 2];
    let class = if played.detected_by().is_some() {
        Class::Noticed
    } else {
        let twin = play(case, false);
        differs = difference(&played, &twin);
        if let Some(condition) = twin.detected_by() {
            failures.push(format!("without the fault it stops by {condition}"));
        }
        let peak_nm = parameters.plant.torque.peak_nm;
        // What is over sooner than the rig controller may react is judged by the travel that it made.
        let speed_over = played.seen.fast_us as f64 * 1e-6 > REACTION_S && twin.seen.fast_us == 0;
        let travel_over =
            budget.is_passed(&played) && played.seen.travel_rad > twin.seen.travel_rad + TRACE_RAD;
        if speed_over || travel_over {
            Class::Beyond
        } else if differs[0] <= TRACE_RAD && differs[1] <= TRACE_SHARE * peak_nm {
            Class::NoTrace
        } else if differs[0] <= TRACE_RAD {
            Class::TorqueAlone
        } else {
            Class::WithinLimits
        }
    };
    if class == Class::Beyond {
        failures.push(format!(
            "not noticed: the rim travelled {:.2} deg and reached {:.2} rad/s",
            played.seen.travel_rad.to_degrees(),
            played.seen.speed_rad_s
        ));
    }
    if class == Class::Noticed && budget.is_passed(&played) {
        // As for runs that go through: what the rim does without the fault is not of its making.
        let without_rad = travelled(&play(case, false), played.seen.kept.len());
        if played.seen.travel_rad > without_rad + TRACE_RAD {
            failures.push(format!(
                "noticed, but the rim travelled {:.2} deg of a budget of {:.2} deg, and {:.2} deg without the fault",
                played.seen.travel_rad.to_degrees(),
                budget.total_rad().to_degrees(),
                without_rad.to_degrees()
            ));
        }
    }
    if played.torque_at_end {
        failures.push("torque after the end".to_owned());
    }
    let outcome = &played.outcome;
    let warned = outcome.was_armed && !outcome.zero_confirmed;
    if played.armed_when_left && !warned {
        failures.push("left an armed rig without saying that only the hard-wired stop is left".to_owned());
    }
    let ignored = played.case.info.kind == FaultKind::IgnoreStop;
    if ignored && !warned && played.seen.left_by_itself != Some(true) {
        failures
            .push("stops were ignored, and it was not said that only the hard-wired stop is left".to_owned());
    }
    if outcome.was_armed && played.trips.len() > 1 {
        failures.push(format!("{} conditions latched", played.trips.len()));
    }
    if !played.last_words_stop && outcome.was_armed {
        failures.push("the last word was no stop".to_owned());
    }
    Verdict {
        played,
        class,
        budget,
        differs,
        failures,
    }
}

/// How far the rim came from where it was at the onset within so many looks, rad.
fn travelled(run: &Played, looks: usize) -> f64 {
    let places = run.seen.kept.iter().take(looks);
    places.fold(0.0, |most, [place, _]| {
        most.max((f64::from(*place) - run.seen.reference_rad).abs())
    })
}

/// By how much a run differs from the one without the fault: rim and motor torque, each at the shift in time that makes
/// the rim's difference least.
fn difference(a: &Played, b: &Played) -> [f64; 2] {
    let late = match (a.seen.plan_zero, b.seen.plan_zero) {
        (Some(a), Some(b)) => (a as i64 - b as i64) / KEPT_US as i64,
        _ => 0,
    };
    let same_time = shifted(a, b, 0);
    // With little left to compare, anything would be the same.
    let looks = a.seen.kept.len().min(b.seen.kept.len());
    if looks < 10 * usize::try_from(late.abs() + SHIFT_MS).unwrap_or(usize::MAX) {
        return same_time;
    }
    let around = |middle: i64| (middle - SHIFT_MS)..=(middle + SHIFT_MS);
    let others = around(0).chain(around(late)).map(|shift| shifted(a, b, shift));
    others.fold(
        same_time,
        |least, other| {
            if other[0] < least[0] { other } else { least }
        },
    )
}

/// The greatest differences with the first run `shift` looks later than the second, where both have looks.
fn shifted(a: &Played, b: &Played, shift: i64) -> [f64; 2] {
    let (a, b) = (&a.seen.kept, &b.seen.kept);
    let skipped = |late: i64| usize::try_from(late).unwrap_or(0);
    let (a, b) = (a.iter().skip(skipped(shift)), b.iter().skip(skipped(-shift)));
    let mut most = [0.0_f64; 2];
    for (x, y) in a.zip(b) {
        for (most, (x, y)) in most.iter_mut().zip(x.iter().zip(y)) {
            *most = most.max(f64::from((x - y).abs()));
        }
    }
    most
}

impl Verdict {
    /// Whether the program printed that only the hard-wired stop is left: it does when zero torque could not be confirmed
    /// of a rig that had been armed.
    #[must_use]
    pub const fn warned(&self) -> bool {
        self.played.outcome.was_armed && !self.played.outcome.zero_confirmed
    }

    /// Without what was kept for the comparison: a campaign holds thousands of these.
    #[must_use]
    pub fn without_samples(mut self) -> Self {
        self.played.seen.kept = Vec::new();
        self
    }

    /// Whether the rig itself ended the torque.
    #[must_use]
    pub fn by_rig(&self) -> bool {
        self.played.seen.left_by_itself == Some(true)
    }
}
