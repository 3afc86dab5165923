//! The bench's interlock: the second net behind the rig controller's own limits and the hard-wired stop.
//!
//! It judges every sample before anything else sees it, and bounds every setpoint before it is encoded. A trip
//! latches: only a new run with a new permit starts from a clean interlock. It protects equipment and lowers the
//! demand on the hard-wired emergency stop; it is no safety function in the sense of ISO 13849-1.
//!
//! - [`state`] is the table of states and events.
//! - [`condition`] names what can fire, and what it means.
//! - [`judge`] looks at samples.

pub mod condition;
pub mod following;
pub mod judge;
pub mod state;
#[cfg(test)]
mod tests;

use crate::channels::Reading;
pub use condition::{Condition, Trip};
pub use following::FollowLimits;
pub use judge::{Judge, JudgeLimits};
pub use state::{Event, State};

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
    /// Outside [`State::Armed`] samples are taken note of (speed, reference) but trip nothing: there is no torque to
    /// take away.
    pub fn judge(&mut self, reading: &Reading) -> Option<Trip> {
        let found = self.judge.look(reading)?;
        if self.state != State::Armed {
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

    /// Takes the torque at rest as the zero from which the measured torque counts.
    pub fn set_torque_zero(&mut self, zero_nm: f64) {
        self.judge.set_torque_zero(zero_nm);
    }

    /// Takes the rim's present angle as the one from which the window counts.
    pub fn set_reference(&mut self, rim_angle_rad: f64) {
        self.judge.set_reference(rim_angle_rad);
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
