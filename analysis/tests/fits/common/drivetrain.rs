//! Motion with friction, integrated from the equations, and readings of it: independent of the code under test and of
//! the virtual rig. LuGre: Canudas de Wit et al. 1995, equations 1 to 4; classical Runge–Kutta of fourth order.
#![allow(
    dead_code,
    unreachable_pub,
    missing_docs,
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout
)]

use super::common::Random;
use serde_json::Value;

/// What tests/reference/analysis/friction.py found.
pub fn friction_reference() -> Value {
    reference("friction")
}

/// What the script of this name under tests/reference/analysis found.
pub fn reference(name: &str) -> Value {
    let path = format!("{}/tests/data/drivetrain/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

#[derive(Clone, Copy)]
pub struct Lugre {
    pub inertia: f64,
    pub coulomb: [f64; 2],
    pub ratio: f64,
    pub stribeck: f64,
    pub sigma0: f64,
    pub sigma1: f64,
    pub viscous: f64,
}

impl Lugre {
    /// The belt unit of the trade's typical values, rim held free.
    pub fn belt() -> Self {
        Self {
            inertia: 0.013,
            coulomb: [0.26, 0.24],
            ratio: 1.25,
            stribeck: 0.10,
            sigma0: 0.25 / 0.08_f64.to_radians(),
            sigma1: 0.3,
            viscous: 0.012,
        }
    }

    pub fn steady(&self, v: f64) -> f64 {
        v.signum() * self.level(v) + self.viscous * v
    }

    fn level(&self, v: f64) -> f64 {
        let c = if v >= 0.0 {
            self.coulomb[0]
        } else {
            self.coulomb[1]
        };
        // Beyond six Stribeck speeds the fall is below rounding, and an exponential saved.
        let x = (v / self.stribeck).powi(2);
        if x > 36.0 {
            c
        } else {
            c * (1.0 + (self.ratio - 1.0) * (-x).exp())
        }
    }

    /// Friction and the rate of the bristle's torque.
    fn friction(&self, v: f64, bristle: f64) -> (f64, f64) {
        let rate = self.sigma0 * (v - v.abs() * bristle / self.level(v));
        (
            bristle + self.sigma1 / self.sigma0 * rate + self.viscous * v,
            rate,
        )
    }

    /// States angle, speed, bristle torque from `start` every `dt_s` under an applied torque.
    pub fn run(
        &self,
        start: [f64; 3],
        dt_s: f64,
        count: usize,
        torque: impl Fn(f64, f64, f64) -> f64,
    ) -> Vec<[f64; 3]> {
        let rhs = |t: f64, y: [f64; 3]| {
            let (friction, rate) = self.friction(y[1], y[2]);
            [y[1], (torque(t, y[0], y[1]) - friction) / self.inertia, rate]
        };
        let add = |y: [f64; 3], k: [f64; 3], h: f64| [y[0] + h * k[0], y[1] + h * k[1], y[2] + h * k[2]];
        let mut y = start;
        let mut out = Vec::with_capacity(count);
        // Stable for the bristle up to |v| dt / (pre-sliding angle) of 2.7.
        let inner = 6;
        let h = dt_s / f64::from(inner);
        for i in 0..count {
            out.push(y);
            for k in 0..inner {
                let t = i as f64 * dt_s + f64::from(k) * h;
                let k1 = rhs(t, y);
                let k2 = rhs(t + 0.5 * h, add(y, k1, 0.5 * h));
                let k3 = rhs(t + 0.5 * h, add(y, k2, 0.5 * h));
                let k4 = rhs(t + h, add(y, k3, h));
                for j in 0..3 {
                    y[j] += h / 6.0 * (k1[j] + 2.0 * k2[j] + 2.0 * k3[j] + k4[j]);
                }
            }
        }
        out
    }
}

/// A reading in steps.
pub fn steps(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

/// Counts bias, spread and coverage of an estimate over seeds.
#[derive(Default)]
pub struct Tally {
    pub errors: Vec<f64>,
    pub held: usize,
    pub claimed: f64,
}

impl Tally {
    pub fn add(&mut self, value: f64, interval: [f64; 2], u: f64, truth: f64) {
        self.errors.push(value - truth);
        self.held += usize::from(interval[0] <= truth && truth <= interval[1]);
        self.claimed += u;
    }

    pub fn outcome(&mut self, outcome: &truerim_analysis::estimate::Outcome, truth: f64) {
        let e = outcome.estimate().unwrap_or_else(|| panic!("{outcome:?}"));
        self.add(e.value, e.interval, e.std_uncertainty, truth);
    }

    pub fn bias(&self) -> f64 {
        self.errors.iter().sum::<f64>() / self.errors.len() as f64
    }

    pub fn spread(&self) -> f64 {
        let b = self.bias();
        (self.errors.iter().map(|e| (e - b).powi(2)).sum::<f64>() / (self.errors.len() as f64 - 1.0)).sqrt()
    }

    pub fn coverage(&self) -> f64 {
        self.held as f64 / self.errors.len() as f64
    }

    pub fn say(&self, name: &str) {
        println!(
            "{name}: bias {:.3e}, spread {:.3e}, claimed {:.3e}, coverage {:.3} over {}",
            self.bias(),
            self.spread(),
            self.claimed / self.errors.len() as f64,
            self.coverage(),
            self.errors.len()
        );
    }

    /// Coverage within four standard deviations of `expected`'s lower side, and not idle: not above `most`.
    pub fn covers(&self, name: &str, least: f64, most: f64) {
        self.say(name);
        let c = self.coverage();
        assert!(
            c >= least && c <= most,
            "{name}: coverage {c}, allowed {least} to {most}"
        );
    }
}

/// White noise of a sensor.
pub fn noisy(random: &mut Random, value: f64, sd: f64) -> f64 {
    value + sd * random.normal()
}
