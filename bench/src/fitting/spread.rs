//! How long a rig that limits the slew of its setpoint takes for a jump.
//!
//! A firmware that looks in that time takes over a part, and the rest one period later: the delay of such a repeat is neither
//! that of the first part nor of the second. Where it happens rarely the latency fit tells those repeats apart; where it
//! happens to most, the distribution of the delays is no longer that of the waits.

use truerim_analysis::estimate::{Contribution, Outcome};
use truerim_analysis::statistics::median;

use super::document::{Measurand, Quantity};
use super::groups::{Group, refused};

/// Largest share of the firmware's period that a jump may take in the mean. At 0.24 the scatter of the delays of the direct unit came out
/// 18 % low, three times what is stated for it; at 0.07 that of the belt unit is right.
const MOST: f64 = 0.15;

/// Jump against the firmware's period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spread {
    /// How long the rig takes for a step in the mean, s: over the period that is the share of steps taken over in two parts.
    pub(crate) jump_s: f64,
    /// How often the firmware looks, s.
    pub(crate) period_s: f64,
}

/// The spread, where it is too long for what is said of single delays.
pub(crate) fn too_long(groups: &[Group<'_>], update_period_s: Option<f64>) -> Option<Spread> {
    let period_s = update_period_s?;
    let cuts = || groups.iter().flat_map(|g| &g.cuts);
    let rates: Vec<f64> = cuts()
        .flat_map(|cut| cut.jump_rates_nm_per_s.iter().copied())
        .collect();
    let sizes: Vec<f64> = cuts()
        .map(|cut| (cut.row.to_nm - cut.row.from_nm).abs())
        .collect();
    let mean_nm = sizes.iter().sum::<f64>() / sizes.len() as f64;
    let jump_s = mean_nm / median(&rates).ok()?;
    (jump_s > MOST * period_s).then_some(Spread { jump_s, period_s })
}

impl Spread {
    /// Refuses what rests on single delays; the mean gets what half of the jump may shift it by.
    pub(crate) fn judge(self, measurands: &mut [Measurand]) {
        for measurand in measurands {
            match measurand.quantity {
                Quantity::LatencyJitter
                | Quantity::UpdatePeriod
                | Quantity::DeadTime
                | Quantity::ArrivalJitter => measurand.result = self.refusal(),
                Quantity::Latency => {
                    let shift = Contribution::rectangular("jump spread by the rig", self.shift_s());
                    if let Outcome::Estimate(estimate) = &measurand.result {
                        measurand.result = estimate.clone().with_contribution(shift).into();
                    }
                }
                _ => {}
            }
        }
    }

    /// Of the steps whose jump a poll falls into (jump over period), each is late by half a period at most.
    fn shift_s(self) -> f64 {
        let share = (self.jump_s / self.period_s).min(1.0);
        0.5 * share * self.jump_s.min(self.period_s)
    }

    fn refusal(self) -> Outcome {
        refused(
            "setpoint_spread",
            format!(
                "the rig spreads a step over {:.2} ms in the mean, and the firmware looks every {:.2} ms: many steps are taken over in \
                 two parts, and their single delays say little; at most {:.0} % of the period, by smaller steps or a greater \
                 rig.limits.slew",
                1e3 * self.jump_s,
                1e3 * self.period_s,
                100.0 * MOST
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::super::document::Conditions;
    use super::super::groups::absent;
    use super::*;
    use truerim_analysis::estimate::Estimate;

    #[test]
    fn single_delays_are_refused_and_the_mean_is_known_less_well() {
        let known = |quantity| {
            let made =
                Estimate::from_budget(1.6e-3, "s", 96, "hand", vec![Contribution::type_b("hand", 1e-5)]);
            absent(quantity, Conditions::default(), Outcome::from(made))
        };
        let mut list = [
            Quantity::Latency,
            Quantity::LatencyJitter,
            Quantity::UpdatePeriod,
            Quantity::DeadTime,
            Quantity::ArrivalJitter,
            Quantity::LatencyMedian,
        ]
        .map(known);
        let spread = Spread {
            jump_s: 0.1e-3,
            period_s: 0.25e-3,
        };
        spread.judge(&mut list);
        // Half of 0.4 times 0.1 ms either way, evenly spread: 11.55 µs beside 10 µs.
        let u = list[0].estimate().unwrap().std_uncertainty;
        assert!((u - 15.28e-6).abs() < 0.01e-6, "{u}");
        for refused in &list[1..5] {
            let why = refused.result.refused().unwrap();
            assert!(
                why.code == "setpoint_spread" && why.message.contains("0.10 ms"),
                "{}",
                why.message
            );
        }
        assert!(list[5].estimate().is_some());
    }
}
