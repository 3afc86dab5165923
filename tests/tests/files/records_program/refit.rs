//! Fitting an archive again.

use acceptance::refit_figures::{archive, entered_by_earlier_version, killed_and_begun_again, stamp};
use acceptance::safety::program::program;

use super::{Results, measured};

#[test]
fn an_archive_is_fitted_again_and_not_twice() {
    let results = Results::reachable();
    let out = results.at("out");
    let refit = || results.json(&["refit", "--archive", out.to_str().unwrap(), "--jobs", "2"]);
    let first = refit();
    assert_eq!(
        (&first["done"]["now"], &first["done"]["before"]),
        (&1.into(), &0.into())
    );
    let second = refit();
    assert_eq!(
        (&second["done"]["now"], &second["done"]["before"]),
        (&0.into(), &1.into())
    );
    // The numbers are those of the fit that measuring made: adding it finds the same entry.
    assert!(
        results
            .done(&["add", out.to_str().unwrap()])
            .contains("is there as entry 2")
    );
}

#[test]
fn fitting_an_archive_again_survives_a_kill_and_lists_what_differs() {
    const COUNT: usize = 8;
    let folder = tempfile::tempdir().unwrap();
    let recordings = folder.path().join("archive");
    let fitted = measured().0.path().join("out/run");
    archive(&fitted, &recordings, COUNT);
    let address: records::Address = folder
        .path()
        .join("records.db")
        .display()
        .to_string()
        .parse()
        .unwrap();
    let mut store = records::Store::open(&address, true, &stamp()).unwrap();
    entered_by_earlier_version(&mut store, &fitted, &recordings, ("latency", 3.0));
    drop(store);
    let came = killed_and_begun_again(program(), &recordings, &address, COUNT, 2);
    let changed = came.told["done"]["changed"].as_array().unwrap();
    assert_eq!(changed.len(), COUNT - came.at_kill);
    for one in changed {
        let differences = one["differences"].as_array().unwrap();
        let moved = differences[0]["times_u"].as_f64().unwrap();
        assert!(
            differences.len() == 1 && differences[0]["id"] == "latency" && (moved + 3.0).abs() < 1e-6,
            "{one}"
        );
    }
    assert!(came.told["recordings_per_second"].as_f64().unwrap() > 0.0);
}
