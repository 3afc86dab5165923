//! A builder's question: has the belt changed? Two measurements of the virtual belt unit each, with a quicker procedure than the shipped one;
//! `belt-pairs` asks it a hundred times with that.
#![allow(clippy::unwrap_used)] // a test

use acceptance::belts::{measure, shipped};
use truerim::compare::Group;
use truerim::fitting::{FitDocument, NotCompared, Quantity, compare_belts};
use truerim::report::overlays;
use truerim_analysis::inertia::Direction;

/// Loops of a fourth of the time and few steps.
fn measured(tension_n: f64, seed: u64) -> FitDocument {
    let folder = tempfile::tempdir().unwrap();
    let mut procedure = shipped().unwrap();
    let quicker = procedure
        .text
        .replace("\"20 s\"", "\"5 s\"")
        .replace("repeats = 12", "repeats = 4");
    assert_ne!(quicker, procedure.text);
    procedure.text = quicker;
    measure(tension_n, &procedure, seed, folder.path()).unwrap()
}

#[test]
fn a_slacker_belt_is_told_from_its_reference_and_an_equal_one_is_not() {
    let (then, slacker, equal) = (measured(40.0, 71), measured(36.0, 72), measured(40.0, 73));
    let knee = |document: &FitDocument| {
        document
            .headline(Quantity::BeltKnee)
            .unwrap()
            .estimate()
            .unwrap()
            .value
    };
    // 2 r F0 with r = 57.3 mm is 4.584 and 4.126 N·m, by hand: knees stand as the tensions do; friction of the hub, which turns
    // over on its small way, moves both alike.
    assert!(
        (knee(&slacker) / knee(&then) - 0.9).abs() < 0.02,
        "{} {}",
        knee(&slacker),
        knee(&then)
    );
    assert!((knee(&then) / 4.584 - 1.0).abs() < 0.03, "{}", knee(&then));
    let beyond = then.headline(Quantity::BeltBeyond).unwrap().estimate().unwrap();
    assert!(
        (beyond.value / 450.0 - 1.0).abs() < 0.05,
        "half of 900 N·m/rad: {beyond:?}"
    );

    // The span that the rig file declares, by hand: 4 · 0.040 kg/m · (0.120 m)² · (246 Hz)² = 139.43 N, 2·0.5/120, 2·2/246 and 0.5/40 together
    // 2.21 %; nothing of the tension that this unit was given is in it.
    let span = then.headline(Quantity::SpanTension).unwrap().estimate().unwrap();
    assert!((span.value - 139.43).abs() < 0.01, "{span:?}");
    assert!((span.std_uncertainty / 139.43 - 0.0221).abs() < 1e-4, "{span:?}");
    assert_eq!(span.budget.len(), 3);

    // What is drawn: the stiffness by torque is the rig file's below the knee and about half beyond it, and both knees stand in one
    // drawing.
    let loops = then.curves.loops.as_ref().unwrap();
    for (at, [low, k, high]) in loops.at_nm.iter().zip(&loops.stiffness) {
        assert!(low <= k && k <= high);
        if (1.5..3.5).contains(at) {
            assert!((k / 900.0 - 1.0).abs() < 0.1, "{k} at {at}");
        } else if *at > 5.3 {
            assert!((k / 450.0 - 1.0).abs() < 0.15, "{k} at {at}");
        }
    }
    assert!(
        loops.at_nm.last().is_some_and(|at| *at > 5.5),
        "{:?}",
        loops.at_nm.last()
    );
    let [[low, _], [_, high]] = [loops.flanks[0], loops.flanks[1]];
    assert!(low[1] < 0.0 && high[1] > 4.0, "{:?}", loops.flanks);
    let groups = [("then", &then), ("now", &slacker)].map(|(name, document)| Group {
        name: name.into(),
        documents: vec![document.clone()],
    });
    let drawn = overlays(&groups).unwrap();
    let drawn = drawn.iter().find(|plot| plot.name == "loops").unwrap();
    // Loops, stiffness and knee of each.
    for class in ["<path class=\"s0\"", "<path class=\"s1\""] {
        assert!(drawn.wide.matches(class).count() >= 3, "{class}");
    }

    let told = compare_belts(&then, &slacker).unwrap();
    assert!(
        told.comparison.changed && told.comparison.chance < 0.01,
        "{}",
        told.words()
    );
    assert_eq!(told.comparison.direction, Direction::Slacker, "{}", told.words());
    assert!(
        told.words().contains("points to less tension"),
        "{}",
        told.words()
    );
    let back = compare_belts(&slacker, &then).unwrap();
    assert_eq!(back.comparison.direction, Direction::Tighter, "{}", back.words());
    let same = compare_belts(&then, &equal).unwrap();
    assert!(!same.comparison.changed, "{}", same.words());
    assert!(
        same.words()
            .contains("No difference from the reference beyond chance")
    );
    // A belt so tight that nothing lets go within the loops: all that both have is alike, and yet the belts are not.
    let tight = measured(140.0, 74);
    assert!(tight.headline(Quantity::BeltKnee).unwrap().estimate().is_none());
    let one_knee = compare_belts(&tight, &equal).unwrap();
    assert_eq!(one_knee.knees, [false, true]);
    assert!(!one_knee.comparison.changed, "{}", one_knee.words());
    let words = one_knee.words();
    assert!(
        words.contains("only one of them has a knee") && !words.contains("No difference"),
        "{words}"
    );

    let mut other = slacker;
    other.recording.unit.serial = "VB-0099".to_owned();
    let refused = compare_belts(&then, &other).unwrap_err();
    assert!(matches!(refused, NotCompared::OtherUnit { .. }), "{refused}");
    assert!(refused.to_string().contains("VB-0099"));
    other.recording.unit.serial = then.recording.unit.serial.clone();
    other.recording.mounting = "free".to_owned();
    assert!(matches!(
        compare_belts(&then, &other),
        Err(NotCompared::OtherMounting { .. })
    ));
}
