//! The armed state: playing, and everything that ends it (PROTOCOL.md 7.7, 7.10).

use rig_link::message::Configuration;
use rig_link::{ARM_IDLE_US, EventCode, RigState, TripCause};

use super::Controller;
use super::limits::MEASURED;
use super::transition::Change;

impl Controller {
    /// Plays one step, then judges.
    pub(super) fn play(&mut self) {
        let Some((configuration, _)) = self.configuration else {
            return;
        };
        let mut cause = None;
        if self.state == RigState::Armed {
            let played = self.player.step(self.now, &configuration);
            if played.underrun {
                self.counters.underruns = self.counters.underruns.wrapping_add(1);
                self.event(EventCode::Underrun, 0);
            }
            if played.expired {
                self.counters.expired = self.counters.expired.wrapping_add(1);
                cause = Some(TripCause::SetpointExpired);
            } else if let Some(asked) = played.limited {
                self.setpoint_limited(asked);
            }
            if !self.feed.is_fresh(self.now, configuration.watchdog_us) {
                cause = Some(TripCause::Watchdog); // the lower code of the two
            }
        }
        if matches!(self.state, RigState::Armed | RigState::Stopping) {
            let measured = || {
                MEASURED
                    .into_iter()
                    .find(|&cause| self.shows(cause, &configuration))
            };
            let stalled = || self.stalled(&configuration).then_some(TripCause::Internal);
            if let Some(cause) = cause.or_else(measured).or_else(stalled) {
                return self.trip(cause);
            }
        }
        let idle = self
            .player
            .idle_since()
            .is_some_and(|since| self.now.saturating_sub(since) >= ARM_IDLE_US);
        if self.state == RigState::Armed && idle {
            self.player.clear(self.now);
            self.change(Change::ArmIdle);
            self.event(EventCode::ArmIdle, 0);
            self.event(EventCode::Disarmed, i32::from(RigState::Ready.code()));
            self.status();
        }
    }

    /// Whether rows or batches have failed to come for too long while armed.
    fn stalled(&self, configuration: &Configuration) -> bool {
        let longest = u64::from(configuration.watchdog_us.max(2 * configuration.sample_period_us));
        self.state == RigState::Armed
            && self.sampling.as_ref().is_some_and(|sampling| {
                self.now.saturating_sub(sampling.last_row) > longest
                    || self.now.saturating_sub(sampling.last_batch) > longest
            })
    }
}
