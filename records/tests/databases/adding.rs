//! What is added, once, and what corrections make of it; on both databases.

use std::collections::BTreeMap;

use super::support::{Place, add, fit_of, recording, stamp};
use records::content::{Correction, Fit, Recording};
use records::{About, Correcting, Filter, Item, RecordsError, Said, Store, UnitName, refits};

crate::on_both! {
    a_measurement_is_added_once
    a_fit_by_another_version_stands_beside_the_first
    what_does_not_belong_together_is_refused
    a_serial_number_is_corrected_and_the_old_one_stays_visible
    a_model_corrected_there_and_back_keeps_every_result
    what_is_withdrawn_stays_in_the_history_and_can_come_back
    a_correction_without_a_reason_or_of_a_value_is_refused
    notes_are_in_the_history_of_their_unit
    tables_of_a_newer_program_are_refused
    many_are_added_in_few_changes
    opening_twice_at_once_makes_the_tables_once
}

fn unit(serial: &str) -> UnitName {
    UnitName {
        model: "Marten 7".into(),
        serial: serial.into(),
    }
}

fn kinds(history: &[Item]) -> Vec<(&str, i64)> {
    history
        .iter()
        .map(|item| (item.entry.kind.as_str(), item.entry.seq))
        .collect()
}

fn sound(store: &mut Store) {
    let verified = store.verify(&[]).unwrap();
    assert_eq!(verified.findings, [], "of {} entries", verified.entries);
}

fn a_measurement_is_added_once(place: &Place) {
    let mut store = place.open();
    let first = add(&mut store, "VB-0001", 1);
    assert!(first.recording.new && first.fit.new);
    assert_eq!((first.recording.seq, first.fit.seq), (1, 2));
    // Again, by a program that has just been started.
    let again = add(&mut place.open(), "VB-0001", 1);
    assert!(!again.recording.new && !again.fit.new);
    assert_eq!(again.fit.link, first.fit.link);
    assert_eq!(store.end().unwrap(), (2, first.fit.link));
    let history = store.history(&unit("VB-0001")).unwrap();
    assert_eq!(kinds(&history), [("recording", 1), ("fit", 2)]);
    // What was entered is what comes back, to the last bit.
    assert_eq!(
        history[0].entry.content::<Recording>().unwrap(),
        recording("VB-0001", 1)
    );
    let fit: Fit = history[1].entry.content().unwrap();
    assert_eq!(fit, fit_of(&recording("VB-0001", 1), "0.1.0", 0.004 + 1e-5));
    assert_eq!(history[1].entry.stamp().unwrap(), stamp());
    sound(&mut store);
}

fn a_fit_by_another_version_stands_beside_the_first(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    let of = recording("VB-0001", 1);
    let added = store.add(&of, &fit_of(&of, "0.2.0", 0.0041), &stamp()).unwrap();
    assert!(!added.recording.new && added.fit.new);
    let history = store.history(&unit("VB-0001")).unwrap();
    assert_eq!(kinds(&history), [("recording", 1), ("fit", 2), ("fit", 3)]);
    assert_eq!(
        history.iter().map(|item| item.superseded).collect::<Vec<_>>(),
        [false, true, false]
    );
    let refits = refits(&history).unwrap();
    assert_eq!(
        (refits.len(), refits[0].before, refits[0].after, refits[0].same),
        (1, 2, 3, 2)
    );
    let [difference] = refits[0].differences.as_slice() else {
        panic!("{refits:?}")
    };
    assert_eq!(
        (difference.id.as_str(), difference.after.clone()),
        (
            "latency",
            Said::Value {
                value: 0.0041,
                u: 4.5e-5
            }
        )
    );
    // (4.10 - 4.01) ms over 0.045 ms
    assert!((difference.times_u.unwrap() - 2.0).abs() < 1e-9);
    sound(&mut store);
}

fn what_does_not_belong_together_is_refused(place: &Place) {
    let mut store = place.open();
    let one = recording("VB-0001", 1);
    let refused = |store: &mut Store, recording: &Recording, fit: &Fit| {
        let error = store.add(recording, fit, &stamp()).unwrap_err();
        assert!(matches!(error, RecordsError::Refused { .. }), "{error}");
        error.to_string()
    };
    let other = fit_of(&recording("VB-0001", 2), "0.1.0", 0.004);
    assert!(refused(&mut store, &one, &other).contains("fit it again"));
    let unsealed = Recording {
        seal: String::new(),
        ..one.clone()
    };
    assert!(refused(&mut store, &unsealed, &fit_of(&unsealed, "0.1.0", 0.004)).contains("truerim recover"));
    let undated = Recording {
        created: "last week".into(),
        ..one.clone()
    };
    assert!(refused(&mut store, &undated, &fit_of(&undated, "0.1.0", 0.004)).contains("last week"));
    let mut nameless = one;
    nameless.unit.serial.clear();
    assert!(refused(&mut store, &nameless, &fit_of(&nameless, "0.1.0", 0.004)).contains("serial"));
    assert_eq!(store.end().unwrap().0, 0);
}

fn correct(
    store: &mut Store,
    entry: i64,
    facts: &[(&str, &str)],
    withdraw: bool,
) -> Result<i64, RecordsError> {
    let facts: BTreeMap<String, String> = facts
        .iter()
        .map(|(word, is)| ((*word).into(), (*is).into()))
        .collect();
    let correcting = Correcting {
        entry,
        reason: "the plate was read wrongly".into(),
        withdraw,
        facts,
    };
    store.correct(&correcting, &stamp()).map(|placed| placed.seq)
}

fn a_serial_number_is_corrected_and_the_old_one_stays_visible(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    add(&mut store, "VB-0002", 2);
    let correction = correct(
        &mut store,
        1,
        &[("serial", "VB-0002"), ("operator", "Kim Aster")],
        false,
    )
    .unwrap();
    assert_eq!(correction, 5);
    // Fits made later follow the recording.
    let of = recording("VB-0001", 1);
    store.add(&of, &fit_of(&of, "0.2.0", 0.0041), &stamp()).unwrap();
    let old = store.history(&unit("VB-0001")).unwrap();
    assert_eq!(kinds(&old), [("recording", 1), ("fit", 2), ("correction", 5)]);
    assert_eq!(old[0].corrected_by, [5]);
    assert_eq!(
        old[0].entry.content::<Recording>().unwrap().unit.serial,
        "VB-0001"
    );
    let says: Correction = old[2].entry.content().unwrap();
    assert_eq!(
        (says.digest.as_str(), says.reason.as_str()),
        (old[0].entry.digest.as_str(), "the plate was read wrongly")
    );
    let new = store.history(&unit("VB-0002")).unwrap();
    let all = [
        ("recording", 1),
        ("fit", 2),
        ("recording", 3),
        ("fit", 4),
        ("correction", 5),
        ("fit", 6),
    ];
    assert_eq!(kinds(&new), all);
    sound(&mut store);
}

fn a_model_corrected_there_and_back_keeps_every_result(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    correct(&mut store, 1, &[("model", "Marten 9")], false).unwrap();
    let of = recording("VB-0001", 1);
    store.add(&of, &fit_of(&of, "0.2.0", 0.0041), &stamp()).unwrap();
    sound(&mut store);
    correct(&mut store, 1, &[("model", "Marten 7")], false).unwrap();
    sound(&mut store);
    assert_eq!(
        store
            .unit("VB-0001", None)
            .unwrap_err()
            .to_string()
            .matches("Marten")
            .count(),
        2
    );
    assert_eq!(store.unit("VB-0001", Some("Marten 9")).unwrap().model, "Marten 9");
    let history = store.history(&unit("VB-0001")).unwrap();
    let all = [
        ("recording", 1),
        ("fit", 2),
        ("correction", 3),
        ("fit", 4),
        ("correction", 5),
    ];
    assert_eq!(kinds(&history), all);
}

fn what_is_withdrawn_stays_in_the_history_and_can_come_back(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    let by = super::support::program("0.1.0");
    let seal = recording("VB-0001", 1).seal;
    assert!(store.has_fit(&seal, &by).unwrap());
    assert!(!store.has_fit(&seal, &super::support::program("0.2.0")).unwrap());
    correct(&mut store, 2, &[], true).unwrap();
    assert!(!store.has_fit(&seal, &by).unwrap());
    let withdrawn = |store: &mut Store| store.history(&unit("VB-0001")).unwrap()[1].withdrawn;
    assert!(withdrawn(&mut store));
    let again = correct(&mut store, 2, &[], true).unwrap_err().to_string();
    assert!(again.contains("withdrawn already"), "{again}");
    correct(&mut store, 2, &[], false).unwrap();
    assert!(!withdrawn(&mut store));
    assert!(store.has_fit(&seal, &by).unwrap());
    sound(&mut store);
}

fn a_correction_without_a_reason_or_of_a_value_is_refused(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    let silent = Correcting {
        entry: 1,
        withdraw: true,
        ..Correcting::default()
    };
    assert!(
        store
            .correct(&silent, &stamp())
            .unwrap_err()
            .to_string()
            .contains("reason")
    );
    for (entry, facts, why) in [
        (2, [("serial", "VB-0002")], "only a recording"),
        (1, [("latency", "0.004")], "cannot be corrected"),
        (1, [("serial", "")], "must not be empty"),
        (7, [("serial", "VB-0002")], "no entry 7"),
    ] {
        let error = correct(&mut store, entry, &facts, false).unwrap_err().to_string();
        assert!(error.contains(why), "{error}");
    }
    let correction = correct(&mut store, 1, &[("bench", "south")], false).unwrap();
    let error = correct(&mut store, correction, &[], true)
        .unwrap_err()
        .to_string();
    assert!(error.contains("correction itself"), "{error}");
    assert_eq!(store.end().unwrap().0, correction);
}

fn notes_are_in_the_history_of_their_unit(place: &Place) {
    let mut store = place.open();
    add(&mut store, "VB-0001", 1);
    let on_unit = store
        .note(&About::Unit(unit("VB-0001")), "belt replaced", &stamp())
        .unwrap();
    let on_fit = store.note(&About::Entry(2), "odd settling", &stamp()).unwrap();
    assert!(store.note(&About::Entry(9), "nothing there", &stamp()).is_err());
    assert!(store.note(&About::Entry(2), " ", &stamp()).is_err());
    let history = store.history(&unit("VB-0001")).unwrap();
    assert_eq!(
        kinds(&history)[2..],
        [("note", on_unit.seq), ("note", on_fit.seq)]
    );
    sound(&mut store);
}

fn tables_of_a_newer_program_are_refused(place: &Place) {
    drop(place.open());
    place
        .by_hand("INSERT INTO migrations (number, entered, software) VALUES (99, 'later', 'newer')")
        .unwrap();
    let error = Store::open(&place.address, true, &stamp()).unwrap_err();
    assert!(matches!(error, RecordsError::Newer { found: 99, .. }), "{error}");
}

fn many_are_added_in_few_changes(place: &Place) {
    let mut store = place.open();
    let all = (0..60).map(|n| {
        let recording = recording(&format!("VB-{n:04}"), n);
        let fit = fit_of(&recording, "0.1.0", 0.004 + f64::from(n) * 1e-6);
        (recording, fit, stamp())
    });
    // Begun again in the middle, as after a kill: the first 25 are there.
    store.add_all(all.clone().take(25), 10).unwrap();
    let done = store.add_all(all, 25).unwrap();
    assert_eq!(done.iter().filter(|added| added.fit.new).count(), 35);
    assert_eq!(store.end().unwrap().0, 120);
    let data = store.model_data("Marten 7", &Filter::default(), None).unwrap();
    assert_eq!((data.measurements.len(), data.series[2].points.len()), (60, 60));
    sound(&mut store);
}

fn opening_twice_at_once_makes_the_tables_once(place: &Place) {
    std::thread::scope(|scope| {
        let all: Vec<_> = (0..4).map(|_| scope.spawn(|| place.open())).collect();
        all.into_iter().for_each(|one| drop(one.join().unwrap()));
    });
    assert_eq!(place.open().migrations().unwrap().len(), 1);
}

#[test]
fn a_file_that_is_not_there_is_made_only_by_adding() {
    let place = super::support::sqlite();
    let error = Store::open(&place.address, false, &stamp()).unwrap_err();
    assert!(
        matches!(error, RecordsError::Unreachable { .. }) && error.may_pass(),
        "{error}"
    );
}

#[test]
fn a_server_that_is_not_there_cannot_be_reached() {
    let address = "postgres://records@%2Fnowhere/records".parse().unwrap();
    let error = Store::open(&address, true, &stamp()).unwrap_err();
    assert!(matches!(error, RecordsError::Unreachable { .. }), "{error}");
}
