//! Sealed and live files changed by another program.

use std::path::Path;

use hdf5_metno::{File, Group, types::VarLenUnicode};

use super::super::{digest, h5};
use super::*;

/// Changes a sealed file as another program could.
fn edit(path: &Path, change: impl FnOnce(&File)) {
    let file = h5::access().open_rw(path).unwrap();
    change(&file);
    file.close().unwrap();
}

fn differences(path: &Path) -> Vec<String> {
    verify(path)
        .unwrap()
        .differences
        .into_iter()
        .map(|d| format!("{} {}", d.object, d.what))
        .collect()
}

fn set_text(group: &Group, name: &str, text: &str) {
    group
        .attr(name)
        .unwrap()
        .write_scalar(&text.parse::<VarLenUnicode>().unwrap())
        .unwrap();
}

#[test]
fn verify_names_what_was_changed_added_and_removed() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    sealed(&path);
    assert_eq!(differences(&path), [""; 0]);
    let torque = |file: &File| file.dataset("torque").unwrap();
    edit(&path, |file| torque(file).write_slice(&[-5], 7..8).unwrap());
    assert_eq!(
        differences(&path),
        ["/torque its values or attributes were changed"]
    );
    edit(&path, |file| torque(file).write_slice(&[-4], 7..8).unwrap());
    assert_eq!(differences(&path), [""; 0], "put right again");
    edit(&path, |file| {
        torque(file)
            .attr("scale_factor")
            .unwrap()
            .write_scalar(&0.25)
            .unwrap()
    });
    assert_eq!(
        differences(&path),
        ["/torque its values or attributes were changed"]
    );
    edit(&path, |file| {
        torque(file)
            .attr("scale_factor")
            .unwrap()
            .write_scalar(&0.5)
            .unwrap()
    });
    edit(&path, |file| set_text(file, "operator", "someone else"));
    assert_eq!(differences(&path), ["/ its values or attributes were changed"]);
    edit(&path, |file| set_text(file, "operator", ""));
    edit(&path, |file| {
        file.new_dataset::<i32>().shape((3,)).create("note").unwrap();
        file.unlink("events/host_ns").unwrap();
    });
    assert_eq!(
        differences(&path),
        ["/events/host_ns was removed", "/note was added"]
    );
}

#[test]
fn verify_does_not_take_a_rewritten_list_for_the_seal() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    sealed(&path);
    edit(&path, |file| {
        file.dataset("torque").unwrap().write_slice(&[-5], 7..8).unwrap();
        let rows = digest::objects(file, &path).unwrap();
        let torque = rows.iter().position(|row| row.object == "/torque").unwrap();
        let text: VarLenUnicode = rows[torque].sha256.parse().unwrap();
        file.dataset("seal/sha256")
            .unwrap()
            .write_slice(&[text], torque..torque + 1)
            .unwrap();
    });
    assert_eq!(
        differences(&path),
        ["/seal the list of digests is not the one that was sealed"]
    );
}

#[test]
fn a_newer_major_version_is_refused_and_a_newer_minor_one_read() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    sealed(&path);
    edit(&path, |file| set_text(file, "schema_version", "2.0"));
    let error = Recording::open(&path).err().unwrap();
    assert!(
        matches!(&error, RecordingError::NewerSchema { found, supported: 1, .. } if found == "2.0"),
        "{error}"
    );
    assert!(error.to_string().contains("use a newer truerim"), "{error}");
    edit(&path, |file| set_text(file, "schema_version", "one"));
    assert!(matches!(
        Recording::open(&path),
        Err(RecordingError::NotARecording { .. })
    ));
    edit(&path, |file| set_text(file, "schema_version", "1.7"));
    // What a later minor version may add.
    edit(&path, |file| {
        h5::put_text(file, &path, "weather", "wet").unwrap();
        file.create_group("pictures")
            .unwrap()
            .create_group("front")
            .unwrap();
        file.new_dataset::<u8>().shape((2, 2)).create("humidity").unwrap();
        file.group("segments")
            .unwrap()
            .new_dataset::<f32>()
            .shape((1,))
            .create("mood")
            .unwrap();
    });
    let recording = Recording::open(&path).unwrap();
    assert_eq!((recording.rows(), recording.segments().len()), (100, 1));
    assert_eq!(recording.header().channels.len(), 2);
}

#[test]
fn what_is_missing_or_contradicts_itself_is_named() {
    let directory = tempfile::tempdir().unwrap();
    let refused = |name: &str, change: &dyn Fn(&File)| {
        let path = directory.path().join(name);
        sealed(&path);
        edit(&path, |file| change(file));
        Recording::open(&path).err().unwrap().to_string()
    };
    let text = refused("a.h5", &|file| file.delete_attr("unit_serial").unwrap());
    assert!(text.contains("unit_serial"), "{text}");
    let text = refused("b.h5", &|file| {
        file.dataset("torque").unwrap().resize((99,)).unwrap()
    });
    assert!(text.contains("99 to 100"), "{text}");
    let text = refused("c.h5", &|file| file.unlink("time").unwrap());
    assert!(text.contains("/time"), "{text}");
    let text = refused("d.h5", &|file| file.unlink("segments/repeat").unwrap());
    assert!(text.contains("/segments/repeat"), "{text}");
    let text = refused("e.h5", &|file| set_text(file, "completion", "perhaps"));
    assert!(text.contains("perhaps"), "{text}");
    let text = refused("f.h5", &|file| {
        file.dataset("torque")
            .unwrap()
            .attr("scale_factor")
            .unwrap()
            .write_scalar(&f64::NAN)
            .unwrap();
    });
    assert!(text.contains("torque") && text.contains("NaN"), "{text}");
    let text = refused("g.h5", &|file| file.delete_attr("schema").unwrap());
    assert!(text.contains("not a truerim recording"), "{text}");
    let text = refused("h.h5", &|file| {
        file.dataset("segments/repeat")
            .unwrap()
            .write_slice(&[-1_i64], 0..1)
            .unwrap();
    });
    assert!(
        text.contains("/segments row 0") && text.contains("repeat = -1"),
        "{text}"
    );
}

#[test]
fn rows_beyond_what_was_declared_safe_are_not_read() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    drop(live(&path));
    // A flush that failed half way leaves longer datasets of different lengths, with zeros.
    edit(&path, |file| {
        file.dataset("torque").unwrap().resize((150,)).unwrap();
        file.dataset("time").unwrap().resize((120,)).unwrap();
        let journal = file.dataset("progress/journal").unwrap();
        let length = journal.shape()[0];
        journal.resize((length + 40,)).unwrap();
    });
    let recording = Recording::open(&path).unwrap();
    assert_eq!(recording.rows(), 100);
    assert!(matches!(
        recording.raw("torque", 0..101),
        Err(RecordingError::OutOfRange {
            end: 101,
            rows: 100,
            ..
        })
    ));
    assert!(
        recording
            .raw("speed", 0..1)
            .unwrap_err()
            .to_string()
            .contains("setpoint, torque")
    );
    assert_eq!(recording.events().len(), 1);
    // HDF5 does not open for writing what this process still reads.
    drop(recording);
    // The other way round is damage.
    edit(&path, |file| {
        file.dataset("torque").unwrap().resize((99,)).unwrap()
    });
    let text = Recording::open(&path).err().unwrap().to_string();
    assert!(text.contains("100 rows") && text.contains("99"), "{text}");
}

#[test]
fn a_recording_from_before_the_slew_rate_was_kept_says_not_declared() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut declared = header();
    declared.rig.slew_nm_per_s = 2000.0;
    drop(RecordingWriter::create(&path, &declared).unwrap());
    let file = h5::access().open_rw(&path).unwrap();
    let read = |file: &File| {
        super::super::attributes::read(file, &path)
            .unwrap()
            .rig
            .slew_nm_per_s
    };
    assert!((read(&file) - 2000.0).abs() < 1e-9);
    file.delete_attr("rig_slew_nm_per_s").unwrap();
    assert!(read(&file).is_nan());
}
