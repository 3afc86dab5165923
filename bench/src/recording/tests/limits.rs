//! Full disks, full queues and texts that HDF5 cannot hold.

use super::super::h5;
use super::*;

#[test]
fn too_little_room_ends_the_recording_and_what_was_safe_stays() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = live(&path);
    writer.reserve_bytes = u64::MAX;
    writer.append(&block(100_000, 100)).unwrap();
    let error = writer.flush().unwrap_err();
    assert!(
        matches!(
            error,
            RecordingError::DiskFull {
                rows: 100,
                needed_bytes: u64::MAX,
                ..
            }
        ),
        "{error}"
    );
    let text = error.to_string();
    assert!(
        text.contains("run.h5") && text.contains("100 rows") && text.contains("recover"),
        "{text}"
    );
    assert!(matches!(
        writer.append(&block(200_000, 1)),
        Err(RecordingError::Ended { .. })
    ));
    assert!(matches!(
        writer.finish(&Completion::Complete),
        Err(RecordingError::Ended { .. })
    ));
    assert_eq!(Recording::open(&path).unwrap().rows(), 100);
    let other = directory.path().join("other.h5");
    let refused = RecordingWriter::create_with_reserve(&other, &header(), u64::MAX)
        .err()
        .unwrap();
    assert!(matches!(refused, RecordingError::DiskFull { rows: 0, .. }) && !other.exists());
}

#[test]
fn a_full_queue_is_an_error_and_nothing_queued_is_lost() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let writer = RecordingWriter::create(&path, &header()).unwrap();
    let mut recorder = RecorderThread::start(writer, 6.4, WhenFull::Fail, || {}).unwrap();
    assert_eq!(recorder.capacity(), 64);
    let mut taken: u64 = 0;
    {
        // While this is held no HDF5 call of another thread goes on, as if the disk were stuck.
        let _stuck = hdf5_metno_sys::LOCK.lock();
        let error = loop {
            let sent = recorder.block(block(taken * 250, 1)).and_then(|()| {
                taken += 1;
                recorder.flush()
            });
            if let Err(error) = sent {
                break error;
            }
            assert!(taken < 1_000, "a queue of 64 takes no more than that");
        };
        assert!(
            matches!(error, RecordingError::QueueFull { capacity: 64, .. }),
            "{error}"
        );
        assert_eq!(recorder.high_water(), 64);
    }
    recorder
        .finish(Completion::Stopped {
            cause: "queue".into(),
        })
        .unwrap();
    let recording = Recording::open(&path).unwrap();
    assert_eq!(recording.rows() as u64, taken);
    let file = h5::access().open(&path).unwrap();
    assert_eq!(h5::get::<u64>(&file, &path, "queue_high_water").unwrap(), 64);
    assert_eq!(h5::get::<u64>(&file, &path, "queue_capacity").unwrap(), 64);
}

#[test]
fn a_queue_rate_that_makes_no_sense_is_refused() {
    let directory = tempfile::tempdir().unwrap();
    for (name, rate) in [
        ("a", f64::NAN),
        ("b", 0.0),
        ("c", -1.0),
        ("d", f64::INFINITY),
        ("e", 1e6),
    ] {
        let writer = RecordingWriter::create(&directory.path().join(name), &header()).unwrap();
        let refused = RecorderThread::start(writer, rate, WhenFull::Fail, || {})
            .err()
            .unwrap();
        assert!(matches!(refused, RecordingError::Invalid { .. }), "{rate}");
    }
}

#[test]
fn a_text_with_a_nul_is_refused_where_it_comes_in() {
    let directory = tempfile::tempdir().unwrap();
    let mut writer = live(&directory.path().join("run.h5"));
    let event = EventRow {
        tick: 1,
        host_ns: 2,
        source: Source::Rig,
        code: "c".into(),
        text: "a\0b".into(),
    };
    assert!(writer.event(&event).unwrap_err().to_string().contains("NUL"));
    writer.finish(&Completion::Complete).unwrap();
    let mut bad = header();
    bad.operator = "a\0b".into();
    let error = RecordingWriter::create(&directory.path().join("b.h5"), &bad)
        .err()
        .unwrap();
    assert!(error.to_string().contains("operator"), "{error}");
}
