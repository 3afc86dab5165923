//! What was written is what is read, sealed or not.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use crate::recording_support as support;
use tempfile::tempdir;
use truerim::recording::{
    Block, Completion, HostRow, RecorderThread, Recording, RecordingError, RecordingWriter, RoundTrip,
    WhenFull, recover, verify,
};

const ROWS: usize = 70_000; // more than one step of copying (65,536) and not a multiple of a chunk

fn check_rows(recording: &Recording, rows: usize) {
    assert_eq!(recording.rows(), rows);
    let ticks = recording.ticks(0..rows).unwrap();
    assert!(ticks.iter().enumerate().all(|(row, t)| *t == support::tick(row)));
    support::check_counts(recording, rows);
}

fn check_notes(recording: &Recording) {
    let segments = recording.segments();
    assert_eq!(segments.len(), 2);
    for (index, found) in (0..).zip(segments) {
        let written = support::segment(index);
        // NaN is not equal to itself, so that the texts are compared: they show every bit of a number.
        assert_eq!(format!("{found:?}"), format!("{written:?}"));
    }
    assert_eq!(recording.events(), [support::event(support::FIRST_TICK)]);
    assert_eq!(
        recording.host().collect::<Result<Vec<_>, _>>().unwrap(),
        [HostRow {
            first_tick: support::FIRST_TICK,
            host_ns: 123_456_789_012_345
        }]
    );
    let trip = RoundTrip {
        host_send_ns: 1,
        host_receive_ns: 2_000_000,
        rig_tick: support::FIRST_TICK + 7,
    };
    let trips: Result<Vec<_>, _> = recording.round_trips().collect();
    assert_eq!(trips.unwrap(), [trip]);
}

#[test]
fn everything_comes_back_from_a_sealed_recording() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = RecordingWriter::create(&path, &support::header()).unwrap();
    support::write_rows(&mut writer, 0, ROWS, 77).unwrap();
    support::write_notes(&mut writer).unwrap();
    let completion = Completion::Tripped {
        cause: "torque 9.1 N·m above the limit of 9 N·m".into(),
    };
    let seal = writer.finish(&completion).unwrap();

    let recording = Recording::open(&path).unwrap();
    assert_eq!(
        format!("{:?}", recording.header()),
        format!("{:?}", support::header())
    );
    check_rows(&recording, ROWS);
    check_notes(&recording);
    assert_eq!(recording.completion(), Some(&completion));
    assert_eq!(recording.seal(), Some(&seal));
    assert!(!recording.is_live());
    assert_eq!(
        std::fs::read_dir(directory.path()).unwrap().count(),
        1,
        "nothing is left beside the recording"
    );

    // Scaled by hand: rows 4, 5 of torque have counts 4 · 7919 - 1e6 and 5 · 7919 - 1e6.
    let values = recording.values("torque", 4..6).unwrap();
    assert!((values[0] - (2.5e-6 * -968_324.0 - 0.125)).abs() < 1e-12);
    assert!((values[1] - (2.5e-6 * -960_405.0 - 0.125)).abs() < 1e-12);
    let verification = verify(&path).unwrap();
    assert!(verification.is_intact(), "{verification:?}");
    assert_eq!(verification.seal, seal);
}

#[test]
fn rows_are_found_by_tick_and_a_gap_stays_a_gap() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = RecordingWriter::create(&path, &support::header()).unwrap();
    support::write_rows(&mut writer, 0, 4_000, 4_000).unwrap();
    writer.finish(&Completion::Complete).unwrap();
    let recording = Recording::open(&path).unwrap();
    let between = |a, b| recording.rows_between(a, b).unwrap();
    assert_eq!(between(0, u64::MAX), 0..4_000);
    assert_eq!(between(support::tick(10), support::tick(20)), 10..20);
    assert_eq!(between(support::tick(10) + 1, support::tick(20) + 1), 11..21);
    // Ticks within the 100 lost samples belong to no row.
    assert_eq!(
        between(support::tick(2_999) + 1, support::tick(3_000)),
        3_000..3_000
    );
    assert_eq!(between(support::tick(20), support::tick(10)), 20..20);
    // Each row, behind the gap as well, where it no longer lies as many periods behind the first as its number says.
    for row in (0..4_000).chain([5_000]) {
        let start = support::tick(row);
        let expected = row.min(4_000)..4_000;
        assert_eq!(between(start, u64::MAX), expected, "{row}");
        assert_eq!(
            between(start.saturating_sub(1), u64::MAX),
            expected,
            "just before {row}"
        );
    }
    assert_eq!(
        recording.ticks(2_999..3_001).unwrap().to_vec(),
        [support::tick(2_999), support::tick(3_000)]
    );
    assert_eq!(support::tick(3_000) - support::tick(2_999), 101 * support::PERIOD);
}

#[test]
fn a_run_without_samples_or_notes_is_a_recording_too() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let writer = RecordingWriter::create(&path, &support::header()).unwrap();
    writer
        .finish(&Completion::Failed {
            cause: "no rig".into(),
        })
        .unwrap();
    let recording = Recording::open(&path).unwrap();
    assert_eq!(recording.rows(), 0);
    assert!(recording.segments().is_empty() && recording.events().is_empty());
    assert!(verify(&path).unwrap().is_intact());
}

#[test]
fn a_writer_dropped_without_finish_leaves_the_flushed_rows() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = RecordingWriter::create(&path, &support::header()).unwrap();
    support::write_rows(&mut writer, 0, 5_000, 64).unwrap();
    support::write_notes(&mut writer).unwrap();
    writer.flush().unwrap();
    support::write_rows(&mut writer, 5_000, 5_100, 64).unwrap();
    writer.event(&support::event(1)).unwrap();
    drop(writer);

    let recording = Recording::open(&path).unwrap();
    assert!(recording.is_live());
    check_rows(&recording, 5_000);
    check_notes(&recording);
    assert_eq!((recording.completion(), recording.seal()), (None, None));
    assert!(matches!(verify(&path), Err(RecordingError::Unsealed { .. })));

    // Recovery leaves the damaged file alone to the last byte.
    let before = std::fs::read(&path).unwrap();
    let out = directory.path().join("recovered.h5");
    recover(&path, &out).unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), before);
    let recovered = Recording::open(&out).unwrap();
    check_rows(&recovered, 5_000);
    check_notes(&recovered);
    assert!(matches!(recovered.completion(), Some(Completion::Failed { .. })));
    assert!(verify(&out).unwrap().is_intact());
    assert!(matches!(recover(&path, &out), Err(RecordingError::Exists { .. })));
    assert!(matches!(
        recover(&out, &directory.path().join("x.h5")),
        Err(RecordingError::Sealed { .. })
    ));
    assert!(!directory.path().join("x.h5").exists());
}

#[test]
fn full_chunks_are_safe_without_being_asked_for() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = RecordingWriter::create(&path, &support::header()).unwrap();
    support::write_rows(&mut writer, 0, 511, 64).unwrap();
    assert_eq!(writer.safe_rows(), 0);
    support::write_rows(&mut writer, 511, 512, 64).unwrap();
    assert_eq!(writer.safe_rows(), 512);
    // What a writer that dies now would leave behind.
    let copy = directory.path().join("copy.h5");
    std::fs::copy(&path, &copy).unwrap();
    check_rows(&Recording::open(&copy).unwrap(), 512);
}

#[test]
fn the_same_contents_give_the_same_seal() {
    let directory = tempdir().unwrap();
    let seal = |name: &str, batch: usize| {
        let mut writer = RecordingWriter::create(&directory.path().join(name), &support::header()).unwrap();
        support::write_rows(&mut writer, 0, 5_000, batch).unwrap();
        support::write_notes(&mut writer).unwrap();
        writer.finish(&Completion::Complete).unwrap()
    };
    assert_eq!(seal("a.h5", 16), seal("b.h5", 4_096));
}

#[test]
fn what_does_not_fit_the_header_is_refused_with_its_value() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = RecordingWriter::create(&path, &support::header()).unwrap();
    let block = |first_tick, columns: Vec<Vec<i32>>| Block {
        first_tick,
        rows: 1,
        columns,
    };
    let refused = |writer: &mut RecordingWriter, block: &Block| writer.append(block).unwrap_err().to_string();
    let text = refused(&mut writer, &block(0, vec![vec![0]; 3]));
    assert!(
        text.contains("3 columns") && text.contains("4 channels"),
        "{text}"
    );
    let text = refused(
        &mut writer,
        &block(0, vec![vec![40_000], vec![0], vec![0], vec![0]]),
    );
    assert!(
        text.contains("setpoint") && text.contains("40000") && text.contains("32767"),
        "{text}"
    );
    let text = refused(
        &mut writer,
        &block(0, vec![vec![0], vec![0, 1], vec![0], vec![0]]),
    );
    assert!(text.contains("torque"), "{text}");
    let text = refused(&mut writer, &block(u64::MAX, vec![vec![0]; 4]));
    assert!(text.contains(&i64::MAX.to_string()), "{text}");
    writer.append(&block(1_000, vec![vec![0]; 4])).unwrap();
    let text = refused(&mut writer, &block(1_000, vec![vec![0]; 4]));
    assert!(text.contains("1000"), "{text}");
    // None of this ended the recording.
    writer.append(&block(1_250, vec![vec![0]; 4])).unwrap();
    writer.finish(&Completion::Complete).unwrap();
    assert_eq!(
        Recording::open(&path).unwrap().ticks(0..2).unwrap().to_vec(),
        [1_000, 1_250]
    );
}

#[test]
fn nothing_is_written_over_and_a_bad_header_makes_no_file() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    std::fs::write(&path, "mine").unwrap();
    let error = RecordingWriter::create(&path, &support::header()).err().unwrap();
    assert!(matches!(error, RecordingError::Exists { .. }));
    assert_eq!(std::fs::read(&path).unwrap(), b"mine");

    let bad = directory.path().join("bad.h5");
    let mut header = support::header();
    header.channels[1].name = "time".into();
    assert!(
        RecordingWriter::create(&bad, &header)
            .err()
            .unwrap()
            .to_string()
            .contains("time")
    );
    header.channels[1].name = "setpoint".into();
    assert!(
        RecordingWriter::create(&bad, &header)
            .err()
            .unwrap()
            .to_string()
            .contains("twice")
    );
    header.channels[1].name = "torque".into();
    header.channels[1].scale = 0.0;
    assert!(
        RecordingWriter::create(&bad, &header)
            .err()
            .unwrap()
            .to_string()
            .contains("scale = 0")
    );
    assert!(!bad.exists());
}

#[test]
fn the_thread_writes_everything_and_notes_how_full_its_queue_was() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let writer = RecordingWriter::create(&path, &support::header()).unwrap();
    let mut recorder = RecorderThread::start(writer, 20.0, WhenFull::Wait, || {}).unwrap();
    assert_eq!(recorder.capacity(), 200);
    for row in 0..3_000 {
        let columns = (0..4).map(|c| vec![support::count(c, row)]).collect();
        recorder
            .block(Block {
                first_tick: support::tick(row),
                rows: 1,
                columns,
            })
            .unwrap();
    }
    let high_water = recorder.high_water();
    assert!((1..=200).contains(&high_water));
    recorder.segment(support::segment(0)).unwrap();
    recorder.event(support::event(1)).unwrap();
    recorder
        .finish(Completion::Stopped {
            cause: "operator".into(),
        })
        .unwrap();
    let recording = Recording::open(&path).unwrap();
    check_rows(&recording, 3_000);
    assert_eq!((recording.segments().len(), recording.events().len()), (1, 1));
    assert!(verify(&path).unwrap().is_intact());
}

#[test]
fn the_thread_tells_the_writers_error_to_the_next_caller() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let writer = RecordingWriter::create(&path, &support::header()).unwrap();
    let mut recorder = RecorderThread::start(writer, 100.0, WhenFull::Fail, || {}).unwrap();
    recorder
        .block(Block {
            first_tick: 7,
            rows: 1,
            columns: vec![vec![0]; 4],
        })
        .unwrap();
    recorder
        .block(Block {
            first_tick: 7,
            rows: 1,
            columns: vec![vec![0]; 4],
        })
        .unwrap();
    let error = recorder.finish(Completion::Complete).unwrap_err();
    assert!(error.to_string().contains("tick 7"), "{error}");
    assert_eq!(Recording::open(&path).unwrap().rows(), 1);
}

#[test]
fn a_thread_dropped_without_finish_leaves_all_that_was_queued() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let writer = RecordingWriter::create(&path, &support::header()).unwrap();
    let mut recorder = RecorderThread::start(writer, 100.0, WhenFull::Fail, || {}).unwrap();
    recorder
        .block(Block {
            first_tick: 7,
            rows: 1,
            columns: vec![vec![5]; 4],
        })
        .unwrap();
    drop(recorder);
    let recording = Recording::open(&path).unwrap();
    assert!(recording.is_live());
    assert_eq!(recording.raw("torque", 0..1).unwrap().to_vec(), [5]);
}
