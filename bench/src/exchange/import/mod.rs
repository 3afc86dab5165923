//! From a data file and a map to a sealed recording, in three passes: what is there, whether it can be used, write.

mod bind;
mod clean;
mod clock;
mod counts;
mod log;
mod map;
mod provenance;
mod resample;
mod series;
mod source;
mod steps;
mod survey;
#[cfg(test)]
mod tests;
mod write;

use std::path::Path;

use super::error::{Defect, ExchangeError, Refusal};
use crate::recording::{RecordingError, Seal};
use log::{Code, Log};
pub use map::{Map, Repairs};
pub(crate) use map::{Role, SegmentKind};
pub use series::{AxisSeries, ColumnOf, TextStyle, read_axis};
use source::DataFile;
pub(crate) use source::is_hdf5;

/// Share of the rows that repairs may leave out; beyond it the data are something else than they are taken for.
const MOST_LEFT_OUT: f64 = 0.10;

/// What became of an import.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Imported {
    /// Rows in the data file.
    pub rows_read: u64,
    /// Rows in the recording.
    pub rows: u64,
    /// Samples per second.
    pub sample_rate_hz: f64,
    /// Names of the channels.
    pub channels: Vec<String>,
    /// Segments that the map declares.
    pub segments: usize,
    /// Steps that were found in the commanded torque.
    pub steps_found: u32,
    /// What was noticed, and what was repaired.
    pub notes: Vec<Defect>,
    /// Which fits can run on it, in words.
    pub fits: String,
    /// The seal of the recording.
    pub seal: Seal,
}

/// Imports `data` as `map` describes it into a new recording at `out`. `repairs` are granted beside those of the map.
///
/// # Errors
/// [`ExchangeError`]: the file cannot be read, a column is not there, or the data are refused with all that is wrong
/// with them. No file is left at `out` then.
pub fn import(data: &Path, map: &Map, repairs: Repairs, out: &Path) -> Result<Imported, ExchangeError> {
    if out.exists() {
        return Err(RecordingError::Exists { path: out.to_owned() }.into());
    }
    let mut map = map.clone();
    map.repairs = map.repairs.and(repairs);
    let path = data;
    let refuse = |log: &Log| {
        Err(ExchangeError::Refused(Refusal {
            path: path.to_owned(),
            defects: log.defects(true),
        }))
    };
    let identity = provenance::identity(path)?;
    let data = DataFile::open(path, &map.layout)?;
    let mut log = Log::default();
    for note in &data.notes {
        log.once(Code::File, false, note.clone(), "");
    }
    let mut binding = bind::bind(&data, &map, &mut log)?;
    if log.blocks() {
        return refuse(&log);
    }
    let mut survey = survey::first(&data, &map, &mut binding, &mut log)?;
    let mut done = settle_rows(&map, &survey, &mut log);
    if survey.kept < 2 {
        return refuse(&log);
    }
    let second = survey::second(&data, &map, &binding, &mut survey, &mut log)?;
    settle_time(&map, &second, &mut log);
    if log.blocks() {
        return refuse(&log);
    }
    done.extend(turned(&map, &log));
    if second.uneven > 0 {
        done.push(format!(
            "{} rows off the even grid: resampled every {} s, linear, the commanded torque held",
            second.uneven, survey.clock.period_s
        ));
        // What is interpolated is on no grid.
        let columns = binding.columns.iter().zip(&survey.ranges);
        for (counts, (bound, range)) in survey.counts.iter_mut().zip(columns) {
            if bound.column.role != map::Role::Commanded {
                *counts = counts::Counts::fine(range);
            }
        }
    }
    let mut header = provenance::header(&identity, &data, &map, &binding, &survey, &second, &done);
    header.extra.extend(write::listed_lines(&map));
    if second.uneven > 0 {
        let error = resampling_error(&data, &map, &binding, &survey)?;
        header.extra.push(("imported_resampling".to_owned(), error));
    }
    let written = write::write(&data, &map, &binding, &survey, &second, &header, out)?;
    Ok(Imported {
        rows_read: survey.read,
        rows: written.rows,
        sample_rate_hz: header.sample_rate_hz(),
        channels: header.channels.iter().map(|c| c.name.clone()).collect(),
        segments: map.segments.len(),
        steps_found: written.steps_found,
        notes: log.defects(false),
        fits: fits(&map, written.steps_found),
        seal: written.seal,
    })
}

/// Says what is done about rows that cannot be used; gives the repairs in words.
fn settle_rows(map: &Map, survey: &survey::Survey, log: &mut Log) -> Vec<String> {
    let mut done = Vec::new();
    let mut settle = |log: &mut Log, code, granted: bool, how: &str, key: &str| {
        let count = log.counted(code);
        if count == 0 {
            return;
        }
        if granted {
            log.settle(code, false, &format!("Repaired: {how}"));
            done.push(format!("{count} {how}"));
        } else {
            let remedy =
                format!("Correct the file, or leave these rows out with --repair or `{key}` in the map");
            log.settle(code, true, &remedy);
        }
    };
    let rows = map.repairs.rows;
    settle(
        log,
        Code::Fields,
        rows,
        "rows with another number of fields left out",
        "repair.rows = true",
    );
    settle(
        log,
        Code::Cell,
        rows,
        "cells that are no number, their rows left out",
        "repair.rows = true",
    );
    let order = map.repairs.time_order;
    settle(
        log,
        Code::TimeBack,
        order,
        "rows that go back in time left out",
        "repair.time_order = true",
    );
    settle(
        log,
        Code::Duplicate,
        order,
        "rows at the time of the row before left out",
        "repair.time_order = true",
    );
    let left_out = survey.read - survey.kept;
    if survey.kept >= 2 && left_out as f64 > MOST_LEFT_OUT * survey.read as f64 {
        let what = format!(
            "{left_out} of {} rows cannot be used, at most a tenth may be left out",
            survey.read
        );
        let remedy = if log.counted(Code::Duplicate) > left_out / 2 {
            "Times seem to be written too coarsely to tell rows apart: leave out time.column and write time.rate"
        } else {
            "Correct columns, delimiter and decimal sign in the map, or the file"
        };
        log.once(Code::Rows, true, what, remedy);
    }
    done
}

fn settle_time(map: &Map, second: &survey::Second, log: &mut Log) {
    if second.lost > 0 {
        let remedy = format!(
            "{} samples are missing; nothing is filled in, and repeats with a gap are left out of fits",
            second.lost
        );
        log.settle(Code::Gap, false, &remedy);
    }
    if second.uneven > 0 {
        if map.repairs.resample {
            log.settle(Code::Uneven, false, "Repaired: resampled to even time");
        } else {
            let remedy = "Resample with --repair or `repair.resample = true`, or widen time.tolerance if the times are \
                          merely written coarsely";
            log.settle(Code::Uneven, true, remedy);
        }
    }
    log.settle(
        Code::Segment,
        true,
        "Correct from and to of the segment in the map",
    );
}

fn turned(map: &Map, log: &Log) -> Option<String> {
    (map.repairs.sign && log.counted(Code::Sign) > 0)
        .then(|| "the measured torque turned, as it went against the commanded one".to_owned())
}

/// Passes over the data once more to tell what resampling costs, before the header is written.
fn resampling_error(
    data: &DataFile,
    map: &Map,
    binding: &bind::Binding,
    survey: &survey::Survey,
) -> Result<String, ExchangeError> {
    let held = binding
        .columns
        .iter()
        .position(|b| b.column.role == map::Role::Commanded);
    let mut even = resample::Resampler::new(survey.clock, held, binding.columns.len());
    let mut cleaner = clean::Cleaner::open(data, binding, map.time.period_s)?;
    while let Some(clean) = cleaner.next(None)? {
        for (i, t) in clean.t_s.iter().enumerate() {
            let row = clean
                .columns
                .iter()
                .map(|c| c.get(i).copied().unwrap_or(f64::NAN));
            even.take(*t, row.collect(), |_, _| Ok::<(), ExchangeError>(()))?;
        }
    }
    let parts = binding.columns.iter().zip(&even.worst).map(|(bound, worst)| {
        let (name, _, unit) = bound.column.role.channel();
        if bound.column.role == map::Role::Commanded {
            return format!("{name} held until the next row");
        }
        let error = settings_file::write_number(worst * bound.gain.abs());
        format!("{name} linear, at most about {error} {unit} off")
    });
    let parts: Vec<String> = parts.collect();
    Ok(format!(
        "{}; stretches of more than {} periods are left as gaps",
        parts.join("; "),
        resample::BRIDGED
    ))
}

/// Which fits can run.
fn fits(map: &Map, steps_found: u32) -> String {
    let has = |kind| map.segments.iter().any(|s| s.kind == kind);
    let mut can = Vec::new();
    if has(SegmentKind::Step) || steps_found > 0 {
        can.push("latency, rise, overshoot and settling from steps");
    }
    if has(SegmentKind::Chirp) {
        can.push("frequency response from chirps");
    }
    if has(SegmentKind::Multisine) {
        can.push("frequency response, distortion and noise from multisines");
    }
    if has(SegmentKind::PseudoRandom) {
        can.push("frequency response from pseudo-random signals");
    }
    if can.is_empty() {
        return "no fit can run: declare [[segment]] tables, or a [steps] table to have steps found"
            .to_owned();
    }
    let mut text = can.join("; ");
    let sensor = &map.facts.sensor;
    let missing = [
        (sensor.delay_uncertainty_s, "sensor.delay_uncertainty"),
        (sensor.gain_uncertainty, "sensor.gain_uncertainty"),
        (sensor.zero_uncertainty_nm, "sensor.zero_uncertainty"),
    ];
    let missing: Vec<&str> = missing
        .into_iter()
        .filter(|(u, _)| u.is_nan())
        .map(|(_, key)| key)
        .collect();
    if !missing.is_empty() {
        text += &format!("; results that need {} are refused", missing.join(", "));
    }
    text
}
