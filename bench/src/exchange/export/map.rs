//! The map with which an exported table can be imported again.

use std::fmt::Write as _;
use std::path::Path;

use super::{Format, column_name};
use crate::exchange::ExchangeError;
use crate::exchange::import::{Role, SegmentKind};
use crate::recording::{Declared, Header, Recording, SegmentRow};

/// Writes a map beside an exported table: columns, resolution, unit under test, sensor, and every step, chirp, hold,
/// multisine and pseudo-random signal.
///
/// # Errors
/// [`ExchangeError::Io`] if the file is there already or cannot be written.
pub fn write_map(recording: &Recording, format: Format, path: &Path) -> Result<(), ExchangeError> {
    let text = text(recording, format);
    let mut file = std::fs::File::create_new(path).map_err(|e| ExchangeError::io("create", path, e))?;
    std::io::Write::write_all(&mut file, text.as_bytes()).map_err(|e| ExchangeError::io("write", path, e))
}

/// A TOML text.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out + "\""
}

/// Adds `key = "text"` unless the text is empty.
fn word(out: &mut String, key: &str, text: &str) {
    if !text.trim().is_empty() {
        let _ = writeln!(out, "{key} = {}", quoted(text));
    }
}

/// Adds `key = "value unit"` if the value is finite.
fn amount(out: &mut String, key: &str, value: f64, unit: &str) {
    if value.is_finite() {
        let _ = writeln!(out, "{key} = \"{value} {unit}\"");
    }
}

fn text(recording: &Recording, format: Format) -> String {
    let header = recording.header();
    let declared = Declared::of(recording);
    let mut out = String::new();
    let o = &mut out;
    let _ = writeln!(o, "# How to import what was exported of {}.", header.run_id);
    if format == Format::Csv {
        o.push_str("\n[file]\ndelimiter = \",\"\n");
    }
    o.push_str("\n[time]\ncolumn = \"time_s\"\nunit = \"s\"\n");
    for channel in &header.channels {
        let Some(role) = Role::of_channel(&channel.name) else {
            continue;
        };
        let unit = match channel.units.as_str() {
            "N.m" => "N·m",
            "degC" => "°C",
            other => other,
        };
        let _ = writeln!(o, "\n[columns.{}]", role.word());
        word(o, "column", &column_name(&channel.name, &channel.units));
        word(o, "unit", unit);
        amount(o, "resolution", channel.scale.abs(), unit);
        let end = |count: i32| channel.scale * f64::from(count) + channel.offset;
        let ends = [end(channel.raw_min), end(channel.raw_max)];
        let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
        let _ = writeln!(o, "range = [\"{low} {unit}\", \"{high} {unit}\"]");
        amount(o, "group_delay", channel.group_delay_s, "s");
        if let (Role::MotorAngle, Some(ratio)) = (role, declared.ratio) {
            let _ = writeln!(o, "ratio = {ratio:?}");
        }
        if role == Role::Commanded {
            let hold_us = recording.segments().iter().map(|s| s.hold_us).max();
            amount(o, "hold", f64::from(hold_us.unwrap_or(0).max(1)) * 1e-6, "s");
        }
    }
    o.push_str("\n[rig]\n");
    word(o, "mounting", &header.mounting);
    word(o, "name", &header.rig.name);
    word(o, "fixture", &header.rig.fixture);
    amount(
        o,
        "fixture_stiffness",
        header.rig.fixture_stiffness_nm_per_rad,
        "N·m/rad",
    );
    if let Some((inertia, _)) = declared.disc_kg_m2 {
        amount(o, "disc_inertia", inertia, "kg·m²");
    }
    o.push_str("\n[unit]\n");
    word(o, "model", &header.unit.model);
    word(o, "serial", &header.unit.serial);
    word(o, "firmware", &header.unit.firmware);
    amount(o, "update_period", header.rig.update_period_s, "s");
    amount(o, "slew", header.rig.slew_nm_per_s, "N·m/s");
    if let Some(stages) = declared.stages {
        let _ = writeln!(o, "stages = {stages}");
    }
    amount(o, "full_scale", header.rig.full_scale_nm, "N·m");
    let sensor = &header.sensor;
    o.push_str("\n[sensor]\n");
    word(o, "model", &sensor.model);
    word(o, "serial", &sensor.serial);
    amount(o, "range", sensor.range_nm, "N·m");
    amount(o, "stiffness", sensor.stiffness_nm_per_rad, "N·m/rad");
    for (key, date) in [("calibrated", &sensor.calibrated), ("due", &sensor.due)] {
        if date.len() == 10 {
            let _ = writeln!(o, "{key} = {date}");
        }
    }
    word(o, "certificate", &sensor.certificate);
    amount(o, "gain_uncertainty", sensor.gain_uncertainty, "1");
    amount(o, "zero_uncertainty", sensor.zero_uncertainty_nm, "N·m");
    amount(o, "delay_uncertainty", sensor.delay_uncertainty_s, "s");
    o.push_str("\n[run]\n");
    word(o, "started", &header.created);
    word(o, "operator", &header.operator);
    word(o, "recorded_with", &header.software.name);
    // Periods have a row each; those of one realisation go together.
    let excitations = recording.segments().iter().filter(|row| row.is_excitation());
    let rows: Vec<(SegmentKind, &SegmentRow)> = excitations
        .filter_map(|row| Some((SegmentKind::of(&row.excitation)?, row)))
        .collect();
    let alike = |(kind, a): &(SegmentKind, &SegmentRow), (_, b): &(SegmentKind, &SegmentRow)| {
        kind.is_periodic() && (a.segment, a.repeat, a.end_tick) == (b.segment, b.repeat, b.start_tick)
    };
    for rows in rows.chunk_by(alike) {
        if let (Some((kind, first)), Some((_, last))) = (rows.first(), rows.last()) {
            segment(o, header, *kind, first, last.end_tick);
        }
    }
    out
}

/// One repeat of an excitation, up to a tick.
fn segment(o: &mut String, header: &Header, kind: SegmentKind, row: &SegmentRow, end_tick: u64) {
    let tick_s = header.tick_s;
    o.push_str("\n[[segment]]\n");
    word(o, "kind", kind.word());
    word(o, "name", &row.name);
    amount(o, "from", row.start_tick as f64 * tick_s, "s");
    amount(o, "to", end_tick as f64 * tick_s, "s");
    if kind.is_about_preload() {
        amount(o, "amplitude", row.amplitude_nm, "N·m");
        amount(o, "preload", row.preload_nm, "N·m");
    }
    match kind {
        SegmentKind::Hold => {}
        SegmentKind::Step => {
            amount(o, "before", row.from_nm, "N·m");
            amount(o, "after", row.to_nm, "N·m");
        }
        SegmentKind::Chirp => {
            amount(o, "f_start", row.f_start_hz, "Hz");
            amount(o, "f_end", row.f_end_hz, "Hz");
        }
        SegmentKind::Multisine | SegmentKind::PseudoRandom => {
            amount(o, "period", row.duration_s, "s");
            if let Some(lines) = header.lines_of(row.segment) {
                let _ = writeln!(o, "lines = {lines:?}");
            }
        }
    }
}
