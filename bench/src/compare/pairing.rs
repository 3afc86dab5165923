//! Which results of two groups are the same quantity under the same conditions.

use super::group::Group;
use crate::fitting::{Conditions, FitDocument, Measurand, Quantity};

/// Amplitudes and preloads that differ by less count as the same: share of the larger.
const SAME_TORQUE: f64 = 0.02;

/// One quantity of one group of repeats in one group of fits.
#[derive(Clone)]
pub(crate) struct Held<'a> {
    pub(crate) quantity: Quantity,
    pub(crate) group: &'a str,
    pub(crate) headline: bool,
    /// The fits that have it, refused or not, in order.
    pub(crate) found: Vec<(&'a FitDocument, &'a Measurand)>,
}

impl Held<'_> {
    pub(crate) fn first(&self) -> Option<&Measurand> {
        self.found.first().map(|(_, m)| *m)
    }
}

/// What is held by both, or by one.
pub(crate) struct Pair<'a> {
    pub(crate) then: Option<Held<'a>>,
    pub(crate) now: Option<Held<'a>>,
}

/// All that a group holds: headline results first, each in the order of the quantities. What is only declared is left out.
pub(crate) fn held(group: &Group) -> Vec<Held<'_>> {
    let mut list: Vec<Held<'_>> = Vec::new();
    for document in &group.documents {
        for m in &document.measurands {
            if m.quantity == Quantity::SensorDelay {
                continue;
            }
            let same = |h: &&mut Held<'_>| h.quantity == m.quantity && h.group == m.group;
            match list.iter_mut().find(same) {
                Some(h) => {
                    h.headline |= m.headline;
                    h.found.push((document, m));
                }
                None => list.push(Held {
                    quantity: m.quantity,
                    group: &m.group,
                    headline: m.headline,
                    found: vec![(document, m)],
                }),
            }
        }
    }
    list.sort_by_key(|h| (!h.headline, h.quantity));
    list
}

/// Pairs by quantity and group of repeats; headline results of which only one side has the group are paired by the quantity
/// alone, and it is said that they were played otherwise.
pub(crate) fn pairs<'a>(then: &'a Group, now: &'a Group) -> Vec<Pair<'a>> {
    let (thens, nows) = (held(then), held(now));
    let mut taken = vec![false; nows.len()];
    let same = |a: &Held<'_>, b: &Held<'_>| a.quantity == b.quantity && a.group == b.group;
    let mut pairs = Vec::new();
    for one in &thens {
        let exact = nows.iter().position(|other| same(one, other));
        let alike = |(place, other): &(usize, &Held<'_>)| {
            one.headline
                && other.headline
                && other.quantity == one.quantity
                && !taken[*place]
                && !thens.iter().any(|t| same(t, other))
        };
        let other = exact.or_else(|| nows.iter().enumerate().find(alike).map(|(place, _)| place));
        if let Some(place) = other {
            taken[place] = true;
        }
        pairs.push(Pair {
            then: Some(one.clone()),
            now: other.and_then(|place| nows.get(place).cloned()),
        });
    }
    let rest = nows.into_iter().zip(taken).filter(|(_, taken)| !taken);
    pairs.extend(rest.map(|(held, _)| Pair {
        then: None,
        now: Some(held),
    }));
    pairs.sort_by_key(|pair| {
        let held = pair.then.as_ref().or(pair.now.as_ref());
        held.map(|h| (!h.headline, h.quantity))
    });
    pairs
}

/// Whether two torques of conditions are as good as the same; unknown ones are.
fn same_torque(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME_TORQUE * a.abs().max(b.abs()) + 1e-9,
        (None, None) => true,
        _ => false,
    }
}

/// What differs between the conditions of two results, in words.
pub(crate) fn conditions_apart(a: &Conditions, b: &Conditions) -> Option<String> {
    let torque = |t: Option<f64>| {
        t.map_or_else(
            || "not stated".to_owned(),
            |t| format!("{} N·m", crate::fitting::plain(t, 3)),
        )
    };
    let mut parts = Vec::new();
    if !same_torque(a.amplitude_nm, b.amplitude_nm) {
        parts.push(format!(
            "amplitude {} against {}",
            torque(b.amplitude_nm),
            torque(a.amplitude_nm)
        ));
    }
    if !same_torque(a.preload_nm, b.preload_nm) {
        parts.push(format!(
            "preload {} against {}",
            torque(b.preload_nm),
            torque(a.preload_nm)
        ));
    }
    (!parts.is_empty()).then(|| {
        format!(
            "played otherwise: {}; part of a difference may be the amplitude's",
            parts.join(", ")
        )
    })
}
