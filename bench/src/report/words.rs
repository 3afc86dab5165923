//! Phrases that table, plots and page share.

use crate::fitting::{Conditions, Measurand, Reading, RootFacts, ShownIn, plain};
use truerim_analysis::estimate::Outcome;

/// `value ± U unit` of a measurand, if it has an estimate.
pub(crate) fn reading(measurand: &Measurand) -> Option<String> {
    measurand
        .estimate()
        .map(|e| Reading::of(e, measurand.shown_in).to_string())
}

/// `text`, or `otherwise` if it is empty.
pub(crate) fn or_unknown(text: &str, otherwise: &str) -> String {
    if text.trim().is_empty() {
        otherwise.into()
    } else {
        text.into()
    }
}

/// What was played: `step of 0.7 N·m on 0.35 N·m`.
pub(crate) fn excitation(conditions: &Conditions, kind: &str) -> String {
    let Some(amplitude) = conditions.amplitude_nm else {
        if conditions.mounting == "back-driven" {
            return match conditions.preload_nm {
                Some(held) if held > 0.0 => {
                    format!("turned by a drive, holding up to {} N·m", plain(held, 3))
                }
                _ => "turned by a drive at setpoint zero, no preload".into(),
            };
        }
        // Results over repeats of every size have no amplitude of their own.
        return if conditions.n > 0 {
            let plural = if kind.ends_with('s') { "es" } else { "s" };
            format!("all {kind}{plural}")
        } else {
            format!("{kind}, amplitude not stated")
        };
    };
    let on = match conditions.preload_nm {
        Some(preload) if preload.abs() > 1e-9 => format!("on a preload of {} N·m", plain(preload, 3)),
        Some(_) => "from zero".into(),
        None => "preload not stated".into(),
    };
    format!("{kind} of {} N·m {on}", plain(amplitude, 3))
}

/// Temperature with its range where it moved.
pub(crate) fn temperature(conditions: &Conditions) -> String {
    match &conditions.temperature {
        None => "temperature not measured".into(),
        Some(t) if t.max_degc - t.min_degc < 0.5 => format!("{:.1} °C", t.mean_degc),
        Some(t) => format!("{:.1} °C ({:.1} to {:.1})", t.mean_degc, t.min_degc, t.max_degc),
    }
}

/// Spring of the rig.
pub(crate) fn rig_spring(nm_per_rad: Option<f64>) -> String {
    match nm_per_rad {
        Some(k) => format!("rig spring {} N·m/rad", thousands(k)),
        None => "rig spring not declared".into(),
    }
}

/// A large value to three digits with thin spaces between thousands: `3 330`.
pub(crate) fn thousands(value: f64) -> String {
    let text = plain(value, 3);
    let digits = text.len();
    if value < 1e4 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return text;
    }
    let mut grouped = String::new();
    for (i, c) in text.chars().enumerate() {
        if i > 0 && (digits - i).is_multiple_of(3) {
            grouped.push('\u{202f}');
        }
        grouped.push(c);
    }
    grouped
}

/// A range of frequencies: `0.5 to 270 Hz`.
pub(crate) fn range_hz([low, high]: [f64; 2]) -> String {
    format!("{} to {} Hz", plain(low, 3), plain(high, 3))
}

/// An outcome as `value ± U unit`, or `refused`.
pub(crate) fn outcome(outcome: &Outcome, shown_in: ShownIn) -> String {
    match outcome.estimate() {
        Some(estimate) => Reading::of(estimate, shown_in).to_string(),
        None => "refused".into(),
    }
}

/// A pole or zero: `pole pair at 94.2 ± 0.2 Hz, damping 0.121 ± 0.002`.
pub(crate) fn root(root: &RootFacts) -> String {
    let frequency = outcome(&root.frequency, ShownIn::Hertz);
    if root.pair {
        let damping = outcome(&root.damping, ShownIn::Plain);
        format!("{} pair at {frequency}, damping {damping}", root.kind)
    } else {
        format!("real {} at {frequency}", root.kind)
    }
}

/// Short form of the conditions for a table cell.
pub(crate) fn conditions_short(conditions: &Conditions) -> String {
    let mut parts = Vec::new();
    if !conditions.mounting.is_empty() {
        parts.push(conditions.mounting.clone());
    }
    if let Some(amplitude) = conditions.amplitude_nm {
        parts.push(match conditions.preload_nm {
            Some(p) if p.abs() > 1e-9 => format!("{} on {} N·m", plain(amplitude, 3), plain(p, 3)),
            Some(_) => format!("{} N·m from 0", plain(amplitude, 3)),
            None => format!("{} N·m", plain(amplitude, 3)),
        });
    } else if conditions.n > 0 {
        parts.push(
            if conditions.mounting == "clamped" || conditions.mounting.is_empty() {
                "all steps".into()
            } else {
                "whole run".into()
            },
        );
    }
    if let Some(t) = &conditions.temperature {
        parts.push(format!("{:.1} °C", t.mean_degc));
    }
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_grouped_from_five_digits_on() {
        assert_eq!(thousands(3333.3), "3330");
        assert_eq!(thousands(15_000.0), "15\u{202f}000");
        assert_eq!(thousands(0.25), "0.25");
    }

    #[test]
    fn excitations_are_said_in_words() {
        let c = Conditions {
            amplitude_nm: Some(0.7),
            preload_nm: Some(0.35),
            ..Conditions::default()
        };
        assert_eq!(excitation(&c, "step"), "step of 0.7 N·m on a preload of 0.35 N·m");
        assert_eq!(conditions_short(&c), "0.7 on 0.35 N·m");
    }
}
