//! Plays queued setpoints: queue, entry in force, limit and slew (PROTOCOL.md 7.7).

use std::collections::VecDeque;

use rig_link::HORIZON_US;
use rig_link::RefusalCode;
use rig_link::message::{Configuration, Setpoints};

/// Slew value that stands for no limit.
const NO_SLEW_LIMIT: u16 = u16::MAX;
/// Microseconds in the millisecond that the slew limit is given for.
const MS: u64 = 1_000;

/// One queued setpoint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Entry {
    tick: u64,
    raw: i16,
    ends: bool,
}

/// What one control step of playing found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Played {
    /// The last queued entry without `ends` came into force with nothing behind it.
    pub(super) underrun: bool,
    /// The entry in force is older than it may be.
    pub(super) expired: bool,
    /// The applied value is not the value in force, which is this.
    pub(super) limited: Option<i16>,
}

/// Queue and entry in force.
#[derive(Debug, Clone)]
pub(super) struct Player {
    capacity: u16,
    queue: VecDeque<Entry>,
    in_force: Option<Entry>,
    applied: i16,
    /// Thousandths of a count that the slew limit left over.
    left_over: u64,
    last_step: u64,
    /// Since when there is nothing to play: zero torque for good, and an empty queue.
    idle_since: Option<u64>,
}

impl Player {
    pub(super) fn new(capacity: u16) -> Self {
        Self {
            capacity,
            queue: VecDeque::new(),
            in_force: None,
            applied: 0,
            left_over: 0,
            last_step: 0,
            idle_since: None,
        }
    }

    /// Empty and at zero, at `now`.
    pub(super) fn clear(&mut self, now: u64) {
        self.queue.clear();
        self.in_force = None;
        self.applied = 0;
        self.left_over = 0;
        self.last_step = now;
        self.idle_since = None;
    }

    /// Free places.
    pub(super) fn credit(&self) -> u16 {
        let used = u16::try_from(self.queue.len()).unwrap_or(u16::MAX);
        self.capacity.saturating_sub(used)
    }

    /// The applied setpoint.
    pub(super) fn applied(&self) -> i16 {
        self.applied
    }

    /// Tick of the first queued entry.
    pub(super) fn next_tick(&self) -> Option<u64> {
        self.queue.front().map(|entry| entry.tick)
    }

    /// Since when nothing has been left to play.
    pub(super) fn idle_since(&self) -> Option<u64> {
        self.idle_since
    }

    /// Queues a message; returns how many entries were late, and by how much the first was.
    ///
    /// # Errors
    /// The refusal with its detail; nothing is queued then.
    pub(super) fn arrive(&mut self, message: &Setpoints, now: u64) -> Result<(u32, u64), (RefusalCode, i32)> {
        let last_value = message.values().last().copied().unwrap_or(0);
        if message.ends() && last_value != 0 {
            return Err((RefusalCode::NotZero, i32::from(last_value)));
        }
        if let Some(last) = self.queue.back()
            && message.first_tick() <= last.tick
        {
            return Err((RefusalCode::OutOfOrder, (last.tick & 0x7FFF_FFFF) as i32));
        }
        let horizon = now.saturating_add(HORIZON_US);
        if message.first_tick() > horizon {
            return Err((RefusalCode::OutOfRange, 0));
        }
        let count = message.values().len();
        if message.entries().last().is_some_and(|(tick, _)| tick > horizon) {
            return Err((RefusalCode::OutOfRange, 1));
        }
        if count > usize::from(self.credit()) {
            return Err((RefusalCode::QueueFull, i32::from(self.credit())));
        }
        let mut late = 0;
        for (index, (tick, raw)) in message.entries().enumerate() {
            if tick < now {
                late += 1;
            } else {
                let ends = message.ends() && index + 1 == count;
                self.queue.push_back(Entry { tick, raw, ends });
            }
        }
        if !self.queue.is_empty() {
            self.idle_since = None;
        }
        Ok((late, now.saturating_sub(message.first_tick())))
    }

    /// One control step while armed.
    pub(super) fn step(&mut self, now: u64, configuration: &Configuration) -> Played {
        let mut played = Played::default();
        while let Some(entry) = self.queue.front().copied().filter(|entry| entry.tick <= now) {
            self.queue.pop_front();
            self.in_force = Some(entry);
            played.underrun = self.queue.is_empty() && !entry.ends;
        }
        if let Some(entry) = self.in_force.filter(|entry| !entry.ends) {
            played.expired = now.saturating_sub(entry.tick) > u64::from(configuration.setpoint_expiry_us);
        }
        if played.expired {
            return played;
        }
        let wanted = self.in_force.map_or(0, |entry| entry.raw);
        let limit = i32::from(configuration.torque_limit_raw);
        let target = i32::from(wanted).clamp(-limit, limit);
        self.applied = self.slewed(target, now, configuration.slew_limit_raw_per_ms);
        played.limited = (self.applied != wanted).then_some(wanted);
        let nothing = self.in_force.is_none_or(|entry| entry.ends) && self.queue.is_empty();
        self.idle_since = if nothing {
            self.idle_since.or(Some(now))
        } else {
            None
        };
        played
    }

    fn slewed(&mut self, target: i32, now: u64, slew: u16) -> i16 {
        let elapsed = now.saturating_sub(self.last_step);
        self.last_step = now;
        let from = i32::from(self.applied);
        let distance = target - from;
        let allowance = self.left_over + elapsed * u64::from(slew);
        let most = i32::try_from(allowance / MS).unwrap_or(i32::MAX);
        let moved = if slew == NO_SLEW_LIMIT {
            distance
        } else {
            distance.clamp(-most, most)
        };
        // What is left over serves a movement that goes on; one that has arrived keeps nothing in store.
        self.left_over = if moved == distance { 0 } else { allowance % MS };
        i16::try_from(from + moved).unwrap_or(self.applied)
    }
}
