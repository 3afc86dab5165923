//! Permission to make torque: challenge, keep-alive and the checks before arming (PROTOCOL.md 7.5, 7.6).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;
use rig_link::message::{
    ArmChallenge, ArmConfirm, ArmRequest, Configuration, Echo, KeepAlive, RigMessage, WindowReference,
};
use rig_link::{CHALLENGE_VALID_US, EventCode, RefusalCode, RigState, TripCause};

use super::Controller;
use super::limits::MEASURED;
use super::line::Arrived;
use super::transition::Change;

/// A refusal and its detail.
type Refusal = (RefusalCode, i32);

/// The outstanding challenge, if any, and the last one ever given.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Challenge {
    outstanding: Option<(u32, u64)>,
    last: u32,
}

impl Challenge {
    /// Gives out `number` at tick `now`, in place of any before.
    pub const fn give(&mut self, number: u32, now: u64) {
        self.outstanding = Some((number, now));
        self.last = number;
    }

    /// The last one given, outstanding or not: the next must be another.
    pub const fn last(&self) -> u32 {
        self.last
    }

    /// Whether `number` is the outstanding one and still valid at tick `now`. Uses it up, whatever the answer.
    pub fn redeem(&mut self, number: u32, now: u64) -> bool {
        let outstanding = self.outstanding.take();
        outstanding.is_some_and(|(given, tick)| {
            given == number && now.saturating_sub(tick) <= u64::from(CHALLENGE_VALID_US)
        })
    }

    /// Makes it void once it is too old at tick `now`.
    pub fn expire(&mut self, now: u64) {
        if let Some((_, given)) = self.outstanding
            && now.saturating_sub(given) > u64::from(CHALLENGE_VALID_US)
        {
            self.void();
        }
    }

    /// Makes it void.
    pub const fn void(&mut self) {
        self.outstanding = None;
    }
}

/// Keep-alives seen since the last configuration.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Feed {
    greatest: Option<u64>,
    last_feed: Option<u64>,
}

impl Feed {
    /// Takes a keep-alive that arrived at tick `now`: it feeds only with a stamp above all before.
    pub fn take(&mut self, stamp: u64, now: u64) {
        if self.greatest.is_none_or(|greatest| stamp > greatest) {
            self.greatest = Some(stamp);
            self.last_feed = Some(now);
        }
    }

    /// Whether the last feed is not older than `watchdog_us` at tick `now`.
    pub fn is_fresh(&self, now: u64, watchdog_us: u32) -> bool {
        self.last_feed
            .is_some_and(|then| now.saturating_sub(then) <= u64::from(watchdog_us))
    }
}

/// A number that is not `other`.
pub(super) fn draw_other_than(random: &mut ChaCha8Rng, other: u32) -> u32 {
    let drawn = random.next_u32();
    if drawn == other {
        drawn.wrapping_add(1)
    } else {
        drawn
    }
}

impl Controller {
    pub(super) fn keep_alive(&mut self, message: KeepAlive) {
        self.feed.take(message.host_ns, self.now);
        let echo = Echo {
            host_ns: message.host_ns,
            received_tick: self.now,
            sent_tick: self.now,
        };
        self.line.write(&RigMessage::Echo(echo));
    }

    pub(super) fn arm_request(&mut self, frame: &Arrived, message: ArmRequest) {
        if self.state != RigState::Ready {
            return self.wrong_state(frame);
        }
        if let Err((code, detail)) = self.may_arm(message.configuration_crc) {
            return self.refuse(frame, code, detail);
        }
        let challenge = draw_other_than(&mut self.random, self.challenge.last());
        self.challenge.give(challenge, self.now);
        self.line.write(&RigMessage::ArmChallenge(ArmChallenge {
            challenge,
            valid_us: CHALLENGE_VALID_US,
        }));
    }

    pub(super) fn arm_confirm(&mut self, frame: &Arrived, message: ArmConfirm) {
        let valid = self.challenge.redeem(message.challenge, self.now);
        if self.state != RigState::Ready {
            return self.wrong_state(frame);
        }
        let checked = if valid {
            self.may_arm(message.configuration_crc).and_then(|configuration| {
                if self.feed.is_fresh(self.now, configuration.watchdog_us) {
                    Ok(())
                } else {
                    Err((RefusalCode::WrongState, i32::from(self.state.code())))
                }
            })
        } else {
            Err((RefusalCode::WrongChallenge, 0))
        };
        if let Err((code, detail)) = checked {
            return self.refuse(frame, code, detail);
        }
        self.player.clear(self.now);
        self.armed_angle_urad = self.measured.map_or(0, |measured| measured.rim_urad());
        self.change(Change::Armed);
        self.status();
        self.event(EventCode::Armed, 0);
    }

    /// Checks 1 to 4 of arming.
    fn may_arm(&self, crc: u32) -> Result<Configuration, Refusal> {
        let Some((configuration, applied)) = self.configuration else {
            return Err((RefusalCode::WrongState, i32::from(self.state.code())));
        };
        if crc != applied {
            return Err((RefusalCode::WrongConfiguration, applied as i32));
        }
        if self.sampling.is_none() {
            return Err((RefusalCode::WrongState, i32::from(self.state.code())));
        }
        if !self.emergency_stop_closed {
            return Err((RefusalCode::EmergencyStopOpen, 0));
        }
        match self.present_cause(&configuration) {
            Some(cause) => Err((RefusalCode::CauseRemains, i32::from(cause.code()))),
            None => Ok(configuration),
        }
    }

    /// The measured cause with the lowest code that would stop arming now.
    fn present_cause(&self, configuration: &Configuration) -> Option<TripCause> {
        MEASURED.into_iter().find(|&cause| {
            let from_arming = configuration.window_reference == WindowReference::Arming;
            if cause == TripCause::RimWindow && from_arming {
                configuration.window_low_urad > 0 || configuration.window_high_urad < 0
            } else {
                self.shows(cause, configuration)
            }
        })
    }

    /// Whether the last look shows `cause`; not having looked yet counts as a sensor fault.
    pub(super) fn shows(&self, cause: TripCause, configuration: &Configuration) -> bool {
        self.measured.map_or(cause == TripCause::SensorFault, |measured| {
            measured.shows(
                cause,
                configuration,
                self.armed_angle_urad,
                self.parameters.supply_span_v,
            )
        })
    }
}
