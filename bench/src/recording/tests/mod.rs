//! Files edited, disks filled and queues blocked from the inside.

mod document;
mod edited;
mod limits;

use std::path::Path;

use super::*;

fn header() -> Header {
    let channel = |name: &str, width| ChannelInfo {
        name: name.into(),
        long_name: name.into(),
        units: "N.m".into(),
        width,
        scale: 0.5,
        offset: 0.0,
        group_delay_s: 0.0,
        raw_min: -100,
        raw_max: 100,
    };
    Header {
        run_id: "1".into(),
        created: "2026-03-02T10:00:00Z".into(),
        sample_period_ticks: 250,
        tick_s: 1e-6,
        channels: vec![
            channel("setpoint", CountWidth::I16),
            channel("torque", CountWidth::I32),
        ],
        files: vec![("a.toml".into(), "x = 1".into())],
        ..Header::default()
    }
}

fn block(first_tick: u64, rows: usize) -> Block {
    Block {
        first_tick,
        rows,
        columns: vec![vec![3; rows], vec![-4; rows]],
    }
}

fn live(path: &Path) -> RecordingWriter {
    let mut writer = RecordingWriter::create(path, &header()).unwrap();
    writer.append(&block(0, 100)).unwrap();
    writer
        .segment(&SegmentRow {
            name: "s".into(),
            ..SegmentRow::default()
        })
        .unwrap();
    let event = EventRow {
        tick: 1,
        host_ns: 2,
        source: Source::Bench,
        code: "c".into(),
        text: "t".into(),
    };
    writer.event(&event).unwrap();
    writer
        .host(&HostRow {
            first_tick: 0,
            host_ns: 1,
        })
        .unwrap();
    writer
        .round_trip(&RoundTrip {
            host_send_ns: 1,
            host_receive_ns: 2,
            rig_tick: 3,
        })
        .unwrap();
    writer.flush().unwrap();
    writer
}

fn sealed(path: &Path) {
    live(path).finish(&Completion::Complete).unwrap();
}
