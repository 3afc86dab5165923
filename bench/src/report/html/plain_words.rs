//! The result in plain words, each number with its interval and a link to what it means.

use super::results::definition_anchor;
use crate::fitting::{Family, FitDocument, Measurand, Quantity, Reading};
use crate::report::{escape, words};

/// The opening section.
pub(super) fn section(document: &FitDocument) -> String {
    let mut text = String::from("<section id=\"short\" class=\"short\">\n<h2>In short</h2>\n");
    for sentence in [
        steps(document),
        rise(document),
        frequency(document),
        not_asked_for(document),
        steady(document),
        at_the_limit(document),
        short_pulses(document),
        small_changes(document),
        warming(document),
        turning(document),
        between_stops(document),
        ringing(document),
    ] {
        if !sentence.is_empty() {
            text.push_str(&format!("<p>{sentence}</p>\n"));
        }
    }
    text.push_str(&format!("<p class=\"under\">{}</p>\n", standing(document)));
    text.push_str("</section>\n");
    text
}

/// A linked `value ± U unit`, or `None` if there is none.
fn number(document: &FitDocument, quantity: Quantity) -> Option<String> {
    let measurand = document.headline(quantity)?;
    let reading = Reading::of(measurand.estimate()?, measurand.shown_in);
    let spread = if reading.symmetrical {
        format!("±\u{a0}{}{}", reading.half_width, reading.spaced_unit())
    } else {
        format!(
            "{} ({}{})",
            reading.spaced_unit(),
            reading.interval(),
            reading.spaced_unit()
        )
    };
    Some(format!(
        "<a class=\"key\" href=\"#{}\"><b>{}</b>\u{a0}{spread}</a>",
        definition_anchor(quantity),
        reading.value
    ))
}

/// Why there is no number: the first sentence of the refusal.
fn reason(document: &FitDocument, quantity: Quantity) -> String {
    let refused = document.headline(quantity).and_then(|m| m.result.refused());
    refused.map_or_else(|| "it was not measured".into(), |r| escape(&r.message))
}

/// What a staircase shows.
fn steady(document: &FitDocument) -> String {
    let Some(gain) = number(document, Quantity::StaticGain) else {
        return String::new();
    };
    let mut text = format!("Of slowly commanded torque {gain} arrives.");
    let deadband = document.headline(Quantity::Deadband).and_then(|m| m.estimate());
    if let (Some(linked), Some(estimate)) = (number(document, Quantity::Deadband), deadband) {
        text.push_str(&if estimate.interval[0] > 0.0 {
            format!(" It takes a command of {linked} before torque follows, friction apart.")
        } else {
            format!(" Friction apart, no command is too small to be followed ({linked}).")
        });
    }
    if let Some(width) = number(document, Quantity::StaticHysteresis) {
        text.push_str(&format!(
            " On the way down torque is up to {width} more than on the way up."
        ));
    }
    text
}

/// What of a steering trace arrives at the grip limit.
fn at_the_limit(document: &FitDocument) -> String {
    let Some(contrast) = number(document, Quantity::LimitContrast) else {
        return String::new();
    };
    let late = number(document, Quantity::LimitDelay)
        .map(|late| format!(", {late} late"))
        .unwrap_or_default();
    format!("Of the drop in torque at the tyre's limit {contrast} reaches the rim{late}.")
}

/// What of a kerb arrives.
fn short_pulses(document: &FitDocument) -> String {
    let late = number(document, Quantity::ShockDelay).map_or(String::new(), |late| format!(", {late} late"));
    let share = number(document, Quantity::ShockRetention)
        .map(|share| format!("Of the crest of a short pulse {share} arrives{late}."));
    let swing = number(document, Quantity::TrainSwing)
        .map(|swing| format!("In a train of pulses {swing} of the swing between them is kept."));
    sentences([share, swing])
}

/// What small changes come to.
fn small_changes(document: &FitDocument) -> String {
    let up = number(document, Quantity::ResolutionUp)
        .map(|up| format!("On a preload a step of {up} away from zero is told from noise."));
    let down =
        number(document, Quantity::ResolutionDown).map(|down| format!("Towards zero it takes {down}."));
    let grain = number(document, Quantity::GrainRms)
        .map(|grain| format!("Held, torque moves by {grain} (RMS), the sensor's noise included."));
    sentences([up, down, grain])
}

/// What warming takes.
fn warming(document: &FitDocument) -> String {
    let held = number(document, Quantity::TorqueHeld)
        .map(|held| format!("At the end of the longest hold {held} of its torque at first is left."));
    let torque = number(document, Quantity::SustainedTorque)
        .map(|torque| format!("Held for good, {torque} warms the winding by 50\u{a0}K."));
    sentences([held, torque])
}

fn sentences<const N: usize>(list: [Option<String>; N]) -> String {
    list.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Why there is no number; nothing where the procedure was about other things and did not play for it.
fn unless_not_played(document: &FitDocument, quantity: Quantity, what: &str) -> String {
    let refused = document.headline(quantity).and_then(|m| m.result.refused());
    let not_played = refused.is_some_and(|r| matches!(r.code.as_str(), "no_steps" | "no_chirp" | "mounting"));
    let other = |m: &Measurand| {
        matches!(
            m.quantity.family(),
            Family::Static
                | Family::Traces
                | Family::Drivetrain
                | Family::Shock
                | Family::Small
                | Family::Heat
        ) && m.estimate().is_some()
    };
    if not_played && document.measurands.iter().any(other) {
        return String::new();
    }
    format!("{what}: {}.", reason(document, quantity))
}

/// What a rim that turns shows, first where it was measured.
fn turning(document: &FitDocument) -> String {
    let mut clauses = Vec::new();
    if let Some(drag) = number(document, Quantity::Drag) {
        clauses.push(format!("turning it steadily takes {drag}"));
    }
    if let Some(friction) = number(document, Quantity::Coulomb) {
        clauses.push(format!("friction takes {friction} at whatever speed"));
    }
    if let Some(viscous) = number(document, Quantity::Viscous) {
        clauses.push(format!("{viscous} more with the speed"));
    }
    if let Some(inertia) = number(document, Quantity::TurningInertia) {
        clauses.push(format!("all that turns has an inertia of {inertia}"));
    }
    let Some(last) = clauses.pop() else {
        return String::new();
    };
    if clauses.is_empty() {
        return format!("As the rim turns, {last}.");
    }
    format!("As the rim turns, {} and {last}.", clauses.join(", "))
}

/// How far a rim turns.
fn between_stops(document: &FitDocument) -> String {
    let travel = number(document, Quantity::Travel)
        .map(|travel| format!("The rim turns {travel} from one end stop to the other."));
    let centre = number(document, Quantity::TravelCentre)
        .map(|centre| format!("The middle between them lies at {centre} by the rim encoder."));
    sentences([travel, centre])
}

fn steps(document: &FitDocument) -> String {
    let Some(latency) = number(document, Quantity::Latency) else {
        return unless_not_played(document, Quantity::Latency, "No latency can be given");
    };
    let jitter = match number(document, Quantity::LatencyJitter) {
        Some(jitter) => {
            format!(", and that varies by {jitter} (one standard deviation) from one step to the next")
        }
        None => String::new(),
    };
    format!("Torque begins {latency} after the rig puts a setpoint into force{jitter}.")
}

fn rise(document: &FitDocument) -> String {
    let mut clauses = Vec::new();
    if let Some(rise) = number(document, Quantity::TransitionDuration) {
        clauses.push(format!("takes {rise} from 10 to 90 % of a step"));
    }
    if let Some(overshoot) = number(document, Quantity::Overshoot) {
        clauses.push(format!("overshoots by {overshoot}"));
    }
    if let Some(settling) = number(document, Quantity::SettlingTime) {
        clauses.push(format!("has settled {settling} after the setpoint"));
    }
    let gain = number(document, Quantity::SteadyGain)
        .map(|gain| format!(" Of the torque commanded, {gain} arrives once it has settled."))
        .unwrap_or_default();
    if clauses.is_empty() {
        return gain.trim().to_owned();
    }
    let Some(last) = clauses.pop() else { return gain };
    let list = if clauses.is_empty() {
        last
    } else {
        format!("{} and {last}", clauses.join(", "))
    };
    format!("Once it begins, it {list}.{gain}")
}

fn frequency(document: &FitDocument) -> String {
    let flat = number(document, Quantity::FlatBand);
    let band = number(document, Quantity::Bandwidth);
    match (flat, band) {
        (Some(flat), Some(band)) => format!(
            "Signals come through within ±3 dB up to {flat}; the magnitude has fallen by 3 dB at {band}."
        ),
        (Some(flat), None) => format!("Signals come through within ±3 dB up to {flat}."),
        (None, Some(band)) => format!("The magnitude has fallen by 3 dB at {band}."),
        (None, None) => unless_not_played(document, Quantity::Bandwidth, "Nothing can be said by frequency"),
    }
}

fn not_asked_for(document: &FitDocument) -> String {
    let all = (
        number(document, Quantity::OddDistortion),
        number(document, Quantity::EvenDistortion),
        number(document, Quantity::PeriodNoise),
    );
    let (Some(odd), Some(even), Some(noise)) = all else {
        return String::new();
    };
    format!(
        "Beside what was asked for come {odd} of odd distortion (alike in both directions, as friction and gaps make it), {even} \
         of even distortion, and {noise} that differs from one period to the next."
    )
}

fn ringing(document: &FitDocument) -> String {
    let Some(resonance) = number(document, Quantity::Resonance) else {
        return String::new();
    };
    let damping = number(document, Quantity::ResonanceDamping)
        .map(|damping| format!(" with a damping ratio of {damping}"))
        .unwrap_or_default();
    let spring = match document.rig_spring.series_nm_per_rad {
        Some(k) => format!(" (sensor and fixture: {} N·m/rad, declared)", words::thousands(k)),
        None => String::new(),
    };
    format!(
        "Clamped on this rig{spring} the wheelbase rings at {resonance}{damping}; overshoot, settling and what \
         arrives near that frequency belong to wheelbase and rig together."
    )
}

/// Conditions, and what the checks say.
fn standing(document: &FitDocument) -> String {
    let failed: Vec<&str> = document
        .quality
        .iter()
        .filter(|check| !check.passed)
        .map(|check| check.name.as_str())
        .collect();
    let refused = document
        .measurands
        .iter()
        .filter(|m| m.headline && m.estimate().is_none())
        .count();
    let checks = if failed.is_empty() {
        format!(
            "all {} <a href=\"#quality\">checks on the data</a> passed",
            document.quality.len()
        )
    } else {
        format!(
            "<strong class=\"bad\">failed checks: {}</strong> (<a href=\"#quality\">data quality</a>)",
            escape(&failed.join(", "))
        )
    };
    let refusals = match refused {
        0 => String::new(),
        1 => "; one result is refused with its reason".into(),
        n => format!("; {n} results are refused with their reasons"),
    };
    let doubtful: Vec<&str> = document
        .measurands
        .iter()
        .filter(|m| m.headline && m.estimate().is_some_and(|e| !e.all_checks_passed()))
        .map(|m| m.name.as_str())
        .collect();
    let doubts = if doubtful.is_empty() {
        String::new()
    } else {
        format!(
            " <strong class=\"bad\">Read with care: {}</strong>; a check of their own failed and stands beside them.",
            escape(&doubtful.join("; "))
        )
    };
    let conditions = document
        .headline(Quantity::Latency)
        .or(document.measurands.first())
        .map(|m| &m.conditions);
    let held = conditions.map(words::conditions_short).filter(|c| !c.is_empty());
    let held = held
        .map(|c| format!("Steps: {}. ", escape(&c)))
        .unwrap_or_default();
    format!("± is the 95 % interval. {held}Of this recording, {checks}{refusals}.{doubts}")
}
