//! Setpoints, streamed ahead of the rig's clock, each bounded by the interlock before it is encoded.

use rig_link::HostMessage;
use rig_link::message::Setpoints;

use super::approach::ApproachJudge;
use super::phase::Phase;
use super::{Run, RunEvent};
use crate::interlock::Condition;
use crate::time::HostNs;

/// Setpoints in one message: small, so that none waits long behind another.
const BATCH: usize = 16;
/// Time between arming and the plan's zero, beyond the lead, µs.
const MARGIN_US: u64 = 10_000;

impl Run {
    /// Fixes the plan's zero on the rig's clock.
    pub(super) fn start_playing(&mut self, now: HostNs) {
        let Some(rig_now) = self.clock.tick_at(now) else {
            return;
        };
        self.plan_zero = rig_now.saturating_add(self.options.lead_us + MARGIN_US);
        self.plan_sent = false;
        self.next_entry_us = Some(0);
        self.approach_passed = false;
        let (zero, baseline_nm) = (self.plan_zero, self.baseline_nm);
        self.approach = self.plan().map(|plan| {
            let approach = plan.approach();
            let window = [approach.judge_from_us, approach.judge_to_us].map(|us| zero.saturating_add(us));
            ApproachJudge::new(window, approach.level_nm, approach.gain_range, baseline_nm)
        });
        self.enter(now, Phase::Playing);
        self.publish(RunEvent::PlanStarted { tick: zero });
        self.play(now);
    }

    /// Keeps the rig's queue filled up to the lead, and notices the end.
    pub(super) fn play(&mut self, now: HostNs) {
        let Some(rig_now) = self.clock.tick_at(now) else {
            return;
        };
        if !self.is_armed() {
            return;
        }
        let horizon = rig_now.saturating_add(self.lead_us());
        while self
            .next_entry_us
            .is_some_and(|us| self.plan_zero.saturating_add(us) <= horizon)
        {
            if !self.send_entries(now, horizon) {
                break;
            }
        }
        let Some(duration_us) = self.plan().map(super::Plan::duration_us) else {
            return;
        };
        if self.plan_sent && self.newest_tick() > self.plan_zero.saturating_add(duration_us) {
            self.end_run(now);
        }
    }

    /// How far ahead setpoints are sent: never more of them than the rig's queue holds.
    fn lead_us(&self) -> u64 {
        let places = self
            .known
            .identity
            .map_or(0, |identity| u64::from(identity.queue_capacity));
        let stride_us = u64::from(crate::plan::SETPOINT_STRIDE_US);
        let holds_us = places.saturating_sub(2 * BATCH as u64) * stride_us;
        self.options.lead_us.min(holds_us.max(stride_us))
    }

    /// Sends the next setpoints that are due; false when nothing more can be sent now.
    fn send_entries(&mut self, now: HostNs, horizon: u64) -> bool {
        let super::Course::Measure(plan) = &self.course else {
            return false;
        };
        let (Some(first_us), Some(full_scale_nm)) = (
            self.next_entry_us,
            self.known.identity.map(|identity| identity.full_scale_nm),
        ) else {
            return false;
        };
        let limit_raw = self.known.configuration.map_or(0, |c| c.torque_limit_raw);
        let decide_by_us = plan.approach().decide_by_us;
        if !self.approach_passed && first_us >= decide_by_us {
            return false; // nothing larger before the verdict; without one the setpoints run out
        }
        let mut values = [0_i16; BATCH];
        let mut count = 0;
        let (mut at_us, mut period_us) = (first_us, 0);
        let mut next = Some(first_us);
        while count < BATCH {
            let wanted_nm = plan.setpoint_nm(at_us);
            let Some(allowed_nm) = self.interlock.bound(wanted_nm) else {
                self.raise(now, Condition::NotFinite, wanted_nm, 0.0, "N.m wanted");
                return false;
            };
            if let Some(place) = values.get_mut(count) {
                *place = counts(allowed_nm, full_scale_nm, limit_raw);
            }
            count += 1;
            next = plan.next_entry_us(at_us + 1);
            let Some(next_us) = next else { break };
            let step = next_us - at_us;
            let undecided = !self.approach_passed && next_us >= decide_by_us;
            if undecided
                || self.plan_zero.saturating_add(next_us) > horizon
                || (count > 1 && step != period_us)
            {
                break;
            }
            period_us = step;
            at_us = next_us;
        }
        let ends = next.is_none();
        let period = u32::try_from(period_us).unwrap_or(u32::MAX);
        let values = values.get(..count).unwrap_or_default();
        match Setpoints::new(self.plan_zero.saturating_add(first_us), period, ends, values) {
            Ok(setpoints) => {
                self.sender.send(&HostMessage::Setpoints(setpoints));
                self.counters.setpoints += count as u64;
                self.next_entry_us = next;
                self.plan_sent = ends;
                true
            }
            Err(_) => {
                self.raise(
                    now,
                    Condition::SetpointsLost,
                    count as f64,
                    BATCH as f64,
                    "setpoints",
                );
                false
            }
        }
    }
}

/// Torque in counts of the rig's full scale; rounds to the nearest, never beyond `limit_raw` counts: rounding up must
/// not carry a setpoint beyond the limit.
fn counts(torque_nm: f64, full_scale_nm: f64, limit_raw: u16) -> i16 {
    let full = f64::from(rig_link::FULL_SCALE_COUNTS);
    let most = f64::from(limit_raw).min(full);
    libm::round(torque_nm / full_scale_nm * full).clamp(-most, most) as i16
}
