//! A whole run against the virtual belt unit, in lock-step.

use std::path::PathBuf;

use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::session::{self, Bench, SettingsText};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

#[test]
fn the_quick_procedure_runs_to_its_end_with_no_sample_lost() {
    let bench = Bench::open(&root().join("rigs/belt.toml"), None, None, 7, "test".to_owned()).unwrap();
    let procedure = SettingsText::read(&root().join("procedures/quick.toml")).unwrap();
    let plan = session::plan_for(&procedure, &bench.rig, 7).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recording.h5");
    let rows_planned = plan.duration_us() / u64::from(plan.sample_period_us());
    let session = session::record(
        &bench,
        &procedure,
        plan,
        Permit::granted("test"),
        &path,
        &StopFlag::new(),
        &mut |_| {},
    )
    .unwrap();
    println!("{session:?}");
    assert_eq!(session.outcome.end, End::Completed);
    assert!(session.outcome.counters.rows > rows_planned);
    assert_eq!(session.outcome.counters.rows_lost, 0);
    let recording = truerim::recording::Recording::open(&path).unwrap();
    assert_eq!(recording.rows() as u64, session.outcome.counters.rows);
}
