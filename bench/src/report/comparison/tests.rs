//! Tests of the comparison's page over made-up documents.

use std::collections::BTreeSet;

use super::overlay::NAMES;
use super::{comparison_page, overlays};
use crate::compare::{CompareOptions, Group, compare};
use crate::fitting::{FitDocument, Quantity};
use crate::report::sample::{document, measurand};

fn group(name: &str, change: impl Fn(&mut FitDocument)) -> Group {
    let mut own = document();
    own.recording.run_id = name.into();
    change(&mut own);
    Group {
        name: name.into(),
        documents: vec![own],
    }
}

#[test]
fn every_kind_of_curve_that_two_groups_have_is_laid_over_one_another() {
    let names = |groups: &[Group]| -> Vec<&str> {
        let drawn = overlays(groups).unwrap();
        drawn.iter().map(|plot| plot.name).collect()
    };
    let both = [group("before", |_| {}), group("after", |_| {})];
    assert_eq!(names(&both), NAMES);
    for plot in overlays(&both).unwrap() {
        // Each group's line, dashed or not, stands in the drawing beside its entry in the legend, and its conditions below.
        for svg in [&plot.wide, &plot.narrow] {
            for class in ["class=\"s0\"", "class=\"s1\""] {
                assert!(svg.contains(class), "{}: {class}", plot.name);
            }
            assert!(svg.contains("before: ") && svg.contains("after: ") && !svg.contains("NaN"));
        }
    }
    // A curve of one side alone is not laid over anything, and neither is one panel of it.
    let bare = |d: &mut FitDocument| {
        d.curves.heat = None;
        d.curves.loops = None;
        d.curves.shock.as_mut().unwrap().train = None;
    };
    let one_sided = [group("before", |_| {}), group("after", bare)];
    let found = names(&one_sided);
    assert_eq!(found.len(), NAMES.len() - 2);
    assert!(!found.contains(&"heat") && !found.contains(&"loops"));
    let shock = |groups: &[Group]| overlays(groups).unwrap().swap_remove(5);
    assert!(shock(&both).wide.contains("Train arrived") && !shock(&one_sided).wide.contains("Train arrived"));
}

#[test]
fn a_belt_s_knee_is_marked_on_either_side() {
    let knee = |value: f64| {
        move |d: &mut FitDocument| {
            let mut result = d.measurands[0].result.clone();
            if let truerim_analysis::estimate::Outcome::Estimate(e) = &mut result {
                (e.value, e.interval) = (value, [0.98 * value, 1.02 * value]);
            }
            let conditions = d.measurands[0].conditions.clone();
            d.measurands
                .push(measurand(Quantity::BeltKnee, "", conditions, result));
        }
    };
    let loops = |groups: &[Group]| overlays(groups).unwrap().swap_remove(8);
    let lines = |svg: &str| svg.matches("<path class=\"s").count();
    let without = [group("before", |_| {}), group("after", |_| {})];
    let one = [group("before", knee(3.1)), group("after", |_| {})];
    let both = [group("before", knee(3.1)), group("after", knee(2.7))];
    let [none, one, two] = [without, one, both].map(|groups| lines(&loops(&groups).wide));
    assert_eq!((one - none, two - none), (1, 2));
}

#[test]
fn several_groups_have_figures_of_their_own_and_every_family_its_table() {
    let groups = [group("before", |_| {}), group("a", |_| {}), group("b", |_| {})];
    let groups = groups.map(|mut group| {
        let d = &mut group.documents[0];
        for quantity in [
            Quantity::ShockRetention,
            Quantity::ResolutionUp,
            Quantity::TorqueHeld,
        ] {
            let (conditions, result) = (d.measurands[0].conditions.clone(), d.measurands[0].result.clone());
            d.measurands.push(measurand(quantity, "", conditions, result));
        }
        group
    });
    let comparison = compare(&groups, &[], &CompareOptions::default()).unwrap();
    let page = comparison_page(&comparison, &overlays(&groups).unwrap()).unwrap();
    let ids: Vec<&str> = page
        .split(" id=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    let unique: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), unique.len(), "{ids:?}");
    for row in &comparison.rows {
        let name = crate::report::escape(&row.name);
        assert!(
            page.matches(&format!("#def-{}\">{name}</a>", row.quantity.text().id))
                .count()
                >= 2,
            "{name} stands in no table"
        );
    }
}
