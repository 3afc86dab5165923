//! Two estimates of one quantity side by side.

use super::{Check, Contribution, Estimate, Kind, Refusal};

/// `a` less `b`, with a check named `name` on whether zero lies within its interval.
///
/// Type B contributions of the same source stem from one and the same value (a declared sensor delay, a clock), so they
/// are fully correlated and enter by their difference (JCGM 100, 5.2.2, correlation coefficient 1); all others count as
/// independent. `names` tell the two apart in the budget.
///
/// # Errors
/// Those of [`Estimate::from_budget`].
pub fn difference(a: &Estimate, b: &Estimate, names: [&str; 2], name: &str) -> Result<Estimate, Refusal> {
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
            None => budget.push(named(c, names[0], c.std_uncertainty)),
        }
    }
    for c in b.budget.iter().filter(|c| twin(c, a).is_none()) {
        budget.push(named(c, names[1], c.std_uncertainty));
    }
    let method = "difference of the two estimates, shared contributions cancelled";
    let made = Estimate::from_budget(a.value - b.value, &a.unit, a.n.min(b.n), method, budget)?;
    let agree = made.interval[0] <= 0.0 && 0.0 <= made.interval[1];
    let detail = if agree {
        "zero lies within the interval"
    } else {
        "zero lies outside the interval"
    };
    Ok(made.with_checks([Check::new(name, agree, detail)]))
}
