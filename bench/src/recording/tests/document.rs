//! `SCHEMA.md` against fresh files.

use hdf5_metno::Group;

use super::super::h5;
use super::*;

/// Paths of all objects, and `path@attribute` of all attributes.
fn everything(group: &Group, name: &str, out: &mut Vec<String>) {
    let base = name.trim_end_matches('/');
    let last = |path: String| path.rsplit('/').next().unwrap_or_default().to_owned();
    out.extend(
        group
            .attr_names()
            .unwrap()
            .into_iter()
            .map(|a| format!("{name}@{a}")),
    );
    for dataset in group.datasets().unwrap() {
        let object = format!("{base}/{}", last(dataset.name()));
        out.extend(
            dataset
                .attr_names()
                .unwrap()
                .into_iter()
                .map(|a| format!("{object}@{a}")),
        );
        out.push(object);
    }
    for inner in group.groups().unwrap() {
        let object = format!("{base}/{}", last(inner.name()));
        everything(&inner, &object, out);
    }
}

/// Adding to the file without a new version would leave programs no way to tell what they may rely on.
#[test]
fn a_fresh_file_has_no_more_than_the_one_kept_of_its_version() {
    let directory = tempfile::tempdir().unwrap();
    let whole = directory.path().join("whole.h5");
    let writer = RecordingWriter::create(&whole, &header()).unwrap();
    let recorder = RecorderThread::start(writer, 10.0, WhenFull::Wait, || {}).unwrap();
    recorder.finish(Completion::Complete).unwrap();
    let contents = |path: &Path| {
        let mut found = Vec::new();
        everything(&h5::access().open(path).unwrap(), "/", &mut found);
        found
    };
    let version = super::super::layout::SCHEMA_VERSION;
    let kept = format!("../tests/data/recordings/schema-{version}-sealed.h5");
    let kept = contents(&Path::new(env!("CARGO_MANIFEST_DIR")).join(kept));
    let fresh = contents(&whole);
    let beyond: Vec<_> = fresh.iter().filter(|one| !kept.contains(one)).collect();
    assert!(
        beyond.is_empty() && fresh.len() > 150,
        "{} in all, new: {beyond:?}",
        fresh.len()
    );
}

#[test]
fn the_schema_document_names_every_dataset_and_attribute() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut found = Vec::new();
    drop(live(&path));
    everything(&h5::access().open(&path).unwrap(), "/", &mut found);
    let whole = directory.path().join("whole.h5");
    let writer = RecordingWriter::create(&whole, &header()).unwrap();
    writer.safe().taken(1_000, 0); // as in real time
    let recorder = RecorderThread::start(writer, 10.0, WhenFull::Wait, || {}).unwrap();
    recorder.finish(Completion::Complete).unwrap();
    everything(&h5::access().open(&whole).unwrap(), "/", &mut found);
    assert!(found.len() > 200, "{}", found.len());
    let document = include_str!("../SCHEMA.md");
    for one in &found {
        let (object, attribute) = one
            .split_once('@')
            .map_or((one.as_str(), None), |(o, a)| (o, Some(a)));
        let object = if ["/setpoint", "/torque"].contains(&object) {
            "/CHANNEL"
        } else {
            object
        };
        let word = attribute.unwrap_or(object);
        assert!(
            document.contains(&format!("`{word}`")),
            "SCHEMA.md does not name {one}"
        );
    }
    // And nothing is named that is not there: the datasets in groups, then the root's attributes in their table.
    let quoted = document.split('`').skip(1).step_by(2);
    for path in quoted.filter(|word| word.starts_with('/') && word.matches('/').count() == 2) {
        assert!(
            found.iter().any(|one| one == path),
            "SCHEMA.md names {path}, which is not in a file"
        );
    }
    let table = document.split("## Root group").nth(1).unwrap();
    let cells = table
        .lines()
        .filter(|line| line.starts_with("| `"))
        .filter_map(|line| line.split('|').nth(1));
    for name in cells.flat_map(|cell| cell.split('`').skip(1).step_by(2)) {
        assert!(
            found.iter().any(|one| *one == format!("/@{name}")),
            "SCHEMA.md names {name}, which is not in a file"
        );
    }
}
