//! A small recording with every kind of content, made of closed forms so that readers can be checked against it.
#![allow(dead_code, reason = "each test file uses its part")]
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests may fail them

use std::path::Path;
use std::process::{Command, Output};

use truerim::recording::{
    Block, ChannelInfo, CountWidth, EventRow, Header, HostRow, Recording, RecordingError, RecordingWriter,
    RigInfo, RoundTrip, SegmentRow, Sensor, Software, Source, Unit,
};

pub(crate) const PERIOD: u64 = 250;
pub(crate) const FIRST_TICK: u64 = 4_294_967_000; // ticks cross 32 bits within the recording

fn channel(name: &str, units: &str, width: CountWidth, scale: f64, offset: f64) -> ChannelInfo {
    let (raw_min, raw_max) = width.range();
    ChannelInfo {
        name: name.into(),
        long_name: format!("the {name}"),
        units: units.into(),
        width,
        scale,
        offset,
        group_delay_s: 160e-6,
        raw_min: raw_min / 2,
        raw_max: raw_max / 2,
    }
}

/// Every channel's first `rows` counts are those that were written.
pub(crate) fn check_counts(recording: &Recording, rows: usize) {
    for (c, info) in header().channels.iter().enumerate() {
        let raw = recording.raw(&info.name, 0..rows).unwrap();
        assert!(
            raw.iter().enumerate().all(|(row, v)| *v == count(c, row)),
            "{}",
            info.name
        );
    }
}

pub(crate) fn header() -> Header {
    Header {
        run_id: "2026-03-02-0001".into(),
        created: "2026-03-02T10:00:00.25+01:00".into(),
        software: Software {
            name: "truerim".into(),
            version: "0.1.0".into(),
            build: "abc".into(),
        },
        operator: "Zoë".into(),
        mounting: "clamped".into(),
        unit: Unit {
            model: "B".into(),
            serial: "B-0042".into(),
            firmware: "1.2".into(),
        },
        rig: RigInfo {
            name: "rig 1".into(),
            kind: "virtual".into(),
            emergency_stop: "none".into(),
            fixture: "plate".into(),
            fixture_stiffness_nm_per_rad: 2e4,
            full_scale_nm: 7.0,
            update_period_s: f64::NAN,
            slew_nm_per_s: 2000.0,
        },
        sensor: Sensor {
            model: "T20".into(),
            serial: "17".into(),
            range_nm: 20.0,
            stiffness_nm_per_rad: 4000.0,
            calibrated: "2025-11-03".into(),
            due: "2027-11-03".into(),
            certificate: "C-77".into(),
            gain_uncertainty: 0.001,
            zero_uncertainty_nm: 0.005,
            delay_uncertainty_s: 10e-6,
        },
        sample_period_ticks: 250,
        tick_s: 1e-6,
        seed: u64::MAX,
        faults: "clamp-slip at 1.5 s size 0.2 N·m; reboot at 3 s".into(),
        files: vec![
            (
                "rigs/virtual/belt.toml".into(),
                "[rig]\nname = \"rig 1\" # N·m\n".into(),
            ),
            ("procedures/quick.toml".into(), String::new()),
        ],
        channels: vec![
            channel("setpoint", "N.m", CountWidth::I16, 7.0 / 32767.0, 0.0),
            channel("torque", "N.m", CountWidth::I32, 2.5e-6, -0.125),
            channel(
                "rim_angle",
                "rad",
                CountWidth::I32,
                std::f64::consts::TAU / 65536.0,
                0.0,
            ),
            channel("temperature", "degC", CountWidth::I16, 0.01, 25.0),
        ],
        extra: vec![("clamp_torque".into(), "12 N·m".into())],
    }
}

/// Raw count of channel `c` in row `row`.
pub(crate) fn count(c: usize, row: usize) -> i32 {
    let row = i32::try_from(row).unwrap();
    match c {
        0 => (row * 37) % 65536 - 32768,
        1 => (row * 7919) % 2_000_001 - 1_000_000,
        2 => i32::MIN + row,
        _ => row % 100,
    }
}

/// Tick of row `row` of [`write_rows`]: 100 samples are missing from row 3,000 on.
pub(crate) fn tick(row: usize) -> u64 {
    let lost = if row >= 3_000 { 100 } else { 0 };
    FIRST_TICK + PERIOD * (row as u64 + lost)
}

/// Writes rows `from..to` in blocks of at most `batch`, broken at the gap.
pub(crate) fn write_rows(
    writer: &mut RecordingWriter,
    from: usize,
    to: usize,
    batch: usize,
) -> Result<(), RecordingError> {
    let mut start = from;
    while start < to {
        let mut end = (start + batch).min(to);
        if start < 3_000 && end > 3_000 {
            end = 3_000;
        }
        let columns = (0..4)
            .map(|c| (start..end).map(|row| count(c, row)).collect())
            .collect();
        writer.append(&Block {
            first_tick: tick(start),
            rows: end - start,
            columns,
        })?;
        start = end;
    }
    Ok(())
}

pub(crate) fn segment(index: u32) -> SegmentRow {
    SegmentRow {
        name: format!("step {index} ±½"),
        excitation: "step".into(),
        role: "excite".into(),
        segment: index,
        repeat: 2,
        start_tick: FIRST_TICK + u64::from(index) * 1000,
        end_tick: FIRST_TICK + u64::from(index) * 1000 + 999,
        from_nm: 0.1 + 0.2,
        to_nm: -1.0 / 3.0,
        amplitude_nm: 1e-300,
        preload_nm: 0.0,
        f_start_hz: f64::NAN,
        f_end_hz: f64::NAN,
        duration_s: 0.25,
        hold_us: 1000,
    }
}

pub(crate) fn event(tick: u64) -> EventRow {
    EventRow {
        tick,
        host_ns: -5,
        source: Source::Rig,
        code: "armed".into(),
        text: "the rig is armed; \"take care\"\nsecond line, 7 N·m".into(),
    }
}

pub(crate) fn write_notes(writer: &mut RecordingWriter) -> Result<(), RecordingError> {
    writer.segment(&segment(0))?;
    writer.segment(&segment(1))?;
    writer.event(&event(FIRST_TICK))?;
    writer.host(&HostRow {
        first_tick: FIRST_TICK,
        host_ns: 123_456_789_012_345,
    })?;
    writer.round_trip(&RoundTrip {
        host_send_ns: 1,
        host_receive_ns: 2_000_000,
        rig_tick: FIRST_TICK + 7,
    })
}

/// The interpreter of `TRUERIM_PYTHON` (or `python3`), which must have what recordings are opened with.
pub(crate) fn interpreter() -> String {
    let interpreter = std::env::var("TRUERIM_PYTHON").unwrap_or_else(|_| "python3".into());
    let help = "this test needs Python with what tests/python/requirements.txt lists: `tools/prepare tests`, then set \
                TRUERIM_PYTHON to the absolute path of target/python/bin/python";
    let probe = Command::new(&interpreter)
        .args(["-c", "import h5py, xarray, h5netcdf, netCDF4"])
        .output();
    match probe {
        Err(e) => panic!("cannot start {interpreter}: {e}; {help}"),
        Ok(output) if !output.status.success() => {
            panic!(
                "{interpreter}: {}; {help}",
                String::from_utf8_lossy(&output.stderr).trim()
            )
        }
        Ok(_) => interpreter,
    }
}

/// Runs a script of `tests/python`.
pub(crate) fn python(script: &str, arguments: &[&Path]) -> Output {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python").join(script);
    Command::new(interpreter())
        .arg(script)
        .args(arguments)
        .output()
        .unwrap()
}
