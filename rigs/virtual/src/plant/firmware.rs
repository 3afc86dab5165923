//! The wheelbase's firmware as seen from outside: it looks at the setpoint now and then, and acts on it later.
//!
//! Every `period_s` of its own clock the firmware reads the setpoint in force (poll and hold). What it read becomes
//! the torque demand `dead_time_s` later, plus a jitter drawn uniformly from 0 to `jitter_s`; the order of the reads
//! is kept. Its clock is free-running: phase drawn per seed, rate off by `clock_error`. A setpoint that arrives at a
//! random moment is therefore delayed by `dead_time + U(0, period) + U(0, jitter)`: uniform, standard deviation
//! `period/√12` without jitter, the usual result for a polled input.
//!
//! What it reads it may shape: within a deadband it acts as if nothing was asked for and counts from there on,
//! `x → sign(x)·max(|x| − deadband, 0)`; and it may know steps of a resolution only, to the nearest of which it rounds.
//!
//! It may smooth what it reads: `y += (1 − exp(−period/τ))·(x − y)` at each read, a first-order lag of time constant τ.
//!
//! Times are seconds since the rig booted.

use std::collections::VecDeque;

/// How the firmware takes up setpoints.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirmwareParameters {
    /// Time between two reads of the setpoint by the firmware's own clock, s; above 0.
    pub period_s: f64,
    /// Relative error of the firmware's clock: 30e-6 means each period is 30 ppm too long.
    pub clock_error: f64,
    /// Where in its period the firmware is when the rig boots, 0 to 1: the first read comes at `phase · period`.
    pub phase: f64,
    /// From a read to the change of the torque demand, s; 0 or more.
    pub dead_time_s: f64,
    /// Width of the uniform extra delay of one read, s; 0 or more.
    pub jitter_s: f64,
    /// Time constant τ of the smoothing, s; 0 for none.
    pub smoothing_s: f64,
    /// Setpoint either way up to which it does nothing, N·m; 0 for none.
    pub deadband_nm: f64,
    /// Steps that it rounds to, N·m; 0 for none.
    pub resolution_nm: f64,
}

impl FirmwareParameters {
    /// What it takes a setpoint for, N·m.
    pub fn taken_for_nm(&self, setpoint_nm: f64) -> f64 {
        let beyond = (setpoint_nm.abs() - self.deadband_nm)
            .max(0.0)
            .copysign(setpoint_nm);
        if self.resolution_nm > 0.0 {
            (beyond / self.resolution_nm).round() * self.resolution_nm
        } else if self.deadband_nm > 0.0 {
            beyond
        } else {
            setpoint_nm
        }
    }
}

/// Poll-and-hold with a delay line.
#[derive(Debug, Clone)]
pub struct Firmware {
    parameters: FirmwareParameters,
    true_period_s: f64,
    /// How far a read takes the smoothed setpoint towards itself, 0 to 1.
    approach: f64,
    smoothed_nm: f64,
    polls: u64,
    next_poll_s: f64,
    /// Reads on their way: (when the demand changes, demand). The length is bounded by
    /// `(dead time + jitter)/period + 2`.
    line: VecDeque<(f64, f64)>,
    last_release_s: f64,
    demand_nm: f64,
}

impl Firmware {
    /// A firmware that has just booted: its demand is zero.
    pub fn new(parameters: FirmwareParameters) -> Self {
        let true_period_s = parameters.period_s * (1.0 + parameters.clock_error);
        Self {
            parameters,
            true_period_s,
            approach: if parameters.smoothing_s > 0.0 {
                -(-parameters.period_s / parameters.smoothing_s).exp_m1()
            } else {
                1.0
            },
            smoothed_nm: 0.0,
            polls: 0,
            next_poll_s: parameters.phase * true_period_s,
            line: VecDeque::new(),
            last_release_s: f64::NEG_INFINITY,
            demand_nm: 0.0,
        }
    }

    /// Lets the firmware live through `[now_s, now_s + step_s)` and returns the demand in the middle of that step.
    /// `setpoint_nm` gives the setpoint in force at a time in it; `unit_random` numbers in 0 to 1 for the jitter, one a
    /// read.
    pub fn step(
        &mut self,
        now_s: f64,
        step_s: f64,
        setpoint_nm: impl Fn(f64) -> f64,
        mut unit_random: impl FnMut() -> f64,
    ) -> f64 {
        while self.next_poll_s < now_s + step_s {
            let jitter = if self.parameters.jitter_s > 0.0 {
                self.parameters.jitter_s * unit_random()
            } else {
                0.0
            };
            let release = (self.next_poll_s + self.parameters.dead_time_s + jitter).max(self.last_release_s);
            self.last_release_s = release;
            let read = self.parameters.taken_for_nm(setpoint_nm(self.next_poll_s));
            self.smoothed_nm = if self.approach < 1.0 {
                self.smoothed_nm + self.approach * (read - self.smoothed_nm)
            } else {
                read
            };
            self.line.push_back((release, self.smoothed_nm));
            self.polls += 1;
            // From the count, not by adding up: no drift over hours.
            self.next_poll_s = (self.parameters.phase + self.polls as f64) * self.true_period_s;
        }
        // Taking the middle of the step as the moment makes the time quantisation unbiased.
        let moment = now_s + 0.5 * step_s;
        while let Some(&(release, value)) = self.line.front() {
            if release > moment {
                break;
            }
            self.demand_nm = value;
            self.line.pop_front();
        }
        self.demand_nm
    }

    /// Forgets what is on its way: the power stage was switched off, the demand is zero until the next read gets
    /// through the dead time.
    pub fn flush(&mut self) {
        for entry in &mut self.line {
            entry.1 = 0.0;
        }
        self.smoothed_nm = 0.0;
        self.demand_nm = 0.0;
    }

    /// How far the firmware is into its period at `now_s`, s: 0 just after a read.
    pub fn time_since_poll_s(&self, now_s: f64) -> f64 {
        now_s - (self.next_poll_s - self.true_period_s)
    }
}
