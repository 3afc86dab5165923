//! The bench's interlock: the second net behind the rig controller's own limits and the hard-wired stop.
//!
//! It judges every sample before anything else sees it, and bounds every setpoint before it is encoded. A trip
//! latches: only a new run with a new permit starts from a clean interlock. It protects equipment and lowers the
//! demand on the hard-wired emergency stop; it is no safety function in the sense of ISO 13849-1.
//!
//! - [`state`] is the table of states and events.
//! - [`condition`] names what can fire, [`words`] says what each means, [`limits`] what a sample may be.
//! - [`judge`] looks at samples; it is made of [`trail`] (speeds), [`recent`] (setpoints), [`clamped`], [`free`],
//!   [`at_zero`], [`coasting`] (motion), [`following`], [`unasked`], [`leap`], [`disc`] (torque), [`sensor_stuck`], [`rim_stuck`] and [`rotor`].

pub mod at_zero;
pub mod clamped;
pub mod coasting;
pub mod condition;
pub mod disc;
pub mod following;
pub mod free;
pub mod judge;
pub mod leap;
pub mod limits;
pub mod mean;
pub mod recent;
pub mod rim_stuck;
pub mod rotor;
pub mod sensor_stuck;
pub mod state;
#[cfg(test)]
mod tests;
pub mod trail;
pub mod trip;
pub mod unasked;
pub mod words;

use crate::channels::Reading;
pub use condition::Condition;
pub use judge::{Judge, Rest};
pub use limits::{
    DiscLimits, FollowLimits, JudgeLimits, LeapLimits, MotionLimits, RimStuckLimits, RotorLimits,
};
pub use state::{Event, State};
pub use trip::{Found, Trip};
pub use words::ENDINGS;

/// State, latched trip and judgement in one place, so that no caller can send torque around it.
#[derive(Debug, Clone)]
pub struct Interlock {
    state: State,
    trip: Option<Trip>,
    judge: Judge,
    torque_limit_nm: f64,
}

impl Interlock {
    /// Disarmed, with the limits of a rig.
    #[must_use]
    pub fn new(limits: JudgeLimits) -> Self {
        Self {
            state: State::Disarmed,
            trip: None,
            torque_limit_nm: limits.torque_nm,
            judge: Judge::new(limits),
        }
    }

    /// Where it stands.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// The first condition that fired, latched.
    #[must_use]
    pub const fn trip(&self) -> Option<&Trip> {
        self.trip.as_ref()
    }

    /// Carries out an event of the table.
    pub fn apply(&mut self, event: Event) -> State {
        self.state = self.state.after(event);
        self.state
    }

    /// Judges a sample. Returns the trip when a condition fires that had not fired yet.
    ///
    /// Outside [`State::Armed`] it trips only `at_rest`: from the zeros before arming to the first setpoint, while stop
    /// and watchdog are proved, the rim must rest as it must at any setpoint zero, and what already went wrong there is
    /// not to be met with torque. Before, nobody knows where the rim is; afterwards it may coast, and there is no torque
    /// to take away: samples are then taken note of only.
    pub fn judge(&mut self, reading: &Reading, at_rest: bool) -> Option<Trip> {
        let found = self.judge.look(reading)?;
        if self.state != State::Armed && !(at_rest && self.judge.has_begun()) {
            return None;
        }
        self.raise(found)
    }

    /// Latches a condition that something else than a sample shows. Returns it when it is the first.
    pub fn raise(&mut self, trip: Trip) -> Option<Trip> {
        self.state = self.state.after(Event::ConditionFired);
        if self.trip.is_some() {
            return None;
        }
        self.trip = Some(trip);
        Some(trip)
    }

    /// The rim rests: what counts from there begins anew.
    pub fn begin(&mut self, rest: Rest) {
        self.judge.begin(rest);
    }

    /// The limits it judges by.
    #[must_use]
    pub const fn limits(&self) -> &JudgeLimits {
        self.judge.limits()
    }

    /// The setpoint that may be encoded: `wanted_nm` within the torque limit, or `None` when none may be sent at all.
    /// A value that is not finite is never sent.
    #[must_use]
    pub fn bound(&self, wanted_nm: f64) -> Option<f64> {
        if self.state != State::Armed || !wanted_nm.is_finite() {
            return None;
        }
        Some(wanted_nm.clamp(-self.torque_limit_nm, self.torque_limit_nm))
    }
}
