//! The ways out of torque: stop, trip, emergency stop, braking (PROTOCOL.md 7.8 to 7.10).

use rig_link::message::{ClearTrip, Configuration, Stop, WindowReference};
use rig_link::{EventCode, RefusalCode, RigState, StopMode, TripCause};

use super::Controller;
use super::line::Arrived;
use super::transition::Change;

/// Speed below which the rim counts as at rest, rad/s.
const REST_RAD_S: f64 = 0.05;
/// How long it must be that slow, µs.
const REST_US: u64 = 20_000;

/// The brake while it acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Braking {
    since: u64,
    at_rest_since: Option<u64>,
}

impl Controller {
    /// Carries out a stop; `message` is `None` when its payload meant nothing.
    pub(super) fn stop(&mut self, message: Option<Stop>) {
        if self.deaf_to_stop {
            return;
        }
        self.challenge.void();
        let applied = self.configuration.map(|(configuration, _)| configuration);
        let mode = match (message, applied) {
            (Some(stop), _) => stop.mode,
            (None, Some(configuration)) => configuration.stop_mode,
            (None, None) => StopMode::Coast,
        };
        match self.state {
            RigState::Armed => {
                let mode = if mode == StopMode::Brake {
                    self.begin_brake(applied)
                } else {
                    StopMode::Coast
                };
                self.player.clear(self.now);
                self.change(if mode == StopMode::Brake {
                    Change::StoppedBraking
                } else {
                    Change::StoppedCoasting
                });
                self.stopped(mode);
                self.event(EventCode::Disarmed, i32::from(self.state.code()));
                self.event(EventCode::Stopped, i32::from(mode.code()));
                self.status();
            }
            RigState::Stopping | RigState::Tripped if self.brake.is_some() => {
                if mode == StopMode::Brake {
                    self.stopped(StopMode::Brake);
                } else {
                    let was_stopping = self.state == RigState::Stopping;
                    self.change(Change::StoppedCoasting);
                    self.brake = None;
                    self.stopped(StopMode::Coast);
                    self.event(EventCode::BrakeReleased, 0);
                    if was_stopping {
                        self.status();
                    }
                }
            }
            RigState::Idle | RigState::Ready | RigState::Stopping | RigState::Tripped => {
                self.stopped(StopMode::Coast);
            }
        }
    }

    /// Begins to brake if the rig can and may; returns how it really stops.
    fn begin_brake(&mut self, configuration: Option<Configuration>) -> StopMode {
        let may =
            self.parameters.brake && configuration.is_some_and(|configuration| configuration.brake_us > 0);
        if may {
            self.brake = Some(Braking {
                since: self.now,
                at_rest_since: None,
            });
            StopMode::Brake
        } else {
            StopMode::Coast
        }
    }

    /// Trips: zero torque from this instant, latched.
    pub(super) fn trip(&mut self, cause: TripCause) {
        let was_armed = self.state == RigState::Armed;
        self.challenge.void();
        self.player.clear(self.now);
        let configuration = self.configuration.map(|(configuration, _)| configuration);
        let brakes = configuration.is_some_and(|configuration| configuration.stop_mode == StopMode::Brake);
        if was_armed && brakes {
            self.begin_brake(configuration);
        }
        self.change(Change::Tripped);
        self.cause = cause;
        self.counters.trips = self.counters.trips.wrapping_add(1);
        self.event(EventCode::Tripped, i32::from(cause.code()));
        if was_armed {
            self.event(EventCode::Disarmed, i32::from(RigState::Tripped.code()));
        }
        self.status();
    }

    /// The emergency-stop input changed.
    pub(super) fn emergency_stop_changed(&mut self, closed: bool) {
        self.emergency_stop_closed = closed;
        self.event(EventCode::EmergencyStopInput, i32::from(closed));
        if !closed {
            self.challenge.void();
            if matches!(self.state, RigState::Armed | RigState::Stopping) {
                self.trip(TripCause::EmergencyStop);
            }
        }
    }

    /// Watches the brake: off at rest or when its time is over.
    pub(super) fn run_brake(&mut self) {
        let (Some(mut brake), Some((configuration, _))) = (self.brake, self.configuration) else {
            return;
        };
        let at_rest = self
            .measured
            .is_some_and(|measured| measured.rim_rad_s.abs() < REST_RAD_S);
        brake.at_rest_since = if at_rest {
            brake.at_rest_since.or(Some(self.now))
        } else {
            None
        };
        let rested = brake
            .at_rest_since
            .is_some_and(|since| self.now.saturating_sub(since) >= REST_US);
        let over = self.now.saturating_sub(brake.since) >= u64::from(configuration.brake_us);
        self.brake = Some(brake);
        if rested || over {
            self.brake = None;
            self.event(EventCode::BrakeReleased, 0);
            if self.state == RigState::Stopping {
                self.change(Change::BrakeReleased);
                self.status();
            }
        }
    }

    pub(super) fn clear_trip(&mut self, frame: &Arrived, message: ClearTrip) {
        if self.state != RigState::Tripped {
            return self.wrong_state(frame);
        }
        if message.trips != self.counters.trips {
            return self.refuse(frame, RefusalCode::CauseRemains, 0);
        }
        if self.brake.is_some() || self.cause_remains() {
            return self.refuse(frame, RefusalCode::CauseRemains, i32::from(self.cause.code()));
        }
        self.cause = TripCause::None;
        self.change(if self.configuration.is_some() {
            Change::TripCleared
        } else {
            Change::TripClearedUnconfigured
        });
        self.status();
    }

    fn cause_remains(&self) -> bool {
        let Some((configuration, _)) = self.configuration else {
            return false;
        };
        match self.cause {
            TripCause::Watchdog => !self.feed.is_fresh(self.now, configuration.watchdog_us),
            TripCause::EmergencyStop => !self.emergency_stop_closed,
            TripCause::RimWindow if configuration.window_reference == WindowReference::Arming => false,
            // A stalled sample stream is looked at again when arming; the simulated controller has no other fault.
            TripCause::None | TripCause::SetpointExpired | TripCause::Internal => false,
            measured => self.shows(measured, &configuration),
        }
    }
}
