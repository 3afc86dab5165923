//! One friction told in several ways: runs of one unit in different mountings, where no quantity stands in both.
//!
//! A free rim tells friction by inverse dynamics and by coasting, a rim that is turned by a drive at several steady speeds. No recording
//! holds all three, so they are held against one another here: whether their scatter about the weighted mean is what their
//! uncertainties say ([`truerim_analysis::friction::agreement`]).

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use truerim_analysis::estimate::Estimate;
use truerim_analysis::friction::agreement;

use super::group::Group;
use crate::fitting::{FitDocument, Quantity, ShownIn};

/// Quantities that tell the same, each with the word for its way.
const ALIKE: [(&str, [(Quantity, &str); 3]); 2] = [
    (
        "Coulomb friction",
        [
            (Quantity::Coulomb, "inverse dynamics"),
            (Quantity::CoastCoulomb, "coasting"),
            (Quantity::SweepCoulomb, "several speeds"),
        ],
    ),
    (
        "Viscous friction",
        [
            (Quantity::Viscous, "inverse dynamics"),
            (Quantity::CoastViscous, "coasting"),
            (Quantity::SweepViscous, "several speeds"),
        ],
    ),
];

/// What all ways say of one quantity of one unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ways {
    /// The quantity.
    pub name: String,
    /// The unit under test.
    pub unit: String,
    /// Unit that a person reads it in.
    pub shown_in: ShownIn,
    /// Each way in words, its run, and what it says.
    pub told: Vec<Told>,
    /// Mean weighted by the inverse variances.
    pub mean: f64,
    /// Its standard uncertainty if the ways agree.
    pub mean_u: f64,
    /// Chance that ways that measure the same differ by so much or more.
    pub chance: f64,
    /// Whether that is 5 % or more.
    pub agree: bool,
}

/// One way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Told {
    /// Method and mounting.
    pub way: String,
    /// Run.
    pub run_id: String,
    /// What it says.
    pub estimate: Estimate,
}

/// All that runs of one unit in different mountings tell in several ways; within each group, or across all where each group
/// was held in one way.
pub(crate) fn of(groups: &[Group]) -> Vec<Ways> {
    let by_unit = |documents: Vec<&FitDocument>| -> Vec<Ways> {
        let mut units: BTreeMap<String, Vec<&FitDocument>> = BTreeMap::new();
        for document in documents {
            units
                .entry(super::setup::unit(document))
                .or_default()
                .push(document);
        }
        let several = units.into_iter().filter(|(_, own)| mountings(own) > 1);
        several.flat_map(|(unit, own)| told_of(&unit, &own)).collect()
    };
    let within: Vec<Ways> = groups
        .iter()
        .flat_map(|group| by_unit(group.documents.iter().collect()))
        .collect();
    if within.is_empty() {
        by_unit(groups.iter().flat_map(|group| &group.documents).collect())
    } else {
        within
    }
}

fn mountings(documents: &[&FitDocument]) -> usize {
    let all: BTreeSet<&str> = documents.iter().map(|d| d.recording.mounting.as_str()).collect();
    all.len()
}

fn told_of(unit: &str, documents: &[&FitDocument]) -> Vec<Ways> {
    let one = |(name, ways): &(&str, [(Quantity, &str); 3])| {
        let told: Vec<Told> = documents
            .iter()
            .flat_map(|document| {
                ways.iter().filter_map(|(quantity, way)| {
                    let estimate = document.headline(*quantity)?.estimate()?.clone();
                    Some(Told {
                        way: format!("{way}, {}", document.recording.mounting),
                        run_id: document.recording.run_id.clone(),
                        estimate,
                    })
                })
            })
            .collect();
        let list: Vec<(&str, &Estimate)> = told.iter().map(|t| (t.way.as_str(), &t.estimate)).collect();
        let agreement = agreement(&list).ok()?;
        Some(Ways {
            name: (*name).to_owned(),
            unit: unit.to_owned(),
            shown_in: ways[0].0.text().shown_in,
            mean: agreement.mean,
            mean_u: agreement.mean_u,
            chance: agreement.chance,
            agree: agreement.agree,
            told,
        })
    };
    ALIKE.iter().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use truerim_analysis::estimate::Contribution;

    use super::*;
    use crate::report::sample::{conditions, document, measurand};

    fn run(name: &str, mounting: &str, told: &[(Quantity, f64, f64)]) -> Group {
        let mut own = document();
        own.recording.run_id = name.into();
        own.recording.mounting = mounting.into();
        own.measurands = told
            .iter()
            .map(|(quantity, value, u)| {
                let budget = vec![Contribution::type_b("hand", *u)];
                let estimate = Estimate::from_budget(*value, "N.m", 5, "hand", budget).unwrap();
                measurand(*quantity, "", conditions(0.0, 0.0, 5), estimate.into())
            })
            .collect();
        Group {
            name: name.into(),
            documents: vec![own],
        }
    }

    #[test]
    fn three_ways_of_two_mountings_stand_side_by_side() {
        use Quantity::{CoastCoulomb, Coulomb, SweepCoulomb};
        let free = run(
            "free",
            "free",
            &[(Coulomb, 0.25, 0.01), (CoastCoulomb, 0.26, 0.01)],
        );
        let driven = run("rolling", "back-driven", &[(SweepCoulomb, 0.24, 0.01)]);
        let found = of(&[free.clone(), driven.clone()]);
        assert_eq!(found.len(), 1);
        let ways: Vec<&str> = found[0].told.iter().map(|t| t.way.as_str()).collect();
        assert_eq!(
            ways,
            [
                "inverse dynamics, free",
                "coasting, free",
                "several speeds, back-driven"
            ]
        );
        // By hand: mean 0.25, χ² = 0 + 1 + 1 with two degrees of freedom, whose upper tail is exp(−χ²/2) = 0.3679.
        assert!((found[0].mean - 0.25).abs() < 1e-12 && found[0].agree);
        assert!(
            (found[0].chance - (-1.0_f64).exp()).abs() < 1e-9,
            "{}",
            found[0].chance
        );
        let off = run("rolling", "back-driven", &[(SweepCoulomb, 0.29, 0.01)]);
        assert!(!of(&[free.clone(), off])[0].agree);
        // One mounting alone has its check in its own fit, and two units are not one.
        assert!(of(&[free.clone(), run("again", "free", &[(Coulomb, 0.25, 0.01)])]).is_empty());
        let mut other = driven;
        other.documents[0].recording.unit.serial = "another".into();
        assert!(of(&[free, other]).is_empty());
    }
}
