//! The first torque of a run: small, and judged for sign and gain before anything larger is sent.

use crate::channels::Reading;
use crate::interlock::{Condition, Trip};

/// Gathers torque before and during the first small torque.
#[derive(Debug, Clone, Copy)]
pub(super) struct ApproachJudge {
    /// Rig ticks between which the torque is taken.
    window: [u64; 2],
    /// Commanded, N·m.
    level_nm: f64,
    /// Allowed measured over commanded.
    gain: [f64; 2],
    /// Torque at rest, N·m.
    baseline_nm: f64,
    sum: f64,
    count: u32,
}

/// What the approach showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Verdict {
    /// Measured over commanded, within the range.
    Passed(f64),
    /// Wrong.
    Failed(Trip),
}

impl ApproachJudge {
    pub(super) const fn new(window: [u64; 2], level_nm: f64, gain: [f64; 2], baseline_nm: f64) -> Self {
        Self {
            window,
            level_nm,
            gain,
            baseline_nm,
            sum: 0.0,
            count: 0,
        }
    }

    /// Takes a sample; gives the verdict with the first one behind the window.
    pub(super) fn look(&mut self, reading: &Reading) -> Option<Verdict> {
        let [from, to] = self.window;
        if reading.tick < from {
            return None;
        }
        if reading.tick <= to {
            self.sum += reading.torque_nm - self.baseline_nm;
            self.count += 1;
            return None;
        }
        let gain = if self.count == 0 {
            0.0
        } else {
            self.sum / f64::from(self.count) / self.level_nm
        };
        let [low, high] = self.gain;
        if (low..=high).contains(&gain) {
            return Some(Verdict::Passed(gain));
        }
        // A clear negative answer is a sign; anything nearer to nothing is a gain.
        let condition = if gain <= -0.5 * low {
            Condition::WrongSign
        } else {
            Condition::WrongGain
        };
        let limit = if gain > high { high } else { low };
        Some(Verdict::Failed(Trip {
            condition,
            measured: gain,
            limit,
            unit: "of the command",
            tick: reading.tick,
            detail: "",
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::{ApproachJudge, Verdict};
    use crate::channels::Reading;
    use crate::interlock::Condition;

    fn verdict(torque_nm: f64) -> Verdict {
        let mut judge = ApproachJudge::new([1_000, 2_000], -0.35, [0.5, 1.5], 0.02);
        for tick in (0..4_000).step_by(250) {
            let reading = Reading::new(tick, -0.35, torque_nm + 0.02, 0.0);
            if let Some(verdict) = judge.look(&reading) {
                return verdict;
            }
        }
        panic!("no verdict");
    }

    #[test]
    fn sign_and_gain_are_told_apart_whatever_the_zero_offset() {
        assert!(matches!(verdict(-0.34), Verdict::Passed(gain) if (gain - 0.971).abs() < 1e-3));
        let failed = |torque| match verdict(torque) {
            Verdict::Failed(trip) => trip.condition,
            Verdict::Passed(gain) => panic!("passed with {gain}"),
        };
        assert_eq!(failed(0.34), Condition::WrongSign);
        assert_eq!(failed(0.0), Condition::WrongGain);
        assert_eq!(failed(-0.10), Condition::WrongGain);
        assert_eq!(failed(-0.70), Condition::WrongGain);
    }
}
