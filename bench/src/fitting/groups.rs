//! Repeats that belong together.

use std::ops::Range;

use truerim_analysis::estimate::{Check, Outcome, Refused};

use super::FittingError;
use super::cut::Cut;
use super::definitions::QuantityText;
use super::document::{Conditions, Measurand, Quantity, RigSpring, Temperature};
use super::reading::plain;
use crate::recording::Recording;

/// Repeats of one excitation at one level, from one preload, in one direction.
pub(crate) struct Group<'a> {
    /// In words: `1.4 to 2.8 N·m`.
    pub(crate) name: String,
    /// The repeats whose setpoint was as planned.
    pub(crate) cuts: Vec<&'a Cut>,
    /// How many were not.
    pub(crate) off_plan: usize,
    /// Whether it stands for its family in a summary.
    pub(crate) headline: bool,
    /// Conditions, with the number of repeats.
    pub(crate) conditions: Conditions,
}

type Key = (i64, i64, i64, i64);

fn micro(nm: f64) -> i64 {
    (nm * 1e6).round() as i64
}

/// Steps by level left and level reached. The headline is the largest step from a preload, upward if there are two; if
/// no step starts from a preload, the largest from zero.
pub(crate) fn steps<'a>(recording: &Recording, cuts: &'a [Cut]) -> Result<Vec<Group<'a>>, FittingError> {
    let key = |c: &Cut| (micro(c.row.from_nm), micro(c.row.to_nm), 0, 0);
    let name = |c: &Cut| format!("{} to {} N·m", plain(c.row.from_nm, 3), plain(c.row.to_nm, 3));
    let rank = |c: &Cut| {
        let outward = c.row.from_nm * (c.row.to_nm - c.row.from_nm);
        let from_preload = outward > 1e-12;
        (
            from_preload,
            micro((c.row.to_nm - c.row.from_nm).abs()),
            c.row.to_nm > c.row.from_nm,
        )
    };
    let preload = |c: &Cut| c.row.from_nm;
    let amplitude = |c: &Cut| c.row.to_nm - c.row.from_nm;
    collect(recording, cuts, key, name, rank, |c| (amplitude(c), preload(c)))
}

/// Chirps by amplitude, preload and range of frequencies. The headline is the largest amplitude.
pub(crate) fn chirps<'a>(recording: &Recording, cuts: &'a [Cut]) -> Result<Vec<Group<'a>>, FittingError> {
    let key = |c: &Cut| {
        let r = &c.row;
        (
            micro(r.amplitude_nm),
            micro(r.preload_nm),
            micro(r.f_start_hz),
            micro(r.f_end_hz),
        )
    };
    let name = |c: &Cut| {
        let r = &c.row;
        format!(
            "{} N·m on {} N·m, {} to {} Hz",
            plain(r.amplitude_nm, 3),
            plain(r.preload_nm, 3),
            plain(r.f_start_hz, 3),
            plain(r.f_end_hz, 3)
        )
    };
    let rank = |c: &Cut| (true, micro(c.row.amplitude_nm), c.row.preload_nm > 0.0);
    collect(recording, cuts, key, name, rank, |c| {
        (c.row.amplitude_nm, c.row.preload_nm)
    })
}

/// What is played in whole periods, by segment: its realisations have crests of their own. The headline is the largest
/// amplitude.
pub(crate) fn periodic<'a>(recording: &Recording, cuts: &'a [Cut]) -> Result<Vec<Group<'a>>, FittingError> {
    let largest = |c: &Cut| {
        let same = cuts.iter().filter(|other| other.row.segment == c.row.segment);
        same.map(|other| other.row.amplitude_nm).fold(0.0, f64::max)
    };
    let key = |c: &Cut| (i64::from(c.row.segment), 0, 0, 0);
    let name = |c: &Cut| {
        let kind = &c.row.excitation;
        format!(
            "{} N·m on {} N·m, {kind} \u{201c}{}\u{201d}",
            plain(largest(c), 3),
            plain(c.row.preload_nm, 3),
            c.row.name
        )
    };
    let rank = |c: &Cut| (true, micro(largest(c)), c.row.preload_nm > 0.0);
    collect(recording, cuts, key, name, rank, |c| {
        (largest(c), c.row.preload_nm)
    })
}

fn collect<'a>(
    recording: &Recording,
    cuts: &'a [Cut],
    key: impl Fn(&Cut) -> Key,
    name: impl Fn(&Cut) -> String,
    rank: impl Fn(&Cut) -> (bool, i64, bool),
    torque: impl Fn(&Cut) -> (f64, f64),
) -> Result<Vec<Group<'a>>, FittingError> {
    let mut found: std::collections::BTreeMap<Key, Vec<&'a Cut>> = std::collections::BTreeMap::new();
    for cut in cuts {
        found.entry(key(cut)).or_default().push(cut);
    }
    let mut groups: Vec<((bool, i64, bool), Group<'a>)> = Vec::new();
    for members in found.into_values() {
        let Some(first) = members.first().copied() else {
            continue;
        };
        let (amplitude, preload) = torque(first);
        let all = members.len();
        let cuts: Vec<&Cut> = members.into_iter().filter(|c| c.as_planned()).collect();
        let conditions = Conditions {
            mounting: recording.header().mounting.clone(),
            amplitude_nm: Some(amplitude).filter(|a| a.is_finite()),
            preload_nm: Some(preload).filter(|p| p.is_finite()),
            temperature: temperature(recording, &cuts)?,
            n: cuts.len(),
            rig_spring_nm_per_rad: RigSpring::of(recording).series_nm_per_rad,
        };
        let off_plan = all - cuts.len();
        groups.push((
            rank(first),
            Group {
                name: name(first),
                cuts,
                off_plan,
                headline: false,
                conditions,
            },
        ));
    }
    // Largest first; a group without a usable repeat stands for nothing.
    groups.sort_by_key(|(rank, group)| std::cmp::Reverse((!group.cuts.is_empty(), *rank)));
    let mut groups: Vec<Group<'a>> = groups.into_iter().map(|(_, group)| group).collect();
    if let Some(first) = groups.first_mut() {
        first.headline = true;
    }
    Ok(groups)
}

/// Mean, lowest and highest temperature over the rows of the repeats, from the first channel in °C.
pub(crate) fn temperature(recording: &Recording, cuts: &[&Cut]) -> Result<Option<Temperature>, FittingError> {
    let rows: Vec<Range<usize>> = cuts.iter().map(|cut| cut.rows.clone()).collect();
    temperature_of(recording, &rows)
}

/// Rows read at a time.
const BLOCK: usize = 1 << 16;

/// The same over stretches of rows.
pub(crate) fn temperature_of(
    recording: &Recording,
    stretches: &[Range<usize>],
) -> Result<Option<Temperature>, FittingError> {
    let Some(channel) = recording.header().channels.iter().find(|c| c.units == "degC") else {
        return Ok(None);
    };
    let (mut sum, mut count, mut low, mut high) = (0.0, 0.0, f64::INFINITY, f64::NEG_INFINITY);
    let blocks = stretches
        .iter()
        .flat_map(|rows| rows.clone().step_by(BLOCK).map(|a| a..(a + BLOCK).min(rows.end)));
    for rows in blocks {
        for value in recording.values(&channel.name, rows)? {
            sum += value;
            count += 1.0;
            low = low.min(value);
            high = high.max(value);
        }
    }
    Ok((count > 0.0).then(|| Temperature {
        channel: channel.long_name.clone(),
        mean_degc: sum / count,
        min_degc: low,
        max_degc: high,
    }))
}

impl Group<'_> {
    /// A result of this group, for `quantity`.
    pub(crate) fn measurand(&self, quantity: Quantity, n: usize, result: Outcome) -> Measurand {
        self.row(quantity, n, result, self.headline)
    }

    /// A result of this group for a quantity whose headline is taken over all groups, if there are others.
    pub(crate) fn beside_all(&self, quantity: Quantity, n: usize, result: Outcome, alone: bool) -> Measurand {
        self.row(quantity, n, result, self.headline && alone)
    }

    fn row(&self, quantity: Quantity, n: usize, result: Outcome, headline: bool) -> Measurand {
        let text = quantity.text();
        let id = if headline {
            text.id.into()
        } else {
            format!("{}@{}", text.id, self.name)
        };
        let conditions = Conditions {
            n,
            ..self.conditions.clone()
        };
        measurand(
            quantity,
            text,
            id,
            headline,
            self.name.clone(),
            conditions,
            result,
        )
    }

    /// Why a group none of whose repeats was played as planned has no result.
    pub(crate) fn refusal(&self) -> Option<Outcome> {
        (self.cuts.is_empty() && self.off_plan > 0).then(|| {
            refused(
                "clipped_setpoint",
                format!(
                    "the setpoint in force was not the one planned in any of {} repeats, so what was asked for is \
                     not what was answered; check limits and slew in the rig description, then record again",
                    self.off_plan
                ),
            )
        })
    }
}

/// A measurand from its parts.
fn measurand(
    quantity: Quantity,
    text: QuantityText,
    id: String,
    headline: bool,
    group: String,
    conditions: Conditions,
    result: Outcome,
) -> Measurand {
    Measurand {
        id,
        quantity,
        headline,
        group,
        name: text.name.into(),
        definition: text.definition.into(),
        source: text.source.into(),
        shown_in: text.shown_in,
        conditions,
        result,
    }
}

/// A refusal that the cutting, not the analysis, gives.
pub(crate) fn refused(code: &str, message: impl Into<String>) -> Outcome {
    Outcome::Refused(Refused {
        code: code.into(),
        message: message.into(),
    })
}

/// `outcome` with checks added if it is an estimate.
pub(crate) fn with_checks(outcome: Outcome, checks: impl IntoIterator<Item = Check>) -> Outcome {
    match outcome {
        Outcome::Estimate(estimate) => Outcome::Estimate(estimate.with_checks(checks)),
        refused @ Outcome::Refused(_) => refused,
    }
}

/// A headline measurand that has no group to come from.
pub(crate) fn absent(quantity: Quantity, conditions: Conditions, result: Outcome) -> Measurand {
    let n = conditions.n;
    overall(quantity, "", &conditions, n, result)
}

/// A result of one group; the one that stands for its quantity has no group in its id.
pub(crate) fn in_group(
    quantity: Quantity,
    (name, headline): (&str, bool),
    conditions: &Conditions,
    result: Outcome,
) -> Measurand {
    let n = result.estimate().map_or(conditions.n, |e| e.n);
    let mut measurand = overall(quantity, name, conditions, n, result);
    if !headline {
        measurand.id = format!("{}@{name}", measurand.id);
        measurand.headline = false;
    }
    measurand
}

/// A headline measurand over all groups, or over the whole run; `n` repeats or records are behind it.
pub(crate) fn overall(
    quantity: Quantity,
    group: &str,
    conditions: &Conditions,
    n: usize,
    result: Outcome,
) -> Measurand {
    let text = quantity.text();
    let conditions = Conditions {
        n,
        ..conditions.clone()
    };
    measurand(
        quantity,
        text,
        text.id.into(),
        true,
        group.into(),
        conditions,
        result,
    )
}
