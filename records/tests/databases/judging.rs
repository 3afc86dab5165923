//! Limits, what they make of a fit, and what lists say of it; on both databases.

use records::content::{Judgement, Verdict};
use records::limits::Limits;
use records::{Correcting, Filter, Measurement, Store, UnitName, by_bench, by_model, units};

use super::support::{Place, add, fit_of, recording, stamp};

crate::on_both! {
    a_judgement_is_added_once_and_shows_in_lists
    overdue_calibrations_are_flagged_or_refused_as_the_limits_ask
    limits_of_another_model_are_refused
    lists_show_what_is_in_force
    a_models_data_are_its_values_in_force
}

const LIMITS: &str = r#"
[limits]
name = "Marten 7, end of line"
model = "Marten 7"
overdue = "refuse"
[limits.rule]
kind = "guard-band"
factor = 2.0
[[limits.measurand]]
id = "latency"
warn_above = "4.1 ms"
reject_above = "4.2 ms"
[[limits.measurand]]
id = "bandwidth"
reject_below = "50 Hz"
"#;

fn limits(text: &str) -> Limits {
    Limits::from_toml("limits.toml", text).unwrap()
}

/// With u = 0.045 ms and a guard band of 2 u = 0.09 ms around 4.2 ms: accepted up to 4.11, rejected beyond 4.29 (JCGM 106:2012,
/// 8.3, worked by hand).
#[test]
fn guard_bands_split_values_into_three_zones() {
    let of = recording("VB-0001", 1);
    for (latency_ms, verdict, warning) in [
        (4.0, Verdict::Pass, false),
        (4.1095, Verdict::Pass, true),
        (4.1105, Verdict::Undecided, true),
        (4.2895, Verdict::Undecided, true),
        (4.2905, Verdict::Fail, true),
    ] {
        let fit = fit_of(&of, "0.1.0", latency_ms * 1e-3);
        let judgement = records::limits::judge(&limits(LIMITS), &fit, false).unwrap();
        assert_eq!(
            (judgement.verdict, judgement.warning),
            (verdict, warning),
            "{latency_ms}"
        );
        assert!((judgement.measurands[0].guard - 9e-5).abs() < 1e-12);
    }
    // 1.644854 u inside a one-sided limit the true value lies within it with 95 % (tables of the normal distribution).
    let fit = fit_of(&of, "0.1.0", 0.0042 - 1.644_854 * 4.5e-5);
    let judgement = records::limits::judge(&limits(LIMITS), &fit, false).unwrap();
    assert!((judgement.measurands[0].conformance.unwrap() - 0.95).abs() < 1e-6);
    let simple = LIMITS.replace("kind = \"guard-band\"\nfactor = 2.0", "kind = \"simple\"");
    for (latency_ms, verdict) in [(4.1999, Verdict::Pass), (4.2001, Verdict::Fail)] {
        let fit = fit_of(&of, "0.1.0", latency_ms * 1e-3);
        let judgement = records::limits::judge(&limits(&simple), &fit, false).unwrap();
        assert_eq!(judgement.verdict, verdict, "{latency_ms}");
    }
}

#[test]
fn what_was_not_measured_or_not_sound_is_undecided() {
    let of = recording("VB-0001", 1);
    let fit = fit_of(&of, "0.1.0", 0.004);
    let more = format!("{LIMITS}[[limits.measurand]]\nid = \"ID\"\nreject_above = \"1 N·m\"\n");
    for (id, reason) in [("coulomb", "never_moved"), ("cogging", "not measured")] {
        let judgement = records::limits::judge(&limits(&more.replace("ID", id)), &fit, false).unwrap();
        assert_eq!(judgement.verdict, Verdict::Undecided);
        assert!(judgement.measurands[2].reason.contains(reason), "{judgement:?}");
    }
    let mut unsound = fit.clone();
    unsound.sound = false;
    unsound.failed_checks = vec!["no gaps".into()];
    let judgement = records::limits::judge(&limits(LIMITS), &unsound, false).unwrap();
    assert_eq!(judgement.verdict, Verdict::Undecided);
    assert!(judgement.reason.contains("no gaps"), "{judgement:?}");
    let wrong = limits(&LIMITS.replace("50 Hz", "50 N·m"));
    let error = records::limits::judge(&wrong, &fit, false)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("bandwidth is in Hz, its limit is in N.m"),
        "{error}"
    );
}

#[test]
fn wrong_limits_files_are_told_line_by_line() {
    for (from, to, line, problem) in [
        ("\"4.2 ms\"", "4.2", 12, "quantity"),
        ("4.2 ms", "4.2 furlong", 12, "quantity"),
        (
            "warn_above = \"4.1 ms\"",
            "warn_above = \"4.3 ms\"",
            12,
            "not above",
        ),
        (
            "warn_above = \"4.1 ms\"",
            "warn_above = \"4 N·m\"",
            12,
            "not of the kind",
        ),
        ("reject_below", "reject_bellow", 15, "reject_bellow"),
        ("factor = 2.0", "factor = 20", 8, "too great"),
        ("\"guard-band\"", "\"simple\"", 8, "no guard band"),
        ("\"bandwidth\"", "\"latency\"", 9, "twice"),
        ("reject_below = \"50 Hz\"", "", 14, "no limit"),
        ("\"refuse\"", "\"ignore\"", 5, "ignore"),
    ] {
        let text = LIMITS.replace(from, to);
        let findings = Limits::from_toml("limits.toml", &text).unwrap_err().to_string();
        assert!(
            findings.contains(&format!("limits.toml:{line}")),
            "{line} of {to}: {findings}"
        );
        assert!(findings.contains(problem), "{problem} of {to}: {findings}");
    }
}

fn seen(store: &mut Store, serial: &str) -> Measurement {
    let filter = Filter {
        serial: Some(serial.into()),
        ..Filter::default()
    };
    let mut all = store.measurements(&filter).unwrap();
    assert_eq!(all.len(), 1, "{all:?}");
    all.remove(0)
}

fn a_judgement_is_added_once_and_shows_in_lists(place: &Place) {
    let mut store = place.open();
    let added = add(&mut store, "VB-0001", 1);
    assert_eq!(seen(&mut store, "VB-0001").verdict, None);
    let judged = store.judge(added.fit.seq, &limits(LIMITS), &stamp()).unwrap();
    assert_eq!(
        (judged.judgement.verdict, judged.placed.new, judged.placed.seq),
        (Verdict::Pass, true, 4)
    );
    let again = store.judge(added.fit.seq, &limits(LIMITS), &stamp()).unwrap();
    assert!(!again.placed.new);
    assert_eq!(seen(&mut store, "VB-0001").verdict, Some(Verdict::Pass));
    // Stricter limits are another judgement, which then stands; withdrawn, the first stands again.
    let stricter = limits(&LIMITS.replace("4.2 ms", "3.9 ms").replace("4.1 ms", "3.8 ms"));
    let strict = store.judge(added.fit.seq, &stricter, &stamp()).unwrap();
    assert_eq!(strict.judgement.verdict, Verdict::Fail);
    let now = seen(&mut store, "VB-0001");
    assert_eq!((now.verdict, now.warning), (Some(Verdict::Fail), true));
    let history = store
        .history(&UnitName {
            model: "Marten 7".into(),
            serial: "VB-0001".into(),
        })
        .unwrap();
    let kept: Judgement = history.last().unwrap().entry.content().unwrap();
    let kinds: Vec<&str> = history.iter().map(|item| item.entry.kind.as_str()).collect();
    assert_eq!(
        kinds,
        ["recording", "fit", "limits", "judgement", "limits", "judgement"]
    );
    assert_eq!(kept, strict.judgement);
    assert_eq!(kept.limits, stricter.text.key());
    let withdraw = Correcting {
        entry: strict.placed.seq,
        reason: "the wrong limits file".into(),
        withdraw: true,
        ..Correcting::default()
    };
    store.correct(&withdraw, &stamp()).unwrap();
    assert_eq!(seen(&mut store, "VB-0001").verdict, Some(Verdict::Pass));
    // What was judged goes with the recording to the unit that it is really of.
    let move_on = Correcting {
        entry: added.recording.seq,
        reason: "plate read wrongly".into(),
        withdraw: false,
        facts: [("serial".to_owned(), "VB-0009".to_owned())].into(),
    };
    store.correct(&move_on, &stamp()).unwrap();
    assert_eq!(seen(&mut store, "VB-0009").verdict, Some(Verdict::Pass));
    let moved = UnitName {
        model: "Marten 7".into(),
        serial: "VB-0009".into(),
    };
    let moved = store.history(&moved).unwrap();
    assert_eq!(
        moved
            .iter()
            .filter(|item| ["limits", "judgement"].contains(&item.entry.kind.as_str()))
            .count(),
        4
    );
    // No judgement of what is no fit.
    assert!(
        store
            .judge(added.recording.seq, &limits(LIMITS), &stamp())
            .is_err()
    );
    assert_eq!(store.verify(&[]).unwrap().findings, []);
}

fn overdue_calibrations_are_flagged_or_refused_as_the_limits_ask(place: &Place) {
    let mut store = place.open();
    let mut late = recording("VB-0001", 1);
    late.calibration.overdue = true;
    let added = store
        .add(&late, &fit_of(&late, "0.1.0", 0.004), &stamp())
        .unwrap();
    let refused = store
        .judge(added.fit.seq, &limits(LIMITS), &stamp())
        .unwrap()
        .judgement;
    assert_eq!(refused.verdict, Verdict::Undecided);
    assert!(refused.reason.contains("had run out"), "{refused:?}");
    let flagging = limits(&LIMITS.replace("\"refuse\"", "\"flag\""));
    let flagged = store.judge(added.fit.seq, &flagging, &stamp()).unwrap().judgement;
    assert_eq!(flagged.verdict, Verdict::Pass);
    let all = store.measurements(&Filter::default()).unwrap();
    assert!(units(&all)[0].overdue && by_bench(&all)[0].overdue == 1);
}

fn limits_of_another_model_are_refused(place: &Place) {
    let mut store = place.open();
    let added = add(&mut store, "VB-0001", 1);
    let other = limits(&LIMITS.replace("model = \"Marten 7\"", "model = \"Marten 9\""));
    let error = store
        .judge(added.fit.seq, &other, &stamp())
        .unwrap_err()
        .to_string();
    assert!(error.contains("for the model Marten 9"), "{error}");
    assert_eq!(store.end().unwrap().0, 2);
}

fn lists_show_what_is_in_force(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    add(&mut store, "VB-0002", 2);
    let last = add(&mut store, "VB-0001", 3);
    let mut south = recording("VB-0003", 4);
    south.bench = "south".into();
    store
        .add(&south, &fit_of(&south, "0.1.0", 0.004), &stamp())
        .unwrap();
    let correct = |store: &mut Store, entry, serial: Option<&str>| {
        let facts = serial.map(|serial| ("serial".to_owned(), serial.to_owned()));
        let correcting = Correcting {
            entry,
            reason: "test".into(),
            withdraw: serial.is_none(),
            facts: facts.into_iter().collect(),
        };
        store.correct(&correcting, &stamp()).unwrap();
    };
    let all = store.measurements(&Filter::default()).unwrap();
    assert_eq!(
        all.iter().map(|m| m.serial.as_str()).collect::<Vec<_>>(),
        ["VB-0001", "VB-0002", "VB-0001", "VB-0003"]
    );
    let (models, benches) = (by_model(&all), by_bench(&all));
    assert_eq!((models.len(), models[0].units, models[0].measurements), (1, 3, 4));
    let benches: Vec<(&str, usize)> = benches
        .iter()
        .map(|b| (b.name.as_str(), b.measurements))
        .collect();
    assert_eq!(benches, [("north", 3), ("south", 1)]);
    // 2026-03-03T09:00:00Z is the instant of the second one; from it on, three.
    let from = records::seconds_of("2026-03-03T09:00:00Z");
    let later = store
        .measurements(&Filter {
            from,
            ..Filter::default()
        })
        .unwrap();
    assert_eq!(later.len(), 3);
    let earlier = store
        .measurements(&Filter {
            until: from,
            ..Filter::default()
        })
        .unwrap();
    assert_eq!(earlier.len(), 1);
    let of_bench = Filter {
        bench: Some("south".into()),
        ..Filter::default()
    };
    assert_eq!(store.measurements(&of_bench).unwrap().len(), 1);
    // The first is really of the second unit; the last is withdrawn.
    correct(&mut store, 1, Some("VB-0002"));
    correct(&mut store, last.recording.seq, None);
    let all = units(&store.measurements(&Filter::default()).unwrap());
    let all: Vec<(&str, usize)> = all.iter().map(|u| (u.serial.as_str(), u.measurements)).collect();
    assert_eq!(all, [("VB-0002", 2), ("VB-0003", 1)]);
}

fn a_models_data_are_its_values_in_force(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    add(&mut store, "VB-0002", 2);
    let of = recording("VB-0001", 1);
    store.add(&of, &fit_of(&of, "0.2.0", 0.0035), &stamp()).unwrap();
    let data = |store: &mut Store, model: &str, only: Option<&[String]>| {
        store.model_data(model, &Filter::default(), only).unwrap()
    };
    let all = data(&mut store, "Marten 7", None);
    let ids: Vec<&str> = all.series.iter().map(|series| series.id.as_str()).collect();
    assert_eq!(ids, ["bandwidth", "coulomb", "latency"]);
    let values = |at: usize| {
        all.series[at]
            .points
            .iter()
            .map(|point| (point.of, point.value))
            .collect::<Vec<_>>()
    };
    assert_eq!(values(2), [(0, Some(0.0035)), (1, Some(0.004 + 2e-5))]);
    assert_eq!(values(1), [(0, None), (1, None)]);
    let only = data(&mut store, "Marten 7", Some(&["latency".to_owned()]));
    assert_eq!(only.series, [all.series[2].clone()]);
    // Under another model after a correction, and no longer under this one.
    let correcting = Correcting {
        entry: 1,
        reason: "another plate".into(),
        withdraw: false,
        facts: [("model".to_owned(), "Marten 9".to_owned())].into(),
    };
    store.correct(&correcting, &stamp()).unwrap();
    let nine = data(&mut store, "Marten 9", None);
    assert_eq!(
        nine.series[2].points.iter().map(|p| p.value).collect::<Vec<_>>(),
        [Some(0.0035)]
    );
    assert_eq!(data(&mut store, "Marten 7", None).series[2].points.len(), 1);
}
