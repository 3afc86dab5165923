//! Whether steps and chirps give the same delay.

use truerim_analysis::estimate::{Check, Contribution, Estimate, Kind, Outcome};

use super::groups::refused;

/// Latency less the delay from phase. Type B contributions of the same name stem from one and the same value (the
/// declared sensor delay, the clock), so they are fully correlated and enter by their difference (JCGM 100, 5.2.2,
/// correlation coefficient 1); all others are independent.
pub(crate) fn of(latency: &Outcome, phase: &Outcome) -> Outcome {
    let (Some(a), Some(b)) = (latency.estimate(), phase.estimate()) else {
        let missing = match (latency.estimate(), phase.estimate()) {
            (None, Some(_)) => "the latency",
            (Some(_), None) => "the delay from phase",
            _ => "both delays",
        };
        return refused(
            "delay_missing",
            format!(
                "two delays are needed to compare and {missing} could not be given; see the reason there"
            ),
        );
    };
    let budget = difference_budget(a, b);
    let method = "difference of the two estimates, shared contributions cancelled";
    let made = Estimate::from_budget(a.value - b.value, "s", a.n.min(b.n), method, budget);
    let judged = made.map(|e| {
        let agree = e.interval[0] <= 0.0 && 0.0 <= e.interval[1];
        let detail = if agree {
            "zero lies within the interval"
        } else {
            "zero lies outside the interval"
        };
        e.with_checks([Check::new("delays agree", agree, detail)])
    });
    judged.into()
}

fn difference_budget(a: &Estimate, b: &Estimate) -> Vec<Contribution> {
    let twin = |c: &Contribution, other: &Estimate| -> Option<f64> {
        let same = |o: &&Contribution| o.kind == Kind::B && c.kind == Kind::B && o.source == c.source;
        other.budget.iter().find(same).map(|o| o.std_uncertainty)
    };
    let named = |c: &Contribution, which: &str, u: f64| Contribution {
        source: format!("{}, {which}", c.source),
        std_uncertainty: u,
        ..c.clone()
    };
    let mut budget = Vec::new();
    for c in &a.budget {
        match twin(c, b) {
            Some(u) => budget.push(named(c, "shared by both", (c.std_uncertainty - u).abs())),
            None => budget.push(named(c, "latency", c.std_uncertainty)),
        }
    }
    for c in b.budget.iter().filter(|c| twin(c, a).is_none()) {
        budget.push(named(c, "delay from phase", c.std_uncertainty));
    }
    budget
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, budget: Vec<Contribution>) -> Outcome {
        Estimate::from_budget(value, "s", 10, "hand", budget).into()
    }

    #[test]
    fn what_both_share_cancels() {
        let shared = || Contribution::type_b("declared sensor delay", 100e-6);
        let a = estimate(4.0e-3, vec![Contribution::type_b("shape", 3e-6), shared()]);
        let b = estimate(4.02e-3, vec![Contribution::type_b("fit", 4e-6), shared()]);
        let found = of(&a, &b);
        let e = found.estimate().unwrap();
        // Hand: √(3² + 4²) = 5 µs; −20 µs lies 4 u away.
        assert!((e.std_uncertainty - 5e-6).abs() < 1e-12);
        assert!((e.value + 20e-6).abs() < 1e-12);
        assert!(!e.checks[0].passed);
    }

    #[test]
    fn one_delay_is_not_enough() {
        let a = estimate(4.0e-3, vec![Contribution::type_b("shape", 3e-6)]);
        let found = of(&a, &refused("x", "y"));
        assert!(
            found
                .refused()
                .unwrap()
                .message
                .contains("the delay from phase could not be given")
        );
    }
}
