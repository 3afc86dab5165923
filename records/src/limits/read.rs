//! From a limits file.

use settings_file::{
    Angle, Damping, Findings, Force, Frequency, Inertia, Quantity, Ratio, Section, Settings, Slew, Speed,
    Stiffness, Time, Torque, any,
};

use super::{Limit, Limits, MeasurandLimits, Rule, WhenOverdue};
use crate::canonical::sha256;
use crate::content::LimitsText;

/// Standard uncertainties that a guard band may have.
const FACTORS: std::ops::RangeInclusive<f64> = 0.1..=6.0;

impl Limits {
    /// Reads a limits file; `docs/records.md` describes it.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its line, what is allowed and what to do.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, Findings> {
        let settings = Settings::parse(file, text)?;
        let root = settings.root();
        let head = root.section("limits");
        let rule = rule(&head.section("rule"));
        let overdue = [("refuse", WhenOverdue::Refuse), ("flag", WhenOverdue::Flag)];
        let measurands: Vec<MeasurandLimits> = head
            .sections("measurand", 1..=1000)
            .iter()
            .map(|section| measurand(section, rule))
            .collect();
        for (at, one) in measurands.iter().enumerate() {
            if measurands.iter().take(at).any(|other| other.id == one.id) {
                let problem = format!("\"{}\" has limits twice", one.id);
                head.report("measurand", problem, None, "keep one of them");
            }
        }
        let value = Self {
            text: LimitsText {
                name: head.text("name"),
                model: head.text("model"),
                sha256: sha256(text),
                text: text.to_owned(),
            },
            overdue: head.choice("overdue", &overdue).unwrap_or(WhenOverdue::Refuse),
            measurands,
        };
        settings.finish(value)
    }
}

fn rule(section: &Section<'_>) -> Rule {
    let guarded = section.choice("kind", &[("guard-band", true), ("simple", false)]);
    match guarded {
        Some(false) => {
            if section.has("factor") {
                section.report("factor", "a simple rule has no guard band", None, "leave it out");
                section.leave_to_others("factor");
            }
            Rule::Simple
        }
        _ => Rule::GuardBand(section.number("factor", FACTORS)),
    }
}

fn measurand(section: &Section<'_>, rule: Rule) -> MeasurandLimits {
    let limit = |key| limit(section, key);
    let own_factor = section.optional("factor").map(|entry| entry.number(FACTORS));
    let one = MeasurandLimits {
        id: section.text("id"),
        reject_below: limit("reject_below"),
        reject_above: limit("reject_above"),
        warn_below: limit("warn_below"),
        warn_above: limit("warn_above"),
        rule: own_factor.map_or(rule, Rule::GuardBand),
    };
    let all = [
        ("reject_below", one.reject_below),
        ("warn_below", one.warn_below),
        ("warn_above", one.warn_above),
        ("reject_above", one.reject_above),
    ];
    let given: Vec<(&str, Limit)> = all
        .iter()
        .filter_map(|(key, limit)| Some((*key, (*limit)?)))
        .collect();
    if given.is_empty() {
        section.report(
            "id",
            "has no limit",
            None,
            "add reject_below, reject_above, warn_below or warn_above",
        );
    }
    for pair in given.windows(2) {
        if let [(lower, a), (upper, b)] = pair {
            if a.unit != b.unit {
                section.report(
                    upper,
                    format!("is not of the kind of {lower}"),
                    None,
                    "give both in the same unit",
                );
            } else if a.value >= b.value {
                let fix = "the order is reject_below, warn_below, warn_above, reject_above";
                section.report(upper, format!("is not above {lower}"), None, fix);
            }
        }
    }
    one
}

/// A quantity of any kind that a fit has.
fn limit(section: &Section<'_>, key: &str) -> Option<Limit> {
    let entry = section.optional(key)?;
    macro_rules! first_of {
        ($($quantity:ident $unit:literal),+) => {
            $(if entry.is::<$quantity>() {
                return Some(Limit { value: entry.quantity::<$quantity>(any()), unit: $unit });
            })+
        };
    }
    first_of!(
        Time "s", Frequency "Hz", Torque "N.m", Slew "N.m/s", Stiffness "N.m/rad", Damping "N.m.s/rad", Inertia "kg.m2",
        Angle "rad", Speed "rad/s", Force "N", Ratio "1"
    );
    let kinds = [
        Time::EXAMPLE,
        Frequency::EXAMPLE,
        Torque::EXAMPLE,
        Slew::EXAMPLE,
        Stiffness::EXAMPLE,
        Ratio::EXAMPLE,
    ];
    let allowed = kinds.map(|example| format!("\"{example}\"")).join(", ");
    entry.report(
        "is no quantity that a fit has",
        Some(format!("quantities like {allowed}")),
        "write it as a text with its unit",
    );
    None
}
