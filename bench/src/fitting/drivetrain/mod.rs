//! The drivetrain: gap, spring and hysteresis of a clamped one from slow loops; what friction of a free one gives before it
//! slides, from small ones; friction over speed, cogging by orders and the position sensor of one that a drive turns slowly.

mod around;
mod legs;
mod loaded;
mod local;
mod loops;
mod orders;
mod over_angle;
mod position;
mod ringing;
mod slack;
mod small;
mod span;
mod sweep;
pub(super) mod travel;
mod uneven;

use truerim_analysis::estimate::Outcome;

use super::FittingError;
use super::document::{Conditions, Measurand, Quantity};
use super::drivetrain_curves::{CoggingCurve, FrictionCurve};
use super::groups::overall;
use super::motion::{track, turned_at_zero};
use super::sensor::SensorTerms;
use super::shown::Curves;
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

/// What a rim shows that a drive turns to and fro, and its curves; nothing for others.
pub(super) fn turned(
    recording: &Recording,
    declared: &Declared,
    sensor: &SensorTerms,
    conditions: &Conditions,
    shown: &mut Curves,
) -> Result<Vec<Measurand>, FittingError> {
    if recording.header().mounting != "back-driven" {
        return Ok(Vec::new());
    }
    let mut loaded = loaded::of(recording, declared, sensor)?;
    loaded.extend(around::of(recording, declared, sensor)?);
    let under_load = Conditions {
        preload_nm: held_nm(recording),
        ..conditions.clone()
    };
    let loaded = loaded.into_iter().map(|one| one.measurand(&under_load));
    let Some(row) = turned_at_zero(recording) else {
        return Ok(loaded.collect());
    };
    let rows = recording.rows_between(row.start_tick, row.end_tick)?;
    let track = track::read(recording, rows)?;
    let pairs = legs::pairs(&track);
    let mut swept = sweep::of(&track, &pairs, declared, sensor);
    let (orders, cogging) = orders::of(&track, &pairs, declared, sensor);
    swept.found.extend(orders);
    swept.found.extend(uneven::of(&track, &pairs, sensor));
    let position = position::of(recording, &track, &pairs, &swept.pairs, declared)?;
    swept.found.extend(position);
    shown.friction = swept.curve.map(|curve| FrictionCurve {
        conditions: Conditions {
            n: curve.speed_rad_s.len(),
            ..conditions.clone()
        },
        ..curve
    });
    shown.cogging = cogging.map(|curve| CoggingCurve {
        conditions: Conditions {
            n: 2,
            ..conditions.clone()
        },
        ..curve
    });
    let found = swept.found.into_iter().map(|one| one.measurand(conditions));
    Ok(found.chain(loaded).collect())
}

/// The largest torque that is held, either way, N·m; `None` where none is.
fn held_nm(recording: &Recording) -> Option<f64> {
    let holds = recording.segments().iter().filter(|row| row.excitation == "hold");
    holds
        .map(|row| row.to_nm.abs())
        .filter(|nm| *nm > 0.0)
        .reduce(f64::max)
}

/// Rounds to a millionth: a micro-newton-metre; far below noise, and it keeps the file small.
fn micro(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}
