//! The rig controller as PROTOCOL.md beside `rig-link` specifies it. Ticks and counts go in, frames and an [`Output`]
//! come out; there is no physics here.
//!
//! Time is the caller's, by the controller's own timer: [`Controller::receive`] takes bytes that arrive now, [`Controller::step`] is called on a
//! fixed grid of ticks, and at those of setpoints in between, and plays setpoints, watches limits and deadlines, and takes samples.

mod arming;
mod limits;
mod line;
mod messages;
mod output;
mod play;
mod player;
mod reports;
mod sampling;
mod stop;
pub mod transition;
mod wiring;

pub use arming::{Challenge, Feed};
pub use output::Output;
pub use wiring::{ALL, CHANNELS, Counts, WIDTHS, Wiring};

use rand_chacha::ChaCha8Rng;
use rig_link::message::{Configuration, STOP_KIND};
use rig_link::{RigState, TripCause};

use crate::parameters::ControllerParameters;
use limits::Measured;
use line::{Candidate, Line};
use player::Player;
use reports::{Counters, Rationed};
use sampling::Sampling;
use stop::Braking;
use transition::Change;

/// A status comes this often by itself while sampling, µs.
const STATUS_US: u64 = 50_000;
/// How long the emergency-stop input must be closed to count as closed, µs.
const EMERGENCY_STOP_STEADY_US: u64 = 20_000;

/// The rig controller.
#[derive(Debug, Clone)]
pub struct Controller {
    parameters: ControllerParameters,
    wiring: Wiring,
    random: ChaCha8Rng,
    boot_id: u32,
    line: Line,
    now: u64,
    state: RigState,
    cause: TripCause,
    configuration: Option<(Configuration, u32)>,
    sampling: Option<Sampling>,
    next_status: u64,
    challenge: Challenge,
    feed: Feed,
    player: Player,
    brake: Option<Braking>,
    emergency_stop_closed: bool,
    emergency_stop_closing: Option<u64>,
    armed_angle_urad: i32,
    measured: Option<Measured>,
    rim_before: Option<(u64, i32)>,
    counters: Counters,
    rationed: Rationed,
    /// Stop messages are ignored (a fault).
    deaf_to_stop: bool,
    /// Batches are lost on the way out (a fault).
    frozen: bool,
    /// How far the tick count has jumped away from the timer (a fault), ticks.
    jumped: i64,
    /// Whether faults are scripted: the controller says so of itself.
    faulty: bool,
}

impl Controller {
    /// A controller that powers up at tick 0. `random` draws its boot id and its challenges; `previous_boot_id` is
    /// never drawn.
    pub fn new(
        parameters: ControllerParameters,
        wiring: Wiring,
        mut random: ChaCha8Rng,
        previous_boot_id: u32,
    ) -> Self {
        let boot_id = arming::draw_other_than(&mut random, previous_boot_id);
        let player = Player::new(parameters.queue_capacity);
        let mut controller = Self {
            parameters,
            wiring,
            random,
            boot_id,
            line: Line::new(),
            now: 0,
            state: RigState::Idle,
            cause: TripCause::None,
            configuration: None,
            sampling: None,
            next_status: u64::MAX,
            challenge: Challenge::default(),
            feed: Feed::default(),
            player,
            brake: None,
            emergency_stop_closed: true,
            emergency_stop_closing: None,
            armed_angle_urad: 0,
            measured: None,
            rim_before: None,
            counters: Counters::default(),
            rationed: Rationed::default(),
            deaf_to_stop: false,
            frozen: false,
            jumped: 0,
            faulty: false,
        };
        controller.booted();
        controller
    }

    /// The same hardware after a reset: everything forgotten but the emergency-stop input, ticks from 0 again. What
    /// had been written is on the wire and stays there.
    #[must_use]
    pub fn rebooted(self) -> Self {
        let mut next = Self::new(self.parameters, self.wiring, self.random, self.boot_id);
        next.emergency_stop_closed = self.emergency_stop_closed;
        next.emergency_stop_closing = self.emergency_stop_closing.map(|_| 0);
        next.faulty = self.faulty;
        next.line.follow(self.line);
        next
    }

    /// Bytes from the bench arrive at `now` by its timer, which is not before the last time given.
    pub fn receive(&mut self, bytes: &[u8], now: u64) {
        self.now = self.count(now).max(self.now);
        for candidate in self.line.split(bytes) {
            match candidate {
                // Nobody takes what is written: a message whose answer finds no room is not carried out.
                Candidate::Frame(frame) if frame.kind != STOP_KIND && !self.line.has_room() => {}
                Candidate::Frame(frame) => self.carry_out(&frame),
                Candidate::Bad(error) => self.bad_frame(error),
            }
        }
    }

    /// Whether [`Self::step`] at `timer` needs counts.
    pub fn wants_counts(&self, timer: u64) -> bool {
        let tick = self.count(timer);
        timer.is_multiple_of(u64::from(self.parameters.period_us))
            || self
                .sampling
                .as_ref()
                .is_some_and(|sampling| sampling.next_row == tick)
    }

    /// One control step at `timer`; `counts` are the sensors' at this moment, given when [`Self::wants_counts`].
    pub fn step(&mut self, timer: u64, counts: Option<&Counts>) {
        let now = self.count(timer);
        self.now = now;
        if let Some(counts) = counts
            && timer.is_multiple_of(u64::from(self.parameters.period_us))
        {
            self.measured = Some(Measured::new(&self.wiring, counts, self.rim_before, now));
            self.rim_before = Some((now, counts.rim));
        }
        self.settle_emergency_stop();
        self.play();
        self.run_brake();
        self.challenge.expire(now);
        if let Some(counts) = counts {
            self.sample(counts);
        }
        if now >= self.next_status {
            self.next_status += STATUS_US;
            self.status();
        }
    }

    /// When by its timer the next setpoint is to come into force; a step at that very moment plays it then.
    pub fn next_setpoint_tick(&self) -> Option<u64> {
        self.player.next_tick().map(|tick| self.timer(tick))
    }

    /// The emergency-stop input opens (`false`) or closes at `now` by its timer. Opening counts at once, closing when it has
    /// lasted 20 ms. Nothing happens on a rig without the input.
    pub fn set_emergency_stop(&mut self, closed: bool, now: u64) {
        if !self.parameters.emergency_stop_input {
            return;
        }
        self.now = self.count(now).max(self.now);
        if closed {
            self.emergency_stop_closing = self.emergency_stop_closing.or(Some(self.now));
        } else {
            self.emergency_stop_closing = None;
            if self.emergency_stop_closed {
                self.emergency_stop_changed(false);
            }
        }
    }

    fn settle_emergency_stop(&mut self) {
        let steady = |since: u64| self.now.saturating_sub(since) >= EMERGENCY_STOP_STEADY_US;
        if self.emergency_stop_closing.is_some_and(steady) {
            self.emergency_stop_closing = None;
            if !self.emergency_stop_closed {
                self.emergency_stop_changed(true);
            }
        }
    }

    /// What the wheelbase is made to do now.
    pub fn output(&self) -> Output {
        match (self.state, self.brake.is_some()) {
            (RigState::Armed, _) => Output::Torque(self.player.applied()),
            (_, true) => Output::Brake,
            (_, false) => Output::Off,
        }
    }

    /// Moves what the controller has written to the end of `out`.
    pub fn transmit(&mut self, out: &mut Vec<u8>) {
        self.line.take(out);
    }

    /// When by its timer the controller will next write by itself if nothing happens: a full batch or a status. The end of time
    /// when it is not sampling.
    pub fn next_output_tick(&self) -> u64 {
        self.sampling.as_ref().map_or(u64::MAX, |sampling| {
            self.timer(sampling.batch_full_at().min(self.next_status))
        })
    }

    /// The tick count at `timer`: the two are the same unless the count has jumped.
    fn count(&self, timer: u64) -> u64 {
        timer.saturating_add_signed(self.jumped)
    }

    /// The timer's reading when the count is `tick`.
    fn timer(&self, tick: u64) -> u64 {
        tick.saturating_add_signed(-self.jumped)
    }

    /// The tick count jumps by `ticks` at `now` by its timer, in whole steps and backward at most to 0 (a fault). What the timer drives
    /// goes on undisturbed: control steps, samples, the regular status. What is held against the count sees the jump:
    /// feeds, setpoints, deadlines.
    pub fn jump_clock(&mut self, ticks: i64, now: u64) {
        self.now = self.count(now).max(self.now);
        let by = ticks.max(-i64::try_from(self.now).unwrap_or(i64::MAX));
        let by = by - by % i64::from(self.parameters.step_us.max(1));
        self.send_batch();
        self.jumped += by;
        self.now = self.now.saturating_add_signed(by);
        if self.next_status != u64::MAX {
            self.next_status = self.next_status.saturating_add_signed(by);
        }
        self.rim_before = self
            .rim_before
            .map(|(tick, rim)| (tick.saturating_add_signed(by), rim));
        if let Some(sampling) = &mut self.sampling {
            sampling.shift(by);
        }
    }

    /// Faults are scripted: from now on the controller says so of itself.
    pub fn admit_faults(&mut self) {
        self.faulty = true;
    }

    /// Goes where the table says.
    fn change(&mut self, change: Change) {
        self.state = transition::after(self.state, change);
    }

    /// The state.
    pub fn state(&self) -> RigState {
        self.state
    }

    /// From now on stop messages are ignored (a fault).
    pub fn ignore_stops(&mut self) {
        self.deaf_to_stop = true;
    }

    /// From now on no batch of samples leaves the controller, which does not notice (a fault).
    pub fn freeze_stream(&mut self) {
        self.frozen = true;
    }
}
