//! A comparison in plain words.

use super::document::{Compared, Row, RowOutcome, SpreadKind};
use crate::fitting::{Quantity, Reading};

/// Words for more and for less of a quantity.
fn more_and_less(quantity: Quantity) -> [&'static str; 2] {
    match quantity {
        Quantity::DriveStiffness
        | Quantity::RangeStiffness
        | Quantity::TurnedStiffness
        | Quantity::BeltStiffness
        | Quantity::BeltBeyond
        | Quantity::PreslidingStiffness
        | Quantity::StopStiffness => ["stiffer", "softer"],
        Quantity::Latency
        | Quantity::LatencyLow
        | Quantity::LatencyMedian
        | Quantity::LatencyHigh
        | Quantity::DeadTime
        | Quantity::PhaseDelay
        | Quantity::ModelDelay
        | Quantity::GroupDelay
        | Quantity::UpdatePeriod
        | Quantity::SettlingTime
        | Quantity::PositionDelay
        | Quantity::LimitDelay
        | Quantity::TraceDelay => ["longer", "shorter"],
        Quantity::TransitionDuration | Quantity::RiseToHalf => ["slower", "faster"],
        Quantity::Bandwidth | Quantity::FlatBand | Quantity::IdealBandwidth | Quantity::IdealFlatBand => {
            ["wider", "narrower"]
        }
        Quantity::ResonanceDamping => ["stronger", "weaker"],
        Quantity::RotorInertia | Quantity::TurningInertia => ["heavier", "lighter"],
        Quantity::Coulomb
        | Quantity::CoulombPositive
        | Quantity::CoulombNegative
        | Quantity::CoastCoulomb
        | Quantity::SweepCoulomb
        | Quantity::Viscous
        | Quantity::CoastViscous
        | Quantity::SweepViscous
        | Quantity::Drag
        | Quantity::DragAtSpeed
        | Quantity::Overshoot
        | Quantity::Undershoot
        | Quantity::Backlash
        | Quantity::TurnedGap
        | Quantity::GapVariation
        | Quantity::StiffnessVariation
        | Quantity::FrictionVariation
        | Quantity::LostMotion
        | Quantity::Hysteresis
        | Quantity::StaticHysteresis
        | Quantity::Cogging
        | Quantity::CoggingOrder
        | Quantity::RippleUnderLoad => ["more", "less"],
        _ => ["higher", "lower"],
    }
}

/// Whether its sign is a direction, so that a percentage of it says nothing.
pub(crate) fn is_signed(quantity: Quantity) -> bool {
    matches!(
        quantity,
        Quantity::StaticOffset
            | Quantity::TorqueOffset
            | Quantity::DelayAgreement
            | Quantity::CoggingPhase
            | Quantity::TravelCentre
            | Quantity::OwnCentre
            | Quantity::FrictionSector
            | Quantity::GapSector
            | Quantity::StiffnessSector
            | Quantity::TorqueNegative
    )
}

/// A chance as it is written, with its sign: `p = 0.012`, `p < 0.0001`.
#[must_use]
pub fn chance(p: f64) -> String {
    if p < 1e-4 {
        "p < 0.0001".into()
    } else if p < 0.1 {
        format!("p = {p:.4}")
    } else {
        format!("p = {p:.2}")
    }
}

/// The difference as a person reads it: in percent where that says something, else in its unit.
fn size(row: &Row, compared: &Compared) -> String {
    let reading = match &compared.relative {
        Some(relative) => {
            let sign = relative.value.signum();
            let ends = [relative.interval[0], relative.interval[1]].map(|end| 100.0 * sign * end);
            let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
            Reading::from_interval(100.0 * sign * relative.value, low, high, "%")
        }
        None => {
            let k = row.shown_in.factor();
            let sign = compared.difference.value.signum();
            let ends = compared.difference.interval.map(|end| k * sign * end);
            let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
            Reading::from_interval(
                k * sign * compared.difference.value,
                low,
                high,
                row.shown_in.unit(),
            )
        }
    };
    reading.to_string()
}

/// A size without uncertainty, rounded up to two digits so that it still bounds.
pub(crate) fn bound(row: &Row, compared: &Compared, si: f64) -> String {
    let (value, unit) = match (&compared.relative, compared.then.value) {
        (Some(_), base) if base.abs() > 0.0 => (100.0 * si / base.abs(), "%"),
        _ => (row.shown_in.factor() * si, row.shown_in.unit()),
    };
    let text = rounded_up(value);
    if unit.is_empty() {
        text
    } else {
        format!("{text} {unit}")
    }
}

fn rounded_up(value: f64) -> String {
    if !(value.is_finite() && value > 0.0) {
        return crate::fitting::plain(value, 2);
    }
    let step = 10f64.powi(value.log10().floor() as i32 - 1);
    crate::fitting::plain((value / step * (1.0 - 1e-12)).ceil() * step, 2)
}

/// One row as a sentence.
#[must_use]
pub fn sentence(row: &Row) -> String {
    let name = if row.headline || row.group.is_empty() {
        row.name.clone()
    } else {
        format!("{}, {}", row.name, row.group)
    };
    match &row.outcome {
        RowOutcome::NotCompared { reason, .. } => format!("{name}: not compared; {reason}."),
        RowOutcome::Compared(compared) if compared.differs => {
            let [more, less] = more_and_less(row.quantity);
            let word = if compared.difference.value > 0.0 {
                more
            } else {
                less
            };
            format!(
                "{name}: {word} by {}, beyond chance ({}).",
                size(row, compared),
                chance(compared.chance_adjusted),
            )
        }
        RowOutcome::Compared(compared) => format!(
            "{name}: no difference shown, smaller than {} with 95 % confidence.",
            bound(row, compared, compared.smaller_than)
        ),
    }
}

/// The difference against the bench's own repeatability, in words; empty where nothing scatters.
#[must_use]
pub fn against_spread(compared: &Compared) -> String {
    let Some(multiple) = compared.spread.multiple else {
        return String::new();
    };
    let what = match compared.spread.kind {
        SpreadKind::Remounting => "what clamping the rim anew spreads one result by",
        SpreadKind::Runs => "what one run differs from the next by",
        SpreadKind::WithinRuns => "what repeats within a run leave open",
    };
    format!("{} times {what}", crate::fitting::plain(multiple, 2))
}

/// The size that a difference does not exceed, as a person reads it.
#[must_use]
pub fn bound_text(row: &Row, compared: &Compared) -> String {
    bound(row, compared, compared.smaller_than)
}

/// The least difference that would have been found, as a person reads it.
#[must_use]
pub fn would_find_text(row: &Row, compared: &Compared) -> String {
    bound(row, compared, compared.would_find)
}

/// The difference with its interval, in percent where that says something, else in its unit; its sign left to the words.
#[must_use]
pub fn difference_text(row: &Row, compared: &Compared) -> String {
    size(row, compared)
}

/// A row's verdict in a word or two, for a table.
#[must_use]
pub fn short_verdict(row: &Row) -> String {
    match &row.outcome {
        RowOutcome::NotCompared { .. } => "not compared".into(),
        RowOutcome::Compared(compared) if compared.differs => {
            let [more, less] = more_and_less(row.quantity);
            let word = if compared.difference.value > 0.0 {
                more
            } else {
                less
            };
            format!("{word} by {}", size(row, compared))
        }
        RowOutcome::Compared(compared) => {
            format!("none shown, < {}", bound(row, compared, compared.smaller_than))
        }
    }
}
