//! The drivetrain: gap, spring and hysteresis of a clamped one from slow loops; what friction of a free one gives before it
//! slides, from small ones; friction over speed, cogging by orders and the position sensor of one that a drive turns slowly.

mod legs;
mod loops;
mod orders;
mod position;
mod ringing;
mod slack;
mod small;
mod sweep;

use truerim_analysis::estimate::Outcome;

use super::FittingError;
use super::document::{Conditions, Measurand, Quantity};
use super::groups::overall;
use super::motion::{track, turned_at_zero};
use super::sensor::SensorTerms;
use crate::recording::{Declared, Recording};

pub(crate) use loops::of as clamped;
pub(super) use orders::named;
pub(crate) use small::of as small_loops;

/// One result: the group it belongs to, if the quantity has several, and the outcome.
struct One {
    quantity: Quantity,
    group: Option<String>,
    result: Outcome,
}

impl One {
    fn alone(quantity: Quantity, result: impl Into<Outcome>) -> Self {
        Self {
            quantity,
            group: None,
            result: result.into(),
        }
    }

    fn of(quantity: Quantity, group: &str, result: impl Into<Outcome>) -> Self {
        Self {
            quantity,
            group: Some(group.to_owned()),
            result: result.into(),
        }
    }

    fn measurand(self, conditions: &Conditions) -> Measurand {
        let n = self.result.estimate().map_or(0, |e| e.n);
        let mut measurand = overall(self.quantity, "", conditions, n, self.result);
        if let Some(group) = self.group {
            measurand.id = format!("{}@{group}", measurand.id);
            measurand.headline = false;
            measurand.group = group;
        }
        measurand
    }
}

/// What a rim shows that a drive turns to and fro; nothing for others.
pub(super) fn turned(
    recording: &Recording,
    declared: &Declared,
    sensor: &SensorTerms,
    conditions: &Conditions,
) -> Result<Vec<Measurand>, FittingError> {
    let Some(row) = turned_at_zero(recording).filter(|_| recording.header().mounting == "back-driven") else {
        return Ok(Vec::new());
    };
    let rows = recording.rows_between(row.start_tick, row.end_tick)?;
    let track = track::read(recording, rows)?;
    let pairs = legs::pairs(&track);
    let (mut found, curve) = sweep::of(&track, &pairs, declared, sensor);
    found.extend(orders::of(&track, &pairs, declared, sensor));
    found.extend(position::of(recording, &track, &pairs, &curve, declared)?);
    Ok(found.into_iter().map(|one| one.measurand(conditions)).collect())
}
