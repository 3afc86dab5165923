//! A run's setpoints, played on a force-feedback device at their ticks.
//!
//! The rig controller gets them too and goes through everything that it would with a motor of its own: limits, watchdog, expiry,
//! stops. What ends its permission ends the device's torque at once; so does every stop of the run, before it leaves, and silence of the controller.

use std::collections::VecDeque;

use bench_core::rig::ForceFeedback;
use bench_core::time_base::TimeBase;
use rig_link::message::{Configuration, Identity, Setpoints};
use rig_link::{FULL_SCALE_COUNTS, RigState};

use super::Push;

/// Setpoints that may wait: of two seconds at 2 kHz.
const WAITING: usize = 4_096;
/// Levels that are remembered, for the rows that have not been told yet: of more than a second at 1 kHz.
const APPLIED: usize = 2_048;
/// Silence of the rig controller after which the device is released, ns.
const SILENCE_NS: i64 = 25_000_000;

/// Plays setpoints on a device. See the module's text.
pub struct Player {
    push: Box<dyn Push>,
    declared: ForceFeedback,
    /// Torque of the rig's largest setpoint, N·m.
    rig_full_scale_nm: f64,
    limit_raw: i16,
    expiry_us: u64,
    waiting: VecDeque<(u64, i16)>,
    in_force: Option<(u64, i16)>,
    /// Tick of the entry behind which none follows: it does not expire.
    ends: Option<u64>,
    armed: bool,
    /// A stop went out after which nobody asked to arm again.
    stopped: bool,
    heard_ns: i64,
    due_ns: i64,
    renew_ns: i64,
    applied: VecDeque<(i64, i16)>,
    /// Most that a level came later than it was due, ns.
    latest_ns: i64,
}

impl Player {
    /// Nothing to play yet.
    #[must_use]
    pub fn new(push: Box<dyn Push>, declared: ForceFeedback) -> Self {
        Self {
            push,
            declared,
            rig_full_scale_nm: f64::NAN,
            limit_raw: 0,
            expiry_us: 0,
            waiting: VecDeque::with_capacity(WAITING + 1),
            in_force: None,
            ends: None,
            armed: false,
            stopped: true,
            heard_ns: 0,
            due_ns: i64::MAX,
            renew_ns: 0,
            applied: VecDeque::with_capacity(APPLIED + 1),
            latest_ns: 0,
        }
    }

    /// The rig said who it is.
    pub fn identified(&mut self, identity: &Identity) {
        self.rig_full_scale_nm = identity.full_scale_nm;
    }

    /// The rig applied limits; it is not armed.
    pub fn configured(&mut self, applied: &Configuration) {
        self.limit_raw = i16::try_from(applied.torque_limit_raw).unwrap_or(FULL_SCALE_COUNTS);
        self.expiry_us = u64::from(applied.setpoint_expiry_us);
    }

    /// The run asked for torque to be permitted.
    pub fn arming(&mut self) {
        self.stopped = false;
    }

    /// The rig showed its state.
    ///
    /// # Errors
    /// What the device's system said.
    pub fn heard(&mut self, state: RigState, now_ns: i64) -> std::io::Result<()> {
        self.heard_ns = now_ns;
        if state == RigState::Armed && !self.stopped {
            if !self.armed {
                self.armed = true;
                (self.due_ns, self.renew_ns) = (now_ns, now_ns);
            }
            return Ok(());
        }
        if self.armed { self.release(now_ns) } else { Ok(()) }
    }

    /// Setpoints on their way to the rig. More than there is room for are not kept: what is then missing expires.
    pub fn queue(&mut self, setpoints: &Setpoints) {
        for (tick, raw) in setpoints.entries() {
            if self.waiting.len() < WAITING {
                self.waiting.push_back((tick, raw));
                self.ends = setpoints.ends().then_some(tick);
            }
        }
    }

    /// A stop is on its way to the rig.
    ///
    /// # Errors
    /// What the device's system said.
    pub fn stop(&mut self, now_ns: i64) -> std::io::Result<()> {
        self.stopped = true;
        self.release(now_ns)
    }

    fn release(&mut self, now_ns: i64) -> std::io::Result<()> {
        self.armed = false;
        self.waiting.clear();
        self.in_force = None;
        self.ends = None;
        self.due_ns = i64::MAX;
        let done = self.push.release();
        self.remember(now_ns, 0);
        done
    }

    /// When [`Self::play`] has something to do next, ns of the host's clock.
    #[must_use]
    pub const fn due_ns(&self) -> i64 {
        self.due_ns
    }

    /// Plays what is due; `now` reads the host's clock, ns.
    ///
    /// # Errors
    /// Why the device was released: it failed, the rig fell silent, a setpoint expired, or the rig's clock is not known well enough.
    pub fn play(&mut self, base: &TimeBase, now: &dyn Fn() -> i64) -> Result<(), String> {
        let now_ns = now();
        if !self.armed || now_ns < self.due_ns {
            return Ok(());
        }
        let level = self.level(base, now_ns).and_then(|(raw, level)| {
            let renew = now_ns >= self.renew_ns;
            self.push
                .set(level, renew)
                .map_err(|error| format!("it failed: {error}; check its cable and supply"))?;
            Ok((raw, renew))
        });
        match level {
            Ok((raw, renew)) => {
                self.remember(now_ns, raw); // when it was handed over: what the system takes from there on is the device's latency
                self.latest_ns = self.latest_ns.max(now_ns - self.due_ns);
                let step_ns = (self.declared.update_period_s * 1e9) as i64;
                // On the grid: a late level does not make the next ones late, and none is played twice.
                self.due_ns += ((now_ns - self.due_ns) / step_ns + 1) * step_ns;
                if renew {
                    self.renew_ns = now_ns + (self.declared.expiry_s * 1e9 / 3.0) as i64;
                }
                Ok(())
            }
            Err(why) => {
                self.stopped = true;
                let _ = self.release(now_ns);
                Err(format!(
                    "the force-feedback device {} was released: {why}",
                    self.declared.device
                ))
            }
        }
    }

    /// Counts in force at a time, and the device's level for them.
    fn level(&mut self, base: &TimeBase, now_ns: i64) -> Result<(i16, i16), String> {
        if now_ns - self.heard_ns > SILENCE_NS {
            let silent_ms = (now_ns - self.heard_ns) as f64 * 1e-6;
            return Err(format!("the rig controller was silent for {silent_ms:.0} ms"));
        }
        let bound_ns = self.declared.time_bound_s * 1e9;
        let offset = base.at(now_ns);
        let Some(offset) = offset.filter(|offset| offset.bound_ns <= bound_ns) else {
            let known = offset.map_or("not known".to_owned(), |o| {
                format!("known to {:.3} ms", o.bound_ns * 1e-6)
            });
            let limit_ms = bound_ns * 1e-6;
            return Err(format!(
                "the rig's clock is {known}, rig.drive.time_bound asks for {limit_ms:.3} ms"
            ));
        };
        let tick = u64::try_from((now_ns + offset.offset_ns).div_euclid(1_000)).unwrap_or(0);
        while let Some(&(at, _)) = self.waiting.front()
            && at <= tick
        {
            self.in_force = self.waiting.pop_front();
        }
        let Some((since, raw)) = self.in_force else {
            return Ok((0, 0));
        };
        if self.ends != Some(since) && tick - since > self.expiry_us {
            let late_ms = (tick - since) as f64 * 1e-3;
            return Err(format!(
                "a setpoint was in force for {late_ms:.1} ms without a next one"
            ));
        }
        let raw = raw.clamp(-self.limit_raw, self.limit_raw);
        Ok((
            raw,
            level_of(raw, self.rig_full_scale_nm, self.declared.full_scale_nm),
        ))
    }

    fn remember(&mut self, at_ns: i64, raw: i16) {
        if self.applied.back().is_some_and(|&(_, before)| before == raw) {
            return;
        }
        self.applied.push_back((at_ns, raw));
        if self.applied.len() > APPLIED {
            self.applied.pop_front();
        }
    }

    /// Counts that the device was given last before a time, ns of the host's clock, and for how long by then it had them, ns; `None` where it
    /// was given none yet, or none that is still remembered.
    #[must_use]
    pub fn applied_at(&self, at_ns: i64) -> (i16, Option<i64>) {
        let behind = self.applied.partition_point(|&(since, _)| since <= at_ns);
        let last = behind.checked_sub(1).and_then(|place| self.applied.get(place));
        last.map_or((0, None), |&(since, raw)| (raw, Some(at_ns - since)))
    }

    /// For people.
    #[must_use]
    pub fn account(&self) -> String {
        format!(
            "force-feedback device {} ({}): levels at most {:.2} ms later than due",
            self.declared.device,
            self.push.name(),
            self.latest_ns as f64 * 1e-6
        )
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        let _ = self.push.release();
    }
}

/// A setpoint of the rig's scale in levels of the device's.
fn level_of(raw: i16, rig_full_scale_nm: f64, device_full_scale_nm: f64) -> i16 {
    let full = f64::from(FULL_SCALE_COUNTS);
    let share = f64::from(raw) / full * rig_full_scale_nm / device_full_scale_nm;
    // A share that is no number becomes no torque.
    (share * full).round().clamp(-full, full) as i16
}
