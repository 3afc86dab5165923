//! The map's columns found in the data file, and how a number there becomes SI.

use super::super::ExchangeError;
use super::log::{Code, Log};
use super::map::read::{time_si, unit_si};
use super::map::{Column, Map};
use super::source::{ColumnInfo, DataFile};

/// A mapped column of the data file: SI = `gain`·number + `shift`.
#[derive(Debug, Clone)]
pub(super) struct Bound {
    pub(super) column: Column,
    /// Unit that was taken, in words.
    pub(super) unit: String,
    pub(super) gain: f64,
    pub(super) shift: f64,
    pub(super) whole: bool,
}

impl Bound {
    pub(super) fn si(&self, raw: f64) -> f64 {
        self.gain * raw + self.shift
    }

    /// Turns the sign.
    pub(super) fn turn(&mut self) {
        self.gain = -self.gain;
        self.shift = -self.shift;
    }
}

/// What is read of the data file.
#[derive(Debug)]
pub(super) struct Binding {
    /// Positions in the file: time first if there is one, then the columns.
    pub(super) wanted: Vec<usize>,
    /// Seconds per number of the time column and what is added; `None` without one.
    pub(super) time: Option<(f64, f64)>,
    /// Name of the time column in messages.
    pub(super) time_name: String,
    pub(super) columns: Vec<Bound>,
}

/// Finds the columns. Units that are missing or contradict each other are noted in `log`.
pub(super) fn bind(data: &DataFile, map: &Map, log: &mut Log) -> Result<Binding, ExchangeError> {
    let mut wanted = Vec::new();
    let mut time = None;
    let mut time_name = String::new();
    if let Some((name, unit)) = &map.time.column {
        let at = data.find(name)?;
        let info = data.column(at).cloned().unwrap_or_default();
        let (unit, _) = settle("time", name, unit.as_deref(), &info, true, log, &|u| time_si(u));
        let factor = time_si(&unit).unwrap_or(1.0);
        let (scale, offset) = info.packing.unwrap_or((1.0, 0.0));
        time = Some((factor * scale, factor * offset));
        time_name.clone_from(name);
        wanted.push(at);
    }
    let mut columns = Vec::with_capacity(map.columns.len());
    for column in &map.columns {
        let at = data.find(&column.name)?;
        let info = data.column(at).cloned().unwrap_or_default();
        let word = column.role.word();
        let parse = |unit: &str| unit_si(column.role, column.lever_m, unit);
        let compare = (column.scale - 1.0).abs() < 1e-12;
        let (unit, si) = settle(
            word,
            &column.name,
            column.unit.as_deref(),
            &info,
            compare,
            log,
            &parse,
        );
        let (scale, offset) = info.packing.unwrap_or((1.0, 0.0));
        let mut bound = Bound {
            column: column.clone(),
            unit,
            gain: column.scale * scale * si,
            shift: column.scale * offset * si + column.offset_si,
            whole: info.whole,
        };
        if column.reversed {
            bound.turn();
        }
        columns.push(bound);
        wanted.push(at);
    }
    Ok(Binding {
        wanted,
        time,
        time_name,
        columns,
    })
}

/// The unit to go by and its size in SI: the map's, else the file's.
fn settle(
    word: &str,
    name: &str,
    mapped: Option<&str>,
    info: &ColumnInfo,
    compare: bool,
    log: &mut Log,
    parse: &dyn Fn(&str) -> Result<f64, String>,
) -> (String, f64) {
    let in_file = info.units.as_deref();
    match (mapped, in_file) {
        (Some(mapped), in_file) => {
            let si = parse(mapped).unwrap_or(1.0);
            if let (Some(there), true) = (in_file, compare) {
                match parse(there) {
                    Ok(other) if (other / si - 1.0).abs() > 1e-9 => {
                        let what = format!(
                            "{word}: the file gives column {name:?} in {there:?}, the map says {mapped:?}"
                        );
                        log.once(
                            Code::Unit,
                            true,
                            what,
                            "Correct the unit in the map, or remove it there",
                        );
                    }
                    Ok(_) => {}
                    Err(_) => {
                        let what =
                            format!("{word}: the file's unit {there:?} is not known, {mapped:?} is taken");
                        log.once(Code::Unit, false, what, "");
                    }
                }
            }
            (mapped.to_owned(), si)
        }
        (None, Some(there)) => match parse(there) {
            Ok(si) => (there.to_owned(), si),
            Err(problem) => {
                let what = format!("{word}: the file gives column {name:?} in {there:?}: {problem}");
                log.once(Code::Unit, true, what, "Write the unit in the map");
                (there.to_owned(), 1.0)
            }
        },
        (None, None) => {
            let what = format!("{word}: neither the map nor the file says in which unit column {name:?} is");
            log.once(Code::Unit, true, what, "Write `unit = \"…\"` in the map");
            (String::new(), 1.0)
        }
    }
}
